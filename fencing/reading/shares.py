"""Who pays which part of a run: exact shares that add up to 1."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

from fencing.reading.fault_list import shown, step
from fencing.reading.object_reader import ObjectReader

MAX_PARTIES = 20
RATIO = re.compile(r"([0-9]{1,6})/([0-9]{1,6})")
PERCENT = re.compile(r"([0-9]{1,3}(?:\.[0-9]{1,6})?) ?%")
DECIMAL = re.compile(r"[0-9](?:\.[0-9]{1,9})?")


def read_shares(table: ObjectReader) -> Mapping[str, Fraction]:
    """Party -> share [over 0, at most 1]; they add up to 1; empty where none are named. Source: house rule.

    >>> from fencing.reading.fault_list import Faults
    >>> read_shares(ObjectReader({"shares": {"us": "1/3", "them": "2/3"}}, "/runs/0", Faults(), ("shares",)))
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
            text = f'{shown(value)} is no share; write "1/2", "0.5" or "50%", over 0 and at most 1'
            table.faults.add(step(at, party), "shares.form", text)
        elif not party.strip() or len(party) > 80:
            table.faults.add(step(at, party), "range", "a party is named with 1 to 80 characters")
        else:
            shares[party] = share
    if len(shares) == len(given):  # a sum of which some were refused says nothing
        _add_up(table, shares)
    return shares


def _add_up(table: ObjectReader, shares: Mapping[str, Fraction]) -> None:
    total = sum(shares.values(), Fraction(0))
    if shares and total != 1:
        text = f'the shares add up to {total}; they must add up to 1 exactly (write thirds as "1/3")'
        table.fault("shares", "shares.sum", text)


def as_share(value: object) -> Fraction | None:
    """A share as it is written [ratio, percent, decimal]; None where it is none.

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
