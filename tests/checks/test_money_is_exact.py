"""Tests that modules which calculate money contain and make no float."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
RECKONING = [
    "shared/common/money.py",
    "fencing/quantities/comparison_prices.py",
    "catalogue/rules/price_bands.py",
    "catalogue/rules/price_rule_lines.py",
    "catalogue/rules/price_rules.py",
    *(
        str(path.relative_to(ROOT))
        for package in ("fencing/buying", "quotes/pricing")
        for path in sorted((ROOT / package).glob("*.py"))
    ),
]


def floats(source: str) -> list[int]:
    """Lines that make a float or hold one."""
    return [
        node.lineno
        for node in ast.walk(ast.parse(source))
        if (isinstance(node, ast.Constant) and isinstance(node.value, float))
        or (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "float")
    ]


@pytest.mark.parametrize("path", RECKONING)
def test_a_module_that_reckons_money_makes_no_float(path: str) -> None:
    assert floats((ROOT / path).read_text(encoding="utf-8")) == []


def test_the_check_finds_a_float() -> None:
    assert floats("a = 1.5\nb = float(c)\nd = 2") == [1, 2]
