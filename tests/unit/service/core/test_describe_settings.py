"""The described settings, read back by the libraries that read environment files."""

from __future__ import annotations

import os
import re
import shlex
from pathlib import Path

import pytest

from service.core.describe_settings import BEGIN, FILE, described, renewed
from service.core.settings import PREFIX, Settings


def uncommented() -> str:
    return "\n".join(
        line.removeprefix("# ")
        for line in described().splitlines()
        if line.startswith(f"# {PREFIX}")
    )


@pytest.fixture(autouse=True)
def _clean_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in list(os.environ):
        if name.startswith(PREFIX):
            monkeypatch.delenv(name)


def test_every_setting_is_described_and_has_a_default_line() -> None:
    assert [name for name, f in Settings.model_fields.items() if not f.description] == []
    names = re.findall(rf"^# ({PREFIX}\w+)=", described(), re.MULTILINE)
    assert names == [PREFIX + name.upper() for name in Settings.model_fields]


def test_defaults_uncommented_change_nothing_for_python_dotenv(tmp_path: Path) -> None:
    file = tmp_path / "settings.env"
    file.write_text(uncommented(), "utf-8")
    assert Settings(_env_file=file) == Settings()


def test_defaults_uncommented_change_nothing_for_a_shell(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = Settings()
    for word in shlex.split(uncommented()):
        name, _, value = word.partition("=")
        monkeypatch.setenv(name, value)
    assert Settings() == plain


def test_lines_are_short_enough_to_read() -> None:
    assert max(map(len, described().splitlines())) <= 100


def test_renewing_keeps_what_stands_before() -> None:
    text = f"PASSWORD=x\n\n{BEGIN}\n\n# stale\n"
    assert renewed(text).startswith(f"PASSWORD=x\n\n{BEGIN}\n\n# ")
    assert "stale" not in renewed(text)
    assert renewed(renewed(text)) == renewed(text)
    assert renewed("PASSWORD=x\n") == renewed(text)


def test_the_example_file_is_up_to_date() -> None:
    text = FILE.read_text("utf-8")
    assert text == renewed(text), "run: python -m service.core.describe_settings --write"
