"""How every process of the installation logs: one line an event, to standard error."""

from __future__ import annotations

import logging

CHATTY = ("rq", "alembic", "httpx", "httpcore", "botocore", "boto3", "urllib3")
"""Loggers that are heard at level debug only."""


def configure_logging(level: str, *, replace: bool = True) -> None:
    """Send one line an event to standard error.

    Parameters
    ----------
    level : str
        Least severe level that is written.
    replace : bool
        False leaves handlers alone that whoever runs this process has already set.
    """
    logging.basicConfig(
        level=level.upper(),
        format="%(asctime)s %(levelname)s %(process)d %(name)s: %(message)s",
        force=replace,
    )
    if level != "debug":
        for name in CHATTY:
            logging.getLogger(name).setLevel(logging.WARNING)
