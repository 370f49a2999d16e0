"""Work on a thread of its own, while this one goes on.

It gains time where most of the work is done inside a library that lets go of the interpreter,
as networks in OpenCV do; small steps in Python on two threads only wait for each other.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


def meanwhile(work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Future[T]:
    """Begin ``work``; what it returns or raises comes with the future's ``result()``."""
    return in_turn([partial(work, *args, **kwargs)])[0]


def in_turn(works: Sequence[Callable[[], T]]) -> list[Future[T]]:
    """Begin the first of several works, and each when the one before is done."""
    # A thread that was kept would be missing in a process forked later, and be waited for.
    worker = ThreadPoolExecutor(max_workers=1)
    futures = [worker.submit(work) for work in works]
    worker.shutdown(wait=False)
    return futures
