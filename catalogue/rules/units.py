"""Units that are counted and units that are measured: there is no half of a piece."""

from __future__ import annotations

from decimal import Decimal

from catalogue.rules.codes import SALE_UNITS
from fencing.model.faults import Fault

MEASURED = frozenset({"MTR", "MTK", "MTQ", "KGM", "TNE", "LTR", "HUR", "DAY"})
"""Units of which a part can be bought. All other units are counted in whole ones."""
COUNTED = frozenset(SALE_UNITS) - MEASURED
PIECE = "C62"


def whole_fault(unit: str, quantity: Decimal, pointer: str) -> Fault | None:
    """Return the fault of a quantity that is a part of a counted unit, or None.

    >>> whole_fault("C62", Decimal("1.5"), "/quantity").text
    'Enter a whole number: 1.5 is part of one.'
    >>> whole_fault("C62", Decimal("2.000"), "/quantity"), whole_fault("MTR", Decimal("1.5"), "/quantity")
    (None, None)
    """
    if unit not in COUNTED or quantity == quantity.to_integral_value():
        return None
    name = SALE_UNITS.get(unit, "one")
    part = "one" if name in {"one", "each"} else f"a {name}"
    return Fault(pointer, "whole", f"Enter a whole number: {quantity.normalize():f} is part of {part}.")
