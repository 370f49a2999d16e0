"""One thread for linear algebra while a photo is read.

The matrices of a reading are small: shared among threads they take longer, and threads that
wait for more keep the processors from those that filter pictures.  On two processors a
reading took 1.6 times as long.
"""

from __future__ import annotations

from contextlib import AbstractContextManager
from functools import cache
from importlib import import_module

from threadpoolctl import ThreadpoolController


def one_blas_thread() -> AbstractContextManager[object]:
    """Hold the linear algebra libraries of this process to one thread, inside ``with``."""
    held: AbstractContextManager[object] = _controller().limit(limits=1, user_api="blas")
    return held


@cache
def _controller() -> ThreadpoolController:
    """Found once: looking for the libraries takes some milliseconds."""
    # What is loaded later would not be found.
    import_module("scipy.linalg")
    return ThreadpoolController()
