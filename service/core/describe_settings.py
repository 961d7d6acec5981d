"""The settings as commented lines of an environment file, written from `Settings` itself.

``python -m service.core.describe_settings --write`` renews that part of ``infra/example.env``;
``--check`` fails when it is out of date.
"""

from __future__ import annotations

import argparse
import json
import sys
import textwrap
from pathlib import Path
from typing import Any, get_args

from pydantic import SecretStr
from pydantic.fields import FieldInfo

from service.core.settings import PREFIX, Settings

FILE = Path(__file__).resolve().parents[2] / "infra" / "example.env"
BEGIN = "# --- every setting with its default; written by: python -m service.core.describe_settings"
WIDTH = 100
"""Characters a line."""


def described() -> str:
    """Return every setting: a comment with its description, then its commented default."""
    blocks = []
    for name, field in Settings.model_fields.items():
        comment = " ".join(filter(None, (field.description, _choices(field))))
        lines = textwrap.wrap(comment, WIDTH, initial_indent="# ", subsequent_indent="# ")
        blocks.append("\n".join([*lines, f"# {PREFIX}{name.upper()}={_default(field)}", ""]))
    return "\n".join(blocks)


def renewed(text: str) -> str:
    """Return the text of an environment file with the part from `BEGIN` on written anew."""
    head = text.partition(BEGIN)[0].rstrip("\n")
    return f"{head}\n\n{BEGIN}\n\n{described()}"


def _choices(field: FieldInfo) -> str:
    values = get_args(field.annotation)
    if values and all(isinstance(value, str) for value in values):
        return f"One of: {', '.join(values)}."
    return "Secret." if SecretStr in (field.annotation, *values) else ""


def _default(field: FieldInfo) -> str:
    if field.default_factory is not None:
        # Depends on the machine; the description says how.
        return ""
    value: Any = field.default
    if value is None:
        return ""
    if isinstance(value, tuple):
        # In quotes, so that compose and a shell read the same.
        return f"'{json.dumps(value)}'"
    if isinstance(value, bool):
        return json.dumps(value)
    return str(value)


def main() -> int:
    """Command line of this module."""
    parser = argparse.ArgumentParser(description=__doc__)
    group = parser.add_mutually_exclusive_group(required=True)
    group.add_argument("--write", action="store_true")
    group.add_argument("--check", action="store_true")
    arguments = parser.parse_args()
    text = FILE.read_text("utf-8")
    if arguments.write:
        FILE.write_text(renewed(text), "utf-8")
        return 0
    return int(text != renewed(text))


if __name__ == "__main__":
    sys.exit(main())
