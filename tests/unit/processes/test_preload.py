from __future__ import annotations

import os
import signal
import time

from workers.pose.choice import BlazePoseVariant, PoseChoice, open_networks
from workers.processes.preload import survives_fork, warm_up


def test_same_bytes_in_the_child_pass() -> None:
    assert survives_fork(lambda: b"abc")


def test_different_bytes_in_the_child_fail() -> None:
    parent = os.getpid()
    assert not survives_fork(lambda: b"same" if os.getpid() == parent else b"other")


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


def test_shipped_networks_compute_the_same_in_a_forked_child() -> None:
    networks = open_networks(PoseChoice(blazepose=BlazePoseVariant.FULL))
    first = warm_up(networks)
    assert len(first) > 3 * 17 * 4  # something of every network
    assert survives_fork(lambda: warm_up(networks), seconds=60)
