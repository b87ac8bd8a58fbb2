"""Data of the naive counter about a fence that is set out."""

from __future__ import annotations

from dataclasses import dataclass, field

from fencing.model.measure import Gate, Run
from tests.fencing.naive.sums import Points


@dataclass
class StandingSheet:
    left_edge: int
    width: int
    blank: int
    left: int
    right: int
    foot: str


@dataclass
class StandingBay:
    id: str
    run: Run
    start: int
    end: int
    setbacks: tuple[int, int]
    base: tuple[int, int]
    top: tuple[int, int]
    step: int
    bottom_rail: int = 0
    top_rail: int = 0
    sheets: list[StandingSheet] = field(default_factory=list)

    def rails(self) -> list[tuple[str, int]]:
        rails = [("bottom", self.bottom_rail), ("top", self.top_rail)]
        if self.run.lattice:
            rails.append(("middle", self.top_rail))
        return rails


@dataclass
class StandingPost:
    id: str
    run: Run
    at: dict[str, int]
    kind: str
    ground: int
    against: str | None = None
    channels: list[tuple[str, int]] = field(default_factory=list)
    gate_tops: list[int] = field(default_factory=list)


@dataclass
class StandingGate:
    gate: Gate
    run: Run
    base: int
    posts: list[str]


@dataclass
class StandingRun:
    run: Run
    points: Points
    posts: list[StandingPost] = field(default_factory=list)
    bays: list[StandingBay] = field(default_factory=list)
    gates: list[StandingGate] = field(default_factory=list)
