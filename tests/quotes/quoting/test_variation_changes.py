"""Differences between what was agreed and what is to be built, from lines made up here."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from quotes.quoting.variation_changes import compare, compare_quantities
from tests.quotes.quoting.contents import some_line


def test_what_is_as_it_was_is_not_mentioned() -> None:
    assert compare([some_line("100.00", "A")], [some_line("100.00", "A")]) == ()


def test_a_line_is_added_removed_or_changed_by_what_it_now_costs_more() -> None:
    before = [some_line("100.00", "A"), some_line("50.00", "B")]
    after = [some_line("130.00", "A"), some_line("20.00", "C")]
    data = [(item.key, item.change, str(item.net)) for item in compare(before, after)]
    assert data == [
        ("changed.A", "changed", "30.00"),
        ("removed.B", "removed", "-50.00"),
        ("added.C", "added", "20.00"),
    ]


def test_a_line_with_other_shares_goes_and_comes_anew() -> None:
    halves = {"owner": Fraction(1, 2), "neighbour": Fraction(1, 2)}
    data = compare([some_line("100.00", "A")], [some_line("100.00", "A", shares=halves)])
    assert [(item.change, str(item.net), item.shares) for item in data] == [
        ("removed", "-100.00", {"owner": Fraction(1)}),
        ("added", "100.00", halves),
    ]


def test_quantities_say_how_much_more_or_less() -> None:
    def row(role: str, total: str) -> dict[str, Any]:
        return {"role": role, "component": role, "finish": None, "unit": "C62", "total": total}

    data = compare_quantities(
        [row("rail", "10"), row("cap", "4")], [row("rail", "12"), row("cap", "4"), row("hinge", "2")]
    )
    assert [(item.role, *map(str, (item.before, item.after, item.difference))) for item in data] == [
        ("rail", "10", "12", "2"),
        ("hinge", "0", "2", "2"),
    ]
