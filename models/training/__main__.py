"""``python -m models.training`` lists the steps to every learned file; with a STEP it runs it."""

from __future__ import annotations

import runpy
import sys
from collections.abc import Sequence

from models.training.steps import listing, step_named


def main(arguments: Sequence[str]) -> int:
    """Entry point: list the steps, or run one as a script; returns the exit code."""
    if not arguments or arguments[0] in ("-h", "--help"):
        print(listing())
        return 0
    step = step_named(arguments[0])
    if step is None:
        print(f"There is no step {arguments[0]!r}; without arguments they are listed.")
        return 2
    sys.argv = [f"python -m models.training {step.name}", *step.fixed, *arguments[1:]]
    runpy.run_module(step.module, run_name="__main__", alter_sys=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
