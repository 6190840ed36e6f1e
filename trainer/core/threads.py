"""Threads of the linear algebra library."""

from __future__ import annotations

from functools import cache


@cache
def limit_blas_threads() -> None:
    """Limit BLAS to one thread in this process.

    The ear's matrices have a few dozen rows; on these, more threads only cost time. Called where
    sound is analysed, so that other commands do not pay for it. Numpy is loaded first, because the
    limit applies to libraries that are loaded.
    """
    import numpy  # noqa: F401  # loads the library that is limited
    from threadpoolctl import threadpool_limits

    threadpool_limits(limits=1, user_api="blas")
