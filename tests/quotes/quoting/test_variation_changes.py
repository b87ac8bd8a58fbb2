"""Differences between what was agreed and what is to be built, from lines made up here."""

from __future__ import annotations

from typing import Any

from quotes.quoting.variation_changes import compare, compare_quantities


def line(key: str, net: str, **changes: Any) -> dict[str, Any]:
    """A line that one party pays."""
    plain = {
        "key": key, "part": key, "group": "fence", "text": f"Run {key}", "detail": "", "quantity": "1", "unit": "MTR",
        "net": net, "cost": "0", "tax_code": "s", "tax_category": "S", "tax_rate": "10", "tax_label": "Tax",
        "shares": {"owner": "1"},
    }  # fmt: skip
    return {**plain, **changes}


def test_what_is_as_it_was_is_not_mentioned() -> None:
    assert compare([line("A", "100.00")], [line("A", "100.00")]) == []


def test_a_line_is_added_removed_or_changed_by_what_it_now_costs_more() -> None:
    before = [line("A", "100.00"), line("B", "50.00")]
    after = [line("A", "130.00"), line("C", "20.00")]
    data = [(item["key"], item["change"], item["net"]) for item in compare(before, after)]
    assert data == [
        ("changed.A", "changed", "30.00"),
        ("removed.B", "removed", "-50.00"),
        ("added.C", "added", "20.00"),
    ]


def test_a_line_with_other_shares_goes_and_comes_anew() -> None:
    halves = {"owner": "1/2", "neighbour": "1/2"}
    data = compare([line("A", "100.00")], [line("A", "100.00", shares=halves)])
    assert [(item["change"], item["net"], item["shares"]) for item in data] == [
        ("removed", "-100.00", {"owner": "1"}),
        ("added", "100.00", halves),
    ]


def test_quantities_say_how_much_more_or_less() -> None:
    def row(role: str, total: str) -> dict[str, Any]:
        return {"role": role, "component": role, "finish": None, "unit": "C62", "total": total}

    data = compare_quantities(
        [row("rail", "10"), row("cap", "4")], [row("rail", "12"), row("cap", "4"), row("hinge", "2")]
    )
    assert [(item["role"], item["before"], item["after"], item["difference"]) for item in data] == [
        ("rail", "10", "12", "2"),
        ("hinge", "0", "2", "2"),
    ]
