"""How many event streams one link holds open at once, so that no link takes all there are."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager

MOST_STREAMS = 8
"""Of one link: a few phones and pages open side by side."""


class OpenStreams:
    """Counts what is open, by name; asked and told from one thread."""

    def __init__(self) -> None:
        self._open: Counter[str] = Counter()

    def is_full(self, name: str) -> bool:
        """Whether no more of this name may be opened."""
        return self._open[name] >= MOST_STREAMS

    @contextmanager
    def counted(self, name: str) -> Iterator[None]:
        """Count one as open for as long as it is."""
        self._open[name] += 1
        try:
            yield
        finally:
            self._open[name] -= 1
            if not self._open[name]:
                del self._open[name]
