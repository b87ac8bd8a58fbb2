"""Lengths, percentages and shares as people type them."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.common.typed_entries import (
    HEIGHT,
    LEVEL,
    read_length,
    read_millimetres,
    read_percent,
    read_share,
    read_shares,
    read_split,
)


@pytest.mark.parametrize(
    ("typed", "millimetres"),
    [
        ("60'", 18_288), ("60 ft", 18_288), ("60\N{RIGHT SINGLE QUOTATION MARK}", 18_288), ("12'6", 3_810), ("12'6\"", 3_810),
        ("12' 6''", 3_810), ("12ft 6in", 3_810), ("12 feet 6 inches", 3_810), ("12.5'", 3_810), ("30\"", 762),
        ("6' 3 1/2\"", 1_918), ("6\N{PRIME}3\N{VULGAR FRACTION ONE HALF}\N{DOUBLE PRIME}", 1_918), ("-1'6", -457),
        ("1 1/2 ft", 457), ("0'6", 152),
    ],
)  # fmt: skip
def test_feet_and_inches_are_read_to_the_nearest_millimetre(typed: str, millimetres: int) -> None:
    assert read_length(typed) == millimetres
    assert read_length(typed, HEIGHT) == millimetres
    assert read_length(typed, LEVEL) == millimetres
    assert read_millimetres(typed) == millimetres


@pytest.mark.parametrize(
    "typed",
    [
        "18'240",
        "5'12",
        "12.5'6",
        "6' 3 4\"",
        "6'3 2/2",
        "6'3 1/0",
        "12'6 m",
        "12' 6'",
        "'",
        "ft",
        "60'4mm",
        "1'2'3",
        "6 3",
    ],
)
def test_what_could_mean_two_things_is_not_guessed(typed: str) -> None:
    assert read_length(typed) == typed or typed == "6 3"


@given(st.integers(0, 900), st.integers(0, 11), st.integers(0, 15))
def test_feet_inches_and_sixteenths_are_exact_but_for_one_rounding(feet: int, inches: int, sixteenths: int) -> None:
    exact = (feet * 12 + inches + Fraction(sixteenths, 16)) * Fraction(254, 10)
    part = f" {sixteenths}/16" if sixteenths else ""
    read = read_length(f"{feet}' {inches}{part}\"")
    assert isinstance(read, int)
    assert abs(read - exact) <= Fraction(1, 2)


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
