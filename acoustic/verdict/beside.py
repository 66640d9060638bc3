"""The same work on many values, on more than one core where that is asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from threadpoolctl import threadpool_limits

Value = TypeVar("Value")
Result = TypeVar("Result")


def in_turn_or_beside(
    work: Callable[[Value], Result], values: Iterable[Value], workers: int
) -> list[Result]:
    """Do `work` on each value, in their order; `workers` at a time.

    Threads, as the arithmetic of numpy and scipy runs beside other threads and large tables
    need not be sent anywhere. Meanwhile the linear algebra starts no threads of its own: they
    would only take the cores from these.

    >>> in_turn_or_beside(abs, [-1, 2, -3], 2)
    [1, 2, 3]
    """
    if workers < 2:
        return [work(value) for value in values]
    with threadpool_limits(limits=1, user_api="blas"), ThreadPoolExecutor(workers) as pool:
        return list(pool.map(work, values))
