"""What analyses on the command line have cost this machine: a small file in the data folder."""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from pydantic import ValidationError

from models.contract.costs import MeasuredCosts, Step, StepCost
from service.core.settings import Settings

NAME = "measured-costs.json"


def read(settings: Settings) -> MeasuredCosts:
    """Return what is known; empty where there is no such file, or none that can be read."""
    with suppress(OSError, ValidationError):
        return MeasuredCosts.model_validate_json(_path(settings).read_bytes())
    return MeasuredCosts()


def learn(settings: Settings, run: Mapping[Step, StepCost]) -> None:
    """Add one finished analysis; a folder that cannot be written costs the lesson only."""
    path = _path(settings)
    text = read(settings).with_run(run).model_dump_json()
    part = path.with_name(f"{NAME}.{os.getpid()}")
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(text)
        part.replace(path)


def _path(settings: Settings) -> Path:
    return settings.data_dir / NAME
