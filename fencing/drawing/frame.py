"""Conversion of chainage and level to positions on paper."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Frame:
    """True scale 1:n in both directions: ``chainage`` is at ``left``, ``level`` at ``top`` [mm of paper]."""

    n: int
    chainage: float
    level: float
    left: float
    top: float

    def x(self, chainage: float) -> float:
        return self.left + (chainage - self.chainage) / self.n

    def y(self, level: float) -> float:
        return self.top + (self.level - level) / self.n
