"""Reader for cost shares of a run: an exact share for each party, together 1."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

from fencing.model.fault_list import shown, step
from fencing.reading.object_reader import ObjectReader

MAX_PARTIES = 20
RATIO = re.compile(r"([0-9]{1,6})/([0-9]{1,6})")
PERCENT = re.compile(r"([0-9]{1,3}(?:\.[0-9]{1,6})?) ?%")
DECIMAL = re.compile(r"[0-9](?:\.[0-9]{1,9})?")


def read_shares(table: ObjectReader) -> Mapping[str, Fraction]:
    """Read the share of each party [over 0, at most 1]; the shares add up to 1, or are left out. Source: house rule.

    >>> from fencing.model.fault_list import FaultList
    >>> read_shares(ObjectReader({"shares": {"us": "1/3", "them": "2/3"}}, "/runs/0", FaultList(), ("shares",)))
    {'us': Fraction(1, 3), 'them': Fraction(2, 3)}
    """
    if "shares" not in table:
        return {}
    at, shares = table.pointer("shares"), dict[str, Fraction]()
    given = table.mapping("shares")
    if table.good("shares") and not 1 <= len(given) <= MAX_PARTIES:
        table.fault("shares", "range", f"{len(given)} parties; name 1 to {MAX_PARTIES}, or leave shares out")
        return {}
    for party, value in given.items():
        share = as_share(value)
        if share is None or not 0 < share <= 1:
            text = f'{shown(value)} is not a share; write "1/2", "0.5" or "50%", over 0 and at most 1'
            table.faults.add(step(at, party), "shares.form", text)
        elif not party.strip() or len(party) > 80:
            table.faults.add(step(at, party), "range", "the name of a party has 1 to 80 characters")
        else:
            shares[party] = share
    if len(shares) == len(given):  # check the sum only if every share is valid
        _add_up(table, shares)
    return shares


def _add_up(table: ObjectReader, shares: Mapping[str, Fraction]) -> None:
    total = sum(shares.values(), Fraction(0))
    if shares and total != 1:
        text = f'the shares add up to {total}; they must add up to 1 exactly (write thirds as "1/3")'
        table.fault("shares", "shares.sum", text)


def as_share(value: object) -> Fraction | None:
    """Convert a share from a ratio, a percentage or a decimal; return None for other values.

    >>> as_share("1/3"), as_share("12.5%"), as_share("0.5"), as_share(1), as_share("half")
    (Fraction(1, 3), Fraction(1, 8), Fraction(1, 2), Fraction(1, 1), None)
    """
    if isinstance(value, bool):
        return None
    if isinstance(value, int | Decimal):
        return Fraction(value)
    if not isinstance(value, str):
        return None
    if ratio := RATIO.fullmatch(value):
        return Fraction(int(ratio.group(1)), int(ratio.group(2))) if int(ratio.group(2)) else None
    if percent := PERCENT.fullmatch(value):
        return Fraction(percent.group(1)) / 100
    return Fraction(value) if DECIMAL.fullmatch(value) else None
