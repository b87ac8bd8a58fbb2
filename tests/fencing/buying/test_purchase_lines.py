"""Counted things in the packs they are sold in."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fencing.buying.purchase_lines import in_packs

amounts = st.decimals(0, 10_000, places=3)


@pytest.mark.parametrize(
    ("wanted", "pack", "least", "packs", "ordered"),
    [
        ("328", "100", "0", 4, "400"),
        ("400", "100", "0", 4, "400"),
        ("3", "1", "10", 10, "10"),
        ("0", "100", "10", 0, "0"),
    ],
)
def test_whole_packs_hold_what_is_wanted_and_the_minimum_order(
    wanted: str, pack: str, least: str, packs: int, ordered: str
) -> None:
    found = in_packs(Decimal(wanted), Decimal(pack), Decimal(least))
    assert (found.packs, found.ordered, found.spare) == (packs, Decimal(ordered), Decimal(ordered) - Decimal(wanted))


@given(amounts, st.decimals("0.001", 500, places=3), amounts)
def test_never_less_than_wanted_and_never_a_pack_too_many(wanted: Decimal, pack: Decimal, least: Decimal) -> None:
    found = in_packs(wanted, pack, least)
    assert found.ordered >= wanted
    assert found.ordered == found.packs * pack
    assert not found.packs or (found.packs - 1) * pack < max(wanted, least)


@pytest.mark.parametrize(("wanted", "pack"), [("1", "0"), ("1", "-2"), ("-1", "1")])
def test_a_pack_of_nothing_is_refused(wanted: str, pack: str) -> None:
    with pytest.raises(ValueError, match="pack"):
        in_packs(Decimal(wanted), Decimal(pack))
