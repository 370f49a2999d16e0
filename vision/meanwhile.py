"""Work on a thread of its own, while this one goes on.

It gains time where most of the work is done inside a library that lets go of the interpreter,
as networks in OpenCV do; small steps in Python on two threads only wait for each other.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


def meanwhile(work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Future[T]:
    """Begin ``work``; what it returns or raises comes with the future's ``result()``."""
    # A thread that was kept would be missing in a process forked later, and be waited for.
    worker = ThreadPoolExecutor(max_workers=1)
    future = worker.submit(work, *args, **kwargs)
    worker.shutdown(wait=False)
    return future
