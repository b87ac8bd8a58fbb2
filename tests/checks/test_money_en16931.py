"""Totals of documents against the rules of EN 16931-1 and the totals printed in its published example invoices.

Source: EN 16931-1 rules BR-CO-10 to BR-CO-17 and the example files named in each case (ConnectingEurope eInvoicing-EN16931,
ubl/examples). The examples' own lines are summed here by category and rate, as the tax breakdown of each file prints them.
"""

from dataclasses import dataclass
from decimal import Decimal

import pytest

from shared.common.money import TaxableAmount, TaxPolicy, TaxRoundingLevel, rounded, tax_on, totals
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
