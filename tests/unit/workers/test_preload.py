from __future__ import annotations

import os
import signal
import time

from workers.preload import Preloaded, survives_fork


def test_value_is_made_once() -> None:
    made: list[int] = []

    def make() -> list[int]:
        made.append(1)
        return made

    held = Preloaded(make)
    assert held.get() is held.get()
    assert made == [1]
    held.forget()
    held.get()
    assert made == [1, 1]


def test_equal_results_pass_and_keep_the_value() -> None:
    held = Preloaded(lambda: b"abc")
    assert held.keep_if_forkable(lambda value: value * 2)


def test_different_result_in_the_child_fails() -> None:
    parent = os.getpid()
    made: list[int] = []

    def make() -> int:
        made.append(1)
        return 7

    held = Preloaded(make)
    assert not held.keep_if_forkable(lambda _v: b"same" if os.getpid() == parent else b"other")
    held.get()
    assert len(made) == 2


def test_hanging_child_fails_and_is_gone() -> None:
    parent = os.getpid()

    def run() -> bytes:
        if os.getpid() != parent:
            time.sleep(600)
        return b"x"

    assert not survives_fork(run, seconds=0.3)


def test_crashing_child_fails() -> None:
    parent = os.getpid()

    def run() -> bytes:
        if os.getpid() != parent:
            os.kill(os.getpid(), signal.SIGKILL)
        return b"x"

    assert not survives_fork(run)
