"""Work limit: work is counted, not timed, so that a demand stops at the same point on every machine."""

from __future__ import annotations

from collections.abc import Callable


class Spent(Exception):
    """Raised when the allowed work is used up, or when a caller stops the search."""


class Effort:
    """Counter of work units of about a microsecond; ``beat`` is called now and then and may return False to stop the search."""

    __slots__ = ("beat", "done", "limit", "next_beat")

    BEAT = 100_000

    def __init__(self, limit: int, beat: Callable[[], bool] | None = None) -> None:
        self.limit = limit
        self.done = 0
        self.beat = beat
        self.next_beat = self.BEAT

    @property
    def left(self) -> int:
        return max(0, self.limit - self.done)

    def note(self, units: int) -> None:
        """Count finished work without stopping."""
        self.done += units

    def spend(self, units: int) -> None:
        """Count work; stop at the limit."""
        self.done += units
        if self.done > self.limit:
            raise Spent
        if self.beat is not None and self.done >= self.next_beat:
            self.next_beat = self.done + self.BEAT
            if not self.beat():
                raise Spent
