"""What is going on, said on a terminal once a step has taken over a second."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

QUIET_S = 1.0


@contextmanager
def shown_progress() -> Iterator[Callable[[str], None]]:
    """Give a function that takes the name of the present step.

    Silent in a pipe and for the first second; then one line on the error stream, wiped
    away at the end, so nothing of it stays between the answer and its reader.
    """
    if not sys.stderr.isatty():
        yield _say_nothing
        return
    from rich.console import Console

    status = Console(stderr=True).status("working", spinner="line")
    timer = threading.Timer(QUIET_S, status.start)
    timer.daemon = True
    timer.start()
    try:
        yield lambda step: status.update(f"{step} …")
    finally:
        timer.cancel()
        timer.join()
        status.stop()


def _say_nothing(step: str) -> None:
    """Take a step's name and keep it."""
