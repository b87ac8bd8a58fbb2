"""Counted things in the packs they are sold in."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal


@dataclass(frozen=True, slots=True)
class PackQuantity:
    """``ordered`` sale units in ``packs`` packs; ``spare`` is what is over."""

    packs: int
    ordered: Decimal
    spare: Decimal
    why: str


def in_packs(wanted: Decimal, pack: Decimal = Decimal(1), least: Decimal = Decimal(0)) -> PackQuantity:
    """Round a quantity up to whole packs, at least the least order.

    Rule: nothing wanted, nothing ordered; otherwise the fewest whole packs that hold both what is wanted and the least order.

    Args:
        wanted: quantity with its allowance [sale units, >= 0].
        pack: sale units in a pack [> 0].
        least: least order [sale units, >= 0].

    Returns:
        Packs, sale units ordered (never less than wanted), and what is over.

    Raises:
        ValueError: a pack of nothing, or a negative quantity.

    Source: common practice.

    Example:
        >>> in_packs(Decimal(328), Decimal(100)).ordered
        Decimal('400')
        >>> in_packs(Decimal(3), Decimal(1), least=Decimal(10)).why
        '3 wanted, 10 is the least order'
    """
    if pack <= 0 or wanted < 0 or least < 0:
        raise ValueError("a pack holds more than nothing, and quantities are not negative")
    if not wanted:
        return PackQuantity(0, Decimal(0), Decimal(0), "nothing wanted")
    packs = int((max(wanted, least) / pack).to_integral_value(ROUND_CEILING))
    ordered = packs * pack
    held = f"{packs} pack{'s' if packs != 1 else ''} of {plain(pack)}"
    if least > wanted:
        why = f"{plain(wanted)} wanted, {plain(least)} is the least order"
    elif ordered == wanted:
        why = f"{plain(wanted)} wanted" + (f", {held}" if pack != 1 else "")
    else:
        why = f"{plain(wanted)} wanted, {held} hold{'s' if packs == 1 else ''} {plain(ordered)}"
    return PackQuantity(packs, ordered, ordered - wanted, why)


def plain(number: Decimal) -> str:
    """A quantity without needless zeros.

    >>> plain(Decimal("12.500")), plain(Decimal("400"))
    ('12.5', '400')
    """
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
