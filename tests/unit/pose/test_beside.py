"""Jobs beside the main thread: in order, bounded, errors and ends included."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from tests.unit.pose.conftest import Still
from workers.pose.beside import AHEAD, Beside
from workers.pose.choice import Networks
from workers.pose.estimate import estimate


def test_all_jobs_are_done_in_order_in_another_thread() -> None:
    done: list[tuple[int, int]] = []
    with Beside(threaded=True) as beside:
        for number in range(20):
            beside.do(lambda n=number: done.append((n, threading.get_ident())))  # type: ignore[misc]
    assert [number for number, _ in done] == list(range(20))
    assert threading.get_ident() not in {ident for _, ident in done}


def test_no_more_jobs_wait_than_stated() -> None:
    go = threading.Semaphore(0)
    begun = 0
    most = 0

    def job() -> None:
        go.acquire()

    with Beside(threaded=True) as beside:
        for number in range(12):
            if number >= AHEAD:
                go.release()
            beside.do(job)
            begun += 1
            most = max(most, beside.waiting)
        for _ in range(AHEAD):
            go.release()
    assert begun == 12
    assert most == AHEAD


def test_an_error_of_a_job_is_raised() -> None:
    def job() -> None:
        raise ArithmeticError("a job")

    with pytest.raises(ArithmeticError), Beside(threaded=True) as beside:
        beside.do(job)


def test_an_error_beside_the_jobs_ends_them() -> None:
    def film_fails(beside: Beside) -> None:
        with beside:
            beside.do(lambda: None)
            raise ArithmeticError("the film")

    before = threading.active_count()
    with pytest.raises(ArithmeticError):
        film_fails(Beside(threaded=True))
    assert threading.active_count() == before


def test_joints_are_the_same_with_and_without_a_thread(
    contact_film: list[Still], networks: Networks
) -> None:
    film = contact_film[:3]
    one, two = (
        estimate(lambda _=None: film, networks, threaded=threaded).track
        for threaded in (False, True)
    )
    np.testing.assert_array_equal(one.xy, two.xy)
    for name, seen in one.sources.items():
        np.testing.assert_array_equal(seen, two.sources[name])
