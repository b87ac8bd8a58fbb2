"""Codes a catalogue is written in: roles of components, sale units, article numbers."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum

from fencing.model.faults import Fault
from fencing.model.roles import ROLES


class ImportKind(StrEnum):
    """Data types of spreadsheets, in the order in which a new business imports them."""

    FINISHES = "finishes"
    COMPONENTS = "components"
    SUPPLIERS = "suppliers"
    SUPPLIER_TERMS = "supplier_terms"
    SUPPLIER_PRICES = "supplier_prices"
    PRICE_RULES = "price_rules"
    FENCE_SYSTEMS = "fence_systems"


class ImportState(StrEnum):
    """States of an import."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    REJECTED = "rejected"


class PlanState(StrEnum):
    """States of a cutting plan in the background."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    CANCELLED = "cancelled"
    FAILED = "failed"


def role_choices() -> list[tuple[str, str]]:
    """Return the roles of components as choices of a field. Migrations name this function, so a new role needs none."""
    return [(code, code) for code in ROLES]


# UN/ECE Recommendation 20 (revision 11e), and Recommendation 21 packages with their prefix X. Checked against the published
# list; look-alikes such as BG, PK or ST are not codes of either.
SALE_UNITS = {
    "C62": "one",
    "H87": "piece",
    "EA": "each",
    "MTR": "metre",
    "MTK": "square metre",
    "MTQ": "cubic metre",
    "KGM": "kilogram",
    "TNE": "tonne",
    "LTR": "litre",
    "SET": "set",
    "PR": "pair",
    "HUR": "hour",
    "DAY": "day",
    "NMP": "number of packs",
    "XBG": "bag",
    "XPK": "package",
    "XBX": "box",
    "XPX": "pallet",
    "XRO": "roll",
    "XBE": "bundle",
}
SAME_UNIT = {"LM": "MTR"}  # linear metre is imported as metre


def sale_unit(text: str) -> str | None:
    """Return the unit's code as stored, or None for a code of neither recommendation.

    >>> sale_unit("LM"), sale_unit("mtr"), sale_unit("BG")
    ('MTR', 'MTR', None)
    """
    code = text.strip().upper()
    code = SAME_UNIT.get(code, code)
    return code if code in SALE_UNITS else None


def is_gtin(text: str) -> bool:
    """Return whether a GTIN-8, -12, -13 or -14 has the right check digit (modulo 10, weights 3 and 1 from the right).

    >>> is_gtin("96385074"), is_gtin("96385075")
    (True, False)
    """
    if not (text.isascii() and text.isdigit() and len(text) in {8, 12, 13, 14}):
        return False
    weighted = sum(int(digit) * (3, 1)[place % 2] for place, digit in enumerate(reversed(text[:-1])))
    return (weighted + int(text[-1])) % 10 == 0


def gtin14(text: str) -> str:
    """Return a GTIN with 14 digits, so that two can be compared."""
    return text.zfill(14)


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
