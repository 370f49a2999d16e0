"""One thread for linear algebra, and no longer than asked for."""

from __future__ import annotations

from threadpoolctl import threadpool_info

from limbsight.threads import one_blas_thread


def blas_threads() -> list[int]:
    return [int(x["num_threads"]) for x in threadpool_info() if x["user_api"] == "blas"]


def test_linear_algebra_has_one_thread_inside_and_its_own_again_after() -> None:
    with one_blas_thread():
        pass  # what is loaded by this is counted in the next line
    before = blas_threads()
    with one_blas_thread():
        inside = blas_threads()
    assert set(inside) == {1}
    assert blas_threads() == before
