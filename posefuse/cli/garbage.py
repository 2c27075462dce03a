"""How often Python looks for cyclic garbage in the processes that are posefuse's own."""

import gc

__all__ = ["collect_garbage_seldom"]


def collect_garbage_seldom() -> None:
    """Look after 100,000 new objects instead of 700.

    Compiling makes millions of objects that stay; searching them again and again took 15 % of a
    first run. It costs 10 MB of memory.
    """
    gc.set_threshold(100_000, 10, 10)
