"""Percentages and shares as people type them."""

from __future__ import annotations

import pytest

from shared.common.typed_shares import read_percent, read_share, read_shares, read_split

TWO = ("owner", "neighbour")


@pytest.mark.parametrize("typed", ["5%", "5 %", "5", "5 percent", "5 per cent"])
def test_a_percentage_is_read_with_or_without_its_sign(typed: str) -> None:
    assert read_percent(typed) == "5"


@pytest.mark.parametrize("typed", ["five", "%", "5%%", "5 apples"])
def test_what_is_no_percentage_stays_as_it_was_typed(typed: str) -> None:
    assert read_percent(typed) == typed


@pytest.mark.parametrize(
    ("typed", "share"),
    [
        ("1/2", "1/2"),
        ("60%", "60%"),
        ("12,5%", "12.5%"),
        ("0.4", "0.4"),
        ("half", "1/2"),
        ("a third", "1/3"),
        ("1/0", None),
        ("x", None),
    ],
)
def test_one_share(typed: str, share: str | None) -> None:
    assert read_share(typed) == share


@pytest.mark.parametrize("typed", ["60/40", "60 / 40", "60:40", "60%/40%", "60%, 40%", "60% and 40%"])
def test_a_split_is_read_in_the_order_of_the_parties(typed: str) -> None:
    assert read_split(typed, TWO) == {"owner": "60%", "neighbour": "40%"}


@pytest.mark.parametrize("typed", ["half each", "1/2 each", "a half each"])
def test_each_pays_the_same(typed: str) -> None:
    assert read_split(typed, TWO) == {"owner": "1/2", "neighbour": "1/2"}


@pytest.mark.parametrize("typed", ["60/50", "1/3 each", "60%", "1/2", "each", "", "30/30/40"])
def test_what_does_not_add_up_for_these_parties_is_no_split(typed: str) -> None:
    assert read_split(typed, TWO) is None
    assert read_shares(typed, TWO) in (typed, {})
