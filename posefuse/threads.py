"""Threads that work side by side, and are left at once when something goes wrong."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

__all__ = ["side_by_side"]


@contextmanager
def side_by_side(workers: int) -> Iterator[ThreadPoolExecutor]:
    """A pool of so many threads, whose work is done when this is left.

    Left by a fault or a user's interrupt it begins nothing more, and does not wait for what runs:
    that may be a minute of compiling, or of images.
    """
    pool = ThreadPoolExecutor(workers)
    try:
        yield pool
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        raise
    pool.shutdown()
