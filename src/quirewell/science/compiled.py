"""Compiled kernels: one door to the compiler, and bands of rows on all cores.

Kernels are compiled on first use and kept beside the source, so that only the first call
after an installation waits. Threads are ours (kernels let go of the interpreter), because
bands of rows give the same bytes whatever their number; a compiler's own threads need not.

A kernel calls only kernels of its own module: what is kept is renewed when that file changes, and
not when another does.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import Any, TypeVar, cast

import numba

Kernel = TypeVar("Kernel", bound=Callable[..., Any])

# Work is spread over at most so many cores; more did not help on a page of 35 million pixels.
_MOST_THREADS = 8


def compiled(function: Kernel) -> Kernel:
    """Compile a function on arrays and numbers, with exact arithmetic (IEEE 754, no reordering).

    Colour difference at its hue jump goes wrong by 0.06 when sums may be reordered, so no
    kernel of ours may.
    """
    made: Any = numba.njit(cache=True, nogil=True, fastmath=False)(function)
    return cast(Kernel, made)


def in_bands(work: Callable[[int, int], None], rows: int, least: int = 64) -> None:
    """Call ``work(first, last)`` for bands of ``rows`` on all cores; bands never overlap.

    Raises:
        whatever ``work`` raises, from the first band that failed.
    """
    threads = max(1, min(_MOST_THREADS, numba.get_num_threads(), rows // max(least, 1)))
    edges = [rows * part // threads for part in range(threads + 1)]
    if threads == 1:
        work(0, rows)
        return
    with ThreadPoolExecutor(threads) as pool:
        waiting = [pool.submit(work, *pair) for pair in pairwise(edges)]
        for one in waiting:
            one.result()
