"""Whole packs for quantities."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal


@dataclass(frozen=True, slots=True)
class PackQuantity:
    """Quantity in packs: ``ordered`` sale units in ``packs`` packs; ``spare`` is the surplus."""

    packs: int
    ordered: Decimal
    spare: Decimal
    why: str


def in_packs(needed: Decimal, pack: Decimal = Decimal(1), minimum: Decimal = Decimal(0)) -> PackQuantity:
    """Round a quantity up to whole packs and to the minimum order.

    Rule: order nothing if nothing is needed; otherwise the fewest whole packs for the needed quantity and the minimum order.

    Args:
        needed: quantity with its allowance [sale units, >= 0].
        pack: sale units in a pack [> 0].
        minimum: minimum order [sale units, >= 0].

    Returns:
        Packs, sale units ordered (never less than needed), and the surplus.

    Raises:
        ValueError: the pack is empty, or a quantity is negative.

    Source: common practice.

    Example:
        >>> in_packs(Decimal(328), Decimal(100)).ordered
        Decimal('400')
        >>> in_packs(Decimal(3), Decimal(1), minimum=Decimal(10)).why
        '3 needed, the minimum order is 10'
    """
    if pack <= 0 or needed < 0 or minimum < 0:
        raise ValueError("a pack must be above 0, and quantities must not be negative")
    if not needed:
        return PackQuantity(0, Decimal(0), Decimal(0), "nothing needed")
    packs = int((max(needed, minimum) / pack).to_integral_value(ROUND_CEILING))
    ordered = packs * pack
    held = f"{packs} pack{'s' if packs != 1 else ''} of {plain(pack)}"
    if minimum > needed:
        why = f"{plain(needed)} needed, the minimum order is {plain(minimum)}"
    elif ordered == needed:
        why = f"{plain(needed)} needed" + (f", {held}" if pack != 1 else "")
    else:
        why = f"{plain(needed)} needed, {held} hold{'s' if packs == 1 else ''} {plain(ordered)}"
    return PackQuantity(packs, ordered, ordered - needed, why)


def plain(number: Decimal) -> str:
    """Format a quantity without trailing zeros.

    >>> plain(Decimal("12.500")), plain(Decimal("400"))
    ('12.5', '400')
    """
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
