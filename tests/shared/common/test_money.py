"""Money is rounded once, by a named rule, and shared out without losing a cent."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.common.money import (
    Apportionment,
    Rounding,
    RoundingRemainder,
    TaxableAmount,
    TaxPolicy,
    TaxRoundingLevel,
    allocate,
    line_net,
    minor_digits,
    rounded,
    rounded_to_step,
    shown,
    tax_on,
    totals,
)

HALF = {"owner": Fraction(1, 2), "neighbour": Fraction(1, 2)}
THIRDS = {"owner": Fraction(1, 3), "left": Fraction(1, 3), "rear": Fraction(1, 3)}

amounts = st.integers(-(10**12), 10**12).map(lambda cents: Decimal(cents).scaleb(-2))


@st.composite
def shares(draw: st.DrawFn) -> dict[str, Fraction]:
    weights = draw(st.lists(st.integers(0, 60), min_size=1, max_size=5).filter(any))
    return {f"party-{place}": Fraction(weight, sum(weights)) for place, weight in enumerate(weights)}


@given(amounts, shares(), st.sampled_from(RoundingRemainder))
def test_allocations_always_add_up_and_stay_within_a_cent_of_the_exact_share(
    amount: Decimal, parts: dict[str, Fraction], odd: RoundingRemainder
) -> None:
    shared_out = allocate(amount, parts, "EUR", odd)
    assert sum(shared_out.values()) == amount
    for name, part in shared_out.items():
        assert abs(Fraction(part) - Fraction(amount) * parts[name]) < Fraction(1, 100)
        assert parts[name] > 0 or part == 0


@given(st.lists(st.tuples(amounts, shares()), max_size=40))
def test_over_many_lines_shared_differently_every_line_adds_up(
    lines: list[tuple[Decimal, dict[str, Fraction]]],
) -> None:
    sharing = Apportionment(2)
    for amount, parts in lines:
        assert sum(sharing.share(amount, parts).values()) == amount


@given(st.lists(st.integers(1, 10**6), min_size=1, max_size=60))
def test_of_two_equal_parties_none_pays_more_than_a_cent_more_over_all_lines(cents: list[int]) -> None:
    sharing = Apportionment(2)
    paid = [sharing.share(Decimal(amount).scaleb(-2), HALF) for amount in cents]
    difference = sum((line["owner"] - line["neighbour"] for line in paid), Decimal(0))
    assert abs(difference) <= Decimal("0.01")


@pytest.mark.parametrize(
    ("odd", "expected"),
    [
        (RoundingRemainder.FIRST, ["33.34", "33.33", "33.33"]),
        (RoundingRemainder.FAIREST, ["33.34", "33.33", "33.33"]),
        (RoundingRemainder.LAST, ["33.33", "33.33", "33.34"]),
    ],
)
def test_the_odd_cent_of_three_equal_shares_goes_by_the_rule(odd: RoundingRemainder, expected: list[str]) -> None:
    assert [str(part) for part in allocate(Decimal("100.00"), THIRDS, "EUR", odd).values()] == expected


def test_the_odd_cent_goes_to_the_largest_share_when_the_rule_says_so() -> None:
    quarter = {"owner": Fraction(1, 4), "neighbour": Fraction(3, 4)}
    # 0.0125 and 0.0375: whole cents 1 and 3, one cent over
    assert allocate(Decimal("0.05"), quarter, "EUR", RoundingRemainder.LARGEST) == {
        "owner": Decimal("0.01"),
        "neighbour": Decimal("0.04"),
    }


def test_a_second_odd_cent_goes_to_the_other_party() -> None:
    sharing = Apportionment(2)
    assert sharing.share(Decimal("0.01"), HALF)["owner"] == Decimal("0.01")
    assert sharing.share(Decimal("0.01"), HALF)["neighbour"] == Decimal("0.01")


def test_a_credit_mirrors_the_charge_it_undoes() -> None:
    charge, credit = allocate(Decimal("0.05"), HALF, "EUR"), allocate(Decimal("-0.05"), HALF, "EUR")
    assert {name: -part for name, part in charge.items()} == credit


def test_a_currency_without_minor_units_is_shared_in_whole_units() -> None:
    assert allocate(Decimal("101"), HALF, "JPY") == {"owner": Decimal(51), "neighbour": Decimal(50)}


@pytest.mark.parametrize(
    "parts",
    [{}, {"owner": Fraction(9, 10)}, {"owner": Fraction(2), "neighbour": Fraction(-1)}],
    ids=["no party", "short of one", "negative"],
)
def test_shares_that_do_not_add_up_to_one_are_refused(parts: dict[str, Fraction]) -> None:
    with pytest.raises(ValueError, match="add up to exactly 1"):
        allocate(Decimal("1.00"), parts, "EUR")


def test_a_part_of_a_cent_cannot_be_shared_out() -> None:
    with pytest.raises(ValueError, match="minor units"):
        allocate(Decimal("0.005"), HALF, "EUR")


@given(st.decimals(-(10**9), 10**9, places=5), st.integers(0, 4), st.sampled_from(Rounding))
def test_rounding_is_never_further_than_it_may_be_and_is_the_same_for_both_signs(
    amount: Decimal, digits: int, rule: Rounding
) -> None:
    result = rounded(amount, digits, rule)
    off = abs(Fraction(result) - Fraction(amount)) * 10**digits
    assert off < 1
    assert rule is Rounding.DOWN or off <= Fraction(1, 2)
    assert rounded(-amount, digits, rule) == -result
    assert result == round(result, digits)


@pytest.mark.parametrize(
    ("text", "up", "down"), [("0.125", "0.13", "0.12"), ("2.675", "2.68", "2.67"), ("1.005", "1.01", "1.00")]
)
def test_a_half_cent_goes_where_the_rule_says_and_never_to_the_even_cent(text: str, up: str, down: str) -> None:
    assert str(rounded(Decimal(text), 2)) == up
    assert str(rounded(Decimal(text), 2, Rounding.HALF_DOWN)) == down


def test_a_fraction_is_rounded_from_its_exact_value() -> None:
    assert rounded(Fraction(1, 3), 2) == Decimal("0.33")
    assert rounded(Fraction(5, 1000) - Fraction(1, 10**30), 2) == 0


@pytest.mark.parametrize("text", ["NaN", "Infinity"])
def test_what_is_not_a_finite_amount_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="finite"):
        rounded(Decimal(text), 2)


def test_a_price_is_rounded_to_the_nearest_step() -> None:
    assert rounded_to_step(Decimal("1232.49"), Decimal(5), 2) == Decimal("1230.00")
    assert rounded_to_step(Decimal("1232.50"), Decimal(5), 2) == Decimal("1235.00")
    assert rounded_to_step(Decimal("1232.494"), Decimal(0), 2) == Decimal("1232.49")


@pytest.mark.parametrize("code", ["XAU", "eur", "ABC", "", "XXX"])
def test_a_code_that_is_no_currency_in_use_is_refused(code: str) -> None:
    with pytest.raises(ValueError, match="ISO 4217"):
        minor_digits(code)


def test_an_amount_is_shown_with_all_its_minor_units_even_where_daily_use_drops_them() -> None:
    assert shown(Decimal("1234.5"), "AUD") == "A$1,234.50"
    assert shown(Decimal("1234"), "JPY") == "¥1,234"
    assert shown(Decimal("5.125"), "IQD") == "IQD5.125"
    assert shown(Decimal("1234.5"), "EUR", "de") == "1.234,50\xa0€"


def test_a_line_rounds_its_product_its_charges_and_its_allowances_separately() -> None:
    # 0.125 x 1 -> 0.13; charge 0.005 -> 0.01; allowance 0.015 -> 0.02; together unrounded they would be 0.115 -> 0.12
    net = line_net(Decimal("0.125"), Decimal(1), charges=[Decimal("0.005")], allowances=[Decimal("0.015")])
    assert net == Decimal("0.13") + Decimal("0.01") - Decimal("0.02")


@pytest.mark.parametrize(("price", "quantity", "per"), [("1", "1", "0"), ("-1", "1", "1"), ("1", "-1", "1")])
def test_a_line_of_negative_price_or_quantity_is_refused(price: str, quantity: str, per: str) -> None:
    with pytest.raises(ValueError, match="not negative"):
        line_net(Decimal(price), Decimal(quantity), per=Decimal(per))


@pytest.mark.parametrize(("category", "rate"), [("S", "0"), ("Z", "10"), ("E", "1"), ("O", "5"), ("AE", "20")])
def test_a_tax_category_with_a_rate_it_cannot_have_is_refused(category: str, rate: str) -> None:
    with pytest.raises(ValueError, match=f"category {category} has a rate"):
        TaxableAmount(Decimal(1), category, Decimal(rate))


taxed_lines = st.lists(
    st.tuples(st.integers(0, 10**7), st.sampled_from(["5", "10", "20.5"])).map(
        lambda line: TaxableAmount(Decimal(line[0]).scaleb(-2), "S", Decimal(line[1]))
    ),
    max_size=20,
)


@given(taxed_lines, st.sampled_from(TaxRoundingLevel), st.sampled_from(Rounding))
def test_totals_are_the_sums_of_their_rows_under_every_rule(
    lines: list[TaxableAmount], at: TaxRoundingLevel, rounding: Rounding
) -> None:
    result = totals(lines, prepaid=Decimal("1.00"), rule=TaxPolicy(at, rounding))
    assert result.exclusive == sum(row.taxable for row in result.breakdown) == sum(line.net for line in lines)
    assert result.tax == sum(row.tax for row in result.breakdown)
    assert result.payable == result.exclusive + result.tax - Decimal("1.00")


@given(taxed_lines)
def test_tax_on_the_total_agrees_with_a_reckoning_in_whole_cents(lines: list[TaxableAmount]) -> None:
    for row in totals(lines).breakdown:
        thousandths = sum(int(line.net * 100) * int(line.rate * 10) for line in lines if line.rate == row.rate)
        assert row.tax == Decimal((2 * thousandths + 1000) // 2000).scaleb(-2)


def test_a_rate_written_with_noughts_is_the_same_rate() -> None:
    both = [TaxableAmount(Decimal("1.00"), "S", Decimal("25")), TaxableAmount(Decimal("1.00"), "S", Decimal("25.00"))]
    assert len(totals(both).breakdown) == 1


def test_tax_by_the_line_is_reckoned_line_by_line() -> None:
    lines = [Decimal("10.02")] * 4
    assert tax_on(lines, Decimal(20), TaxPolicy(TaxRoundingLevel.LINE)) == 4 * Decimal("2.00")
    assert tax_on(lines, Decimal(20), TaxPolicy(TaxRoundingLevel.TOTAL)) == Decimal("8.02")
