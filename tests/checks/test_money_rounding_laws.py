"""Rounding of tax as three laws state it; amounts recomputed by hand from the rule in each text.

Sources: AU A New Tax System (Goods and Services Tax) Act 1999 s 9-90; NZ Goods and Services Tax Act 1985 s 19O; UK VAT Notice
700 section 17.5 with HMRC VATREC12010 and VATREC12020; ISO 4217 minor units as published 2026-01-01.
"""

from decimal import Decimal

import pytest

from shared.common.money import Rounding, TaxPolicy, TaxRoundingLevel, minor_digits, rounded, tax_on, tax_within
from tests.checks.outside import Outside

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
