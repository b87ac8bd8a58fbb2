"""Money as standards and laws state it: totals of documents, rounding of tax, and no float in any module that calculates it.

Sources: EN 16931-1 rules BR-CO-10 to BR-CO-17 and the example files named in each case (ConnectingEurope eInvoicing-EN16931,
ubl/examples; their lines are summed by category and rate, as the tax breakdown of each file prints them); AU A New Tax System
(Goods and Services Tax) Act 1999 s 9-90; NZ Goods and Services Tax Act 1985 s 19O; UK VAT Notice 700 section 17.5 with HMRC
VATREC12010 and VATREC12020 (amounts recomputed by hand from the rule in each text); ISO 4217 minor units as published 2026-01-01.
"""

from __future__ import annotations

import ast
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import pytest

from shared.common.money import (
    Rounding,
    TaxableAmount,
    TaxPolicy,
    TaxRoundingLevel,
    minor_digits,
    rounded,
    tax_on,
    tax_within,
    totals,
)
from tests.checks.outside import Outside


@dataclass(frozen=True)
class Example:
    """A published example: (base, rate, tax) rows, then its totals."""

    file: str
    rows: tuple[tuple[str, str, str], ...]
    exclusive: str
    tax: str
    inclusive: str
    prepaid: str
    payable: str


EXAMPLES = [
    Example(
        "tc434-example1",
        (("183.23", "6", "10.99"), ("46.37", "21", "9.74")),
        "229.60",
        "20.73",
        "250.33",
        "0",
        "250.33",
    ),
    Example(
        "guide-example2",
        (("1460.50", "25", "365.13"), ("1.00", "15", "0.15"), ("-25.00", "0", "0.00")),
        "1436.50",
        "365.28",
        "1801.78",
        "1000",
        "801.78",
    ),
    Example(
        "tc434-example3", (("900", "25", "225"), ("800", "10", "80")), "1700.00", "305.00", "2005.00", "0", "2005.00"
    ),
    Example(
        "tc434-example5",
        (("1500", "25", "375"), ("2500", "12", "300")),
        "4000.00",
        "675.00",
        "4675.00",
        "2337.50",
        "2337.50",
    ),
    Example("tc434-example8", (("908.91", "21", "190.87"),), "908.91", "190.87", "1099.78", "0", "1099.78"),
    Example("tc434-example9", (("147.00", "21", "30.87"),), "147.00", "30.87", "177.87", "0", "177.87"),
    Example(
        "BIS3_Invoice_positive",
        (("625743.54", "25", "156435.89"),),
        "625743.54",
        "156435.89",
        "782179.43",
        "0",
        "782179.43",
    ),
]


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.file)
def test_totals_of_a_published_example_are_reproduced_to_the_cent(outside: Outside, example: Example) -> None:
    lines = [
        TaxableAmount(Decimal(base), "S" if Decimal(rate) else "E", Decimal(rate)) for base, rate, _ in example.rows
    ]
    result = totals(lines, prepaid=Decimal(example.prepaid))
    assert [row.tax for row in result.breakdown] == [Decimal(tax) for *_, tax in example.rows]
    ours = [result.exclusive, result.tax, result.inclusive, result.payable]
    theirs = [Decimal(text) for text in (example.exclusive, example.tax, example.inclusive, example.payable)]
    source = f"EN 16931 example {example.file}"
    outside("net, tax, gross, payable", stage="money", source=source, ours=ours, theirs=theirs)


def test_allowances_and_charges_of_the_document_change_what_is_taxed() -> None:
    # tc434-example5: lines 4000.00, allowance 150, charge 150, all in the group of 25 percent here
    twenty_five = Decimal(25)
    result = totals(
        [TaxableAmount(Decimal("1500.00"), "S", twenty_five), TaxableAmount(Decimal("2500.00"), "S", Decimal(12))],
        allowances=[TaxableAmount(Decimal("150.00"), "S", twenty_five)],
        charges=[TaxableAmount(Decimal("150.00"), "S", twenty_five)],
    )
    assert (result.lines, result.allowances, result.charges) == (Decimal(4000), Decimal(150), Decimal(150))
    assert result.exclusive == Decimal("4000.00")
    assert result.tax == Decimal("675.00")


def test_a_credit_mirrors_the_large_invoice_away_from_zero() -> None:
    # BIS3_Invoice_negative: the mirrored file rounds 156435.885 to 156435.89 with its sign turned
    assert totals([TaxableAmount(Decimal("-625743.54"), "S", Decimal(25))]).tax == Decimal("-156435.89")


@pytest.mark.parametrize(
    ("net", "count", "on_total", "by_line"),
    [("0.33", 3, "0.20", "0.21"), ("10.02", 4, "8.02", "8.00"), ("10.03", 4, "8.02", "8.04")],
)
def test_tax_of_a_category_is_reckoned_on_its_sum_and_not_line_by_line(
    net: str, count: int, on_total: str, by_line: str
) -> None:
    nets = [Decimal(net)] * count
    assert tax_on(nets, Decimal(20), TaxPolicy()) == Decimal(on_total)
    assert tax_on(nets, Decimal(20), TaxPolicy(TaxRoundingLevel.LINE)) == Decimal(by_line)


@pytest.mark.parametrize(("exact", "printed"), [("365.125", "365.13"), ("156435.885", "156435.89")])
def test_a_half_cent_rounds_up_where_rounding_to_even_would_not_tell(exact: str, printed: str) -> None:
    assert rounded(Decimal(exact), 2) == Decimal(printed)


def test_what_is_payable_counts_what_was_prepaid_and_the_cash_rounding() -> None:
    result = totals(
        [TaxableAmount(Decimal("99.98"), "S", Decimal(20))], prepaid=Decimal("20.00"), rounding=Decimal("0.02")
    )  # 99.98 + 20.00 tax = 119.98
    assert result.payable == Decimal("119.98") - Decimal("20.00") + Decimal("0.02")


TOTAL = TaxPolicy(TaxRoundingLevel.TOTAL)
BY_LINE = TaxPolicy(TaxRoundingLevel.LINE)
BY_LINE_3 = TaxPolicy(TaxRoundingLevel.LINE, line_digits=3)


def amounts(text: str) -> list[Decimal]:
    return [Decimal(part) for part in text.split()]


@pytest.mark.parametrize(
    ("nets", "on_total", "by_supply", "by_supply_3"),
    [
        ("1.05 1.05 1.05", "0.32", "0.33", "0.32"),  # 0.315 | 3 x 0.105 -> 0.11
        ("2.22 3.33 4.44", "1.00", "0.99", "1.00"),  # 0.999 | 0.22 + 0.33 + 0.44
        ("0.45 " * 10, "0.45", "0.50", "0.45"),  # 0.450 | 10 x 0.045 -> 0.05
        ("19.95 19.95 19.95", "5.99", "6.00", "5.99"),  # 5.985 | 3 x 1.995 -> 2.00
    ],
)
def test_australian_tax_on_several_supplies(
    outside: Outside, nets: str, on_total: str, by_supply: str, by_supply_3: str
) -> None:
    rate = Decimal(10)
    ours = [tax_on(amounts(nets), rate, rule) for rule in (TOTAL, BY_LINE, BY_LINE_3)]
    theirs = [Decimal(text) for text in (on_total, by_supply, by_supply_3)]
    source = "AU GST Act 1999 s 9-90, computed"
    outside(f"10 % of {nets.strip()}: total, 2 and 3 places", stage="tax", source=source, ours=ours, theirs=theirs)


@pytest.mark.parametrize(
    ("gross", "tax"), [("100.00", "9.09"), ("1000.00", "90.91"), ("82.50", "7.50"), ("0.05", "0.00")]
)
def test_one_eleventh_of_a_price_that_includes_australian_tax(outside: Outside, gross: str, tax: str) -> None:
    ours = tax_within(Decimal(gross), Decimal(10))
    outside(f"1/11 of {gross}", stage="tax", source="AU GST Act 1999 s 9-90, computed", ours=ours, theirs=Decimal(tax))


@pytest.mark.parametrize(
    ("net", "half_down", "half_up"),
    [
        ("0.10", "0.01", "0.02"),
        ("1.10", "0.16", "0.17"),
        ("2.30", "0.34", "0.35"),
        ("3.70", "0.55", "0.56"),
        ("9.90", "1.48", "1.49"),
    ],
)
def test_a_new_zealand_half_cent_may_be_disregarded(outside: Outside, net: str, half_down: str, half_up: str) -> None:
    ours = tax_on([Decimal(net)], Decimal(15), TaxPolicy(rounding=Rounding.HALF_DOWN))
    source = "NZ GST Act 1985 s 19O, computed"
    outside(f"15 % of {net}, half disregarded", stage="tax", source=source, ours=ours, theirs=Decimal(half_down))
    assert tax_on([Decimal(net)], Decimal(15), TOTAL) == Decimal(half_up)


@pytest.mark.parametrize(("gross", "tax"), [("115.00", "15.00"), ("100.00", "13.04"), ("99.95", "13.04")])
def test_three_twentythirds_of_a_price_that_includes_new_zealand_tax(gross: str, tax: str) -> None:
    assert tax_within(Decimal(gross), Decimal(15), rule=Rounding.HALF_DOWN) == Decimal(tax)


def test_british_tax_by_lines_to_a_tenth_of_a_penny_and_to_a_penny() -> None:
    seven, rate = amounts("0.99 " * 7), Decimal(20)
    # seven times 0.198 is 1.386
    assert tax_on(seven, rate, TaxPolicy(TaxRoundingLevel.LINE, Rounding.DOWN, line_digits=3)) == Decimal("1.38")
    assert tax_on(seven, rate, TaxPolicy(TaxRoundingLevel.LINE, Rounding.HALF_UP, line_digits=3)) == Decimal("1.39")
    assert tax_on(seven, rate, TaxPolicy(TaxRoundingLevel.LINE, Rounding.HALF_UP)) == 7 * Decimal("0.20")


def test_british_total_tax_may_be_rounded_down_to_a_whole_penny() -> None:
    assert rounded(Decimal("1.389"), 2, Rounding.DOWN) == Decimal("1.38")


@pytest.mark.parametrize(
    ("digits", "codes"),
    [
        (2, "AUD NZD GBP USD EUR CHF HUF AFN ALL IRR KPW LAK LBP MGA MMK RSD SOS SYP YER"),
        (0, "JPY ISK BIF XAF CLP KMF DJF XPF GNF KRW PYG RWF UGX VUV VND XOF"),
        (3, "KWD BHD IQD JOD LYD OMR TND"),
        (4, "CLF"),
    ],
)
def test_minor_units_are_those_of_iso_4217_also_where_daily_use_differs(digits: int, codes: str) -> None:
    assert {code: minor_digits(code) for code in codes.split()} == dict.fromkeys(codes.split(), digits)


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
