"""Needed parts: pieces with their locations, and counted quantities with their breakdown."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Piece:
    """Equal pieces: ``count`` of one role, finish and length. ``used_at`` lists bay, post or gate ids; ``width`` is for sheets.

    ``length`` is integer mm and rounded up. ``component`` is None if the system maps no component to the role. ``site`` tells
    the jobs apart that are bought together.
    """

    role: str
    component: str | None
    finish: str | None
    length: int
    width: int | None
    count: int
    used_at: tuple[str, ...]
    site: str = ""


@dataclass(frozen=True, slots=True)
class BreakdownLine:
    """One line of a breakdown: ``count`` elements with ``per_element`` pieces make ``net``."""

    element_type: str
    count: int
    per_element: Decimal
    net: Decimal


@dataclass(frozen=True, slots=True)
class Quantity:
    """Quantity of one component in its sale unit (UN/ECE Rec 20). ``breakdown`` adds up to ``net``; net + allowance = total."""

    role: str
    component: str | None
    finish: str | None
    unit: str
    net: Decimal
    allowance: Decimal
    total: Decimal
    breakdown: tuple[BreakdownLine, ...]


@dataclass(frozen=True, slots=True)
class Concrete:
    """Concrete of all holes in m3: ``net`` is hole less steel plus crown; ``bags`` is None if the yield is not known."""

    holes: int
    net: Decimal
    allowance: Decimal
    total: Decimal
    bags: int | None
