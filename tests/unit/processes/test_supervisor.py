from __future__ import annotations

import signal
import sys
import threading
import time
from pathlib import Path

import pytest

from workers.processes.supervisor import LONGEST_PAUSE_S, Program, Supervisor, pause_after


def _program(name: str, code: str, **kwargs: object) -> Program:
    return Program(name=name, command=[sys.executable, "-c", code], **kwargs)  # type: ignore[arg-type]


def _wait(condition: object, seconds: float = 20.0) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():  # type: ignore[operator]
            return True
        time.sleep(0.05)
    return False


def test_pauses_double_up_to_a_limit() -> None:
    assert [pause_after(n) for n in range(5)] == [0.0, 0.5, 1.0, 2.0, 4.0]
    assert pause_after(1000) == LONGEST_PAUSE_S


def test_crashing_program_is_started_again(tmp_path: Path) -> None:
    log = tmp_path / "starts"
    code = f"open({str(log)!r}, 'a').write('x'); raise SystemExit(3)"
    supervisor = Supervisor([_program("crasher", code)])
    threading.Timer(
        0.0,
        lambda: (
            _wait(lambda: log.exists() and len(log.read_text()) >= 3) and supervisor.request_stop()
        ),
    ).start()
    supervisor.run()
    assert len(log.read_text()) >= 3


def test_each_round_is_told() -> None:
    supervisor = Supervisor([_program("sleeper", "import time; time.sleep(600)")])
    rounds = []

    def beat() -> None:
        rounds.append(supervisor.alive("sleeper"))
        if len(rounds) == 3:
            supervisor.request_stop()

    supervisor.run(beat)
    assert rounds == [True, True, True]


def test_highest_rank_stops_first(tmp_path: Path) -> None:
    log = tmp_path / "order"
    code = (
        "import signal, sys, time\n"
        "def end(*_):\n"
        f"    open({str(log)!r}, 'a').write(sys.argv[1])\n"
        "    raise SystemExit(0)\n"
        "signal.signal(signal.SIGTERM, end)\n"
        f"open({str(log)!r} + sys.argv[1], 'w').close()\n"
        "time.sleep(600)\n"
    )
    programs = [
        Program(name=n, command=[sys.executable, "-c", code, n], rank=r)
        for n, r in (("a", 0), ("b", 2), ("c", 1))
    ]
    supervisor = Supervisor(programs)
    supervisor.start()
    assert _wait(lambda: all(Path(str(log) + n).exists() for n in "abc"))
    supervisor.stop()
    assert log.read_text() == "bca"
    assert not any(supervisor.alive(n) for n in "abc")


@pytest.mark.parametrize("signum", [signal.SIGTERM, signal.SIGINT])
def test_signal_stops_the_run(signum: int) -> None:
    before = {s: signal.getsignal(s) for s in (signal.SIGTERM, signal.SIGINT)}
    supervisor = Supervisor([_program("sleeper", "import time; time.sleep(600)")])
    try:
        supervisor.install_signal_handlers()
        threading.Timer(0.3, lambda: signal.raise_signal(signum)).start()
        supervisor.run()
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    assert not supervisor.alive("sleeper")
