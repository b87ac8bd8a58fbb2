"""What is needed: single pieces with where they go, and counted quantities with the reason they exist."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Piece:
    """``count`` pieces of one role, finish and length. ``where`` lists bay, post or gate ids; ``width`` is for sheets.

    ``length`` is integer mm and never short. ``component`` is None where the system maps none. ``site`` keeps apart what is
    bought together and built in several places.
    """

    role: str
    component: str | None
    colour: str | None
    length: int
    width: int | None
    count: int
    where: tuple[str, ...]
    site: str = ""


@dataclass(frozen=True, slots=True)
class Why:
    """One reason: ``count`` places of ``each`` make ``net``."""

    place: str
    count: int
    each: Decimal
    net: Decimal


@dataclass(frozen=True, slots=True)
class Quantity:
    """One component's quantity in its sale unit (UN/ECE Rec 20): ``why`` adds up to ``net``, net + allowance = total."""

    role: str
    component: str | None
    colour: str | None
    unit: str
    net: Decimal
    allowance: Decimal
    total: Decimal
    why: tuple[Why, ...]


@dataclass(frozen=True, slots=True)
class Concrete:
    """Concrete of all holes in m3: ``net`` is hole less steel plus crown; ``bags`` where a yield is known."""

    holes: int
    net: Decimal
    allowance: Decimal
    total: Decimal
    bags: int | None
