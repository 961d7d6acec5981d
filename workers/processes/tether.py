"""Processes that must not outlive the process that started them.

On Linux the kernel does it (``PR_SET_PDEATHSIG``); elsewhere a thread watches the parent's id.
``python -m workers.processes.tether -- COMMAND ...`` tethers itself and then becomes the command,
which keeps the tether of programs that are not ours (a database server, for example).
"""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO

_PR_SET_PDEATHSIG = 1
"""From Linux's ``prctl.h``."""
_POLL_S = 1.0
"""Seconds between two looks for the parent on other systems."""
PROJECT = Path(__file__).resolve().parents[2]
"""The folder that holds our packages."""


def module(name: str, *arguments: str) -> list[str]:
    """Return the command that runs a module with this interpreter.

    ``-P`` keeps the current folder off the module search path: a ``models/`` or ``service/`` that
    happens to lie there is not ours.
    """
    return [sys.executable, "-P", "-m", name, *arguments]


def die_with_parent(*, parent: int | None = None) -> None:
    """Have this process killed as soon as its parent has died, by SIGKILL: nothing can hold it up.

    Parameters
    ----------
    parent : int, optional
        Process id the parent had. When it is no longer the parent, this process ends at once, so
        that a parent which died before this call is not missed.
    """
    if sys.platform.startswith("linux"):
        libc = ctypes.CDLL(None, use_errno=True)
        if libc.prctl(_PR_SET_PDEATHSIG, int(signal.SIGKILL), 0, 0, 0) != 0:
            number = ctypes.get_errno()
            raise OSError(number, f"prctl(PR_SET_PDEATHSIG): {os.strerror(number)}")
    else:  # other systems
        threading.Thread(target=_watch, args=(os.getppid(),), daemon=True).start()
    if parent is not None and os.getppid() != parent:
        os._exit(1)


def _watch(parent: int) -> None:  # other systems
    while os.getppid() == parent:
        time.sleep(_POLL_S)
    os.kill(os.getpid(), signal.SIGKILL)


def spawn(
    command: Sequence[str],
    *,
    environment: Mapping[str, str] | None = None,
    output: IO[bytes] | int | None = None,
    errors: IO[bytes] | int | None = None,
) -> subprocess.Popen[bytes]:
    """Start a command that dies with this process, in a process group of its own.

    The group keeps a Ctrl-C at the terminal for the parent, which then stops its children in
    order. Call it from the main thread: the kernel ties the child to the calling thread.

    Parameters
    ----------
    output, errors : binary file, descriptor or None
        Where its standard output and error go. None: where this process's go; errors go with an
        output that is given.
    """
    full = module("workers.processes.tether", str(os.getpid()), "--", *command)
    variables = dict(os.environ if environment is None else environment)
    # The child must find this package whatever its working directory is, installed or not.
    path = variables.get("PYTHONPATH")
    variables["PYTHONPATH"] = f"{PROJECT}{os.pathsep}{path}" if path else str(PROJECT)
    return subprocess.Popen(
        full,
        env=variables,
        stdin=subprocess.DEVNULL,
        stdout=output,
        stderr=subprocess.STDOUT if errors is None and output is not None else errors,
        start_new_session=True,
    )


def stop(child: subprocess.Popen[bytes], grace_s: float) -> int:
    """Ask a child to end, kill its group after the grace, and return its exit code."""
    if child.poll() is None:
        child.terminate()
        try:
            child.wait(grace_s)
        except subprocess.TimeoutExpired:
            _kill_group(child.pid)
    return child.wait()


def _kill_group(pid: int) -> None:
    try:
        os.killpg(pid, signal.SIGKILL)
    except ProcessLookupError:
        pass
    except PermissionError:  # macOS: the group holds only a dead process
        os.kill(pid, signal.SIGKILL)


def main(arguments: Sequence[str]) -> None:
    """Tether this process and become the command after ``--``."""
    if len(arguments) < 3 or arguments[1] != "--":
        raise SystemExit("usage: python -m workers.processes.tether PARENT_PID -- COMMAND ...")
    die_with_parent(parent=int(arguments[0]))
    os.execvp(arguments[2], list(arguments[2:]))


if __name__ == "__main__":
    main(sys.argv[1:])
