"""Work on a thread of its own."""

from __future__ import annotations

import threading

import pytest

from limbsight.vision.meanwhile import meanwhile

PATIENCE_S = 20.0


def test_what_it_returns_comes_back():
    assert meanwhile(int, "101", base=2).result(PATIENCE_S) == 5


def test_what_it_raises_comes_where_the_result_is_asked_for():
    future = meanwhile(int, "no number")
    with pytest.raises(ValueError, match="no number"):
        future.result(PATIENCE_S)


def test_this_one_goes_on():
    """Each waits for the other: done one after the other this would not end."""
    here, there = threading.Event(), threading.Event()

    def work():
        there.set()
        return here.wait(PATIENCE_S)

    future = meanwhile(work)
    assert there.wait(PATIENCE_S)
    here.set()
    assert future.result(PATIENCE_S)


def test_two_at_once_do_not_wait_for_each_other():
    gate = threading.Barrier(2)
    one, other = (meanwhile(gate.wait, PATIENCE_S) for _ in range(2))
    assert {one.result(PATIENCE_S), other.result(PATIENCE_S)} == {0, 1}


def test_no_thread_is_kept():
    name = meanwhile(threading.current_thread).result(PATIENCE_S)
    name.join(PATIENCE_S)
    assert not name.is_alive()
