"""Costed lines become a price whose totals are the sums of its printed lines, and the discount that applies."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.rules.price_rule_lines import Category, DiscountRule, GivenTo
from catalogue.rules.price_rules import PriceRules
from fencing.model.faults import InvalidDocument
from quotes.pricing.costs import CostLine, DeliveryCharge, delivery_lines, hire_lines
from quotes.pricing.price_lines import Buyer, Discount, choose_discount, line_by_hand
from quotes.pricing.shares import Shares
from shared.common.money import Rounding, RoundingRemainder, TaxPolicy, TaxRoundingLevel
from tests.quotes.pricing.cast import THIRDS, cost, percent, price, rules

HALVES = {"owner": Fraction(1, 2), "neighbour": Fraction(1, 2)}


def test_a_price_is_its_cost_with_markup_and_tax() -> None:
    found = price([cost("80.00")], rules(markups={"materials": percent("25")}))
    assert found.lines[0].net == Decimal("100.00")
    assert (found.sums.net, found.sums.tax, found.sums.total) == (
        Decimal("100.00"),
        Decimal("10.00"),
        Decimal("110.00"),
    )
    assert found.lines[0].cost == Decimal("80.00")


def test_a_margin_of_the_price_is_reached_exactly() -> None:
    found = price([cost("75.00")], rules(markups={"materials": percent("25", of_price=True)}))
    assert found.sums.net == Decimal("100.00")  # 75 is three quarters of 100


def test_each_line_takes_the_markup_of_its_role_or_else_of_its_category() -> None:
    lines = [cost("10.00", "r", role="rail"), cost("10.00", "s", role="sheet"), cost("10.00", "l", Category.LABOUR)]
    found = price(lines, rules(markups={"materials": percent("10"), "rail": percent("50"), "labour": percent("20")}))
    assert [line.net for line in found.lines] == [Decimal("15.00"), Decimal("11.00"), Decimal("12.00")]


def test_a_line_keeps_its_working() -> None:
    line = CostLine("screws", Category.MATERIALS, "Screws", Decimal(300), "C62", Decimal("0.045"))
    found = price([line], rules(markups={"materials": percent("20.00")}))
    assert found.lines[0].working == "300 at 0.045 = 13.50; 20 % markup = 16.20"


def test_what_was_paid_as_ordered_counts_and_not_quantity_times_price() -> None:
    found = price(
        [CostLine("a", Category.MATERIALS, "a", Decimal(3), "C62", Decimal("1.10"), cost=Decimal("3.00"))], rules()
    )
    assert found.lines[0].cost == Decimal("3.00")
    assert found.lines[0].working == "3 = 3.00; 0 % markup = 3.00"


def test_a_job_below_the_least_charge_is_made_up_to_it_by_a_line_of_its_own() -> None:
    found = price([cost("130.00")], rules(minimum_job_charge=Decimal(200)))
    assert [(line.kind, line.net) for line in found.lines] == [
        ("cost", Decimal("130.00")),
        ("least_charge", Decimal("70.00")),
    ]


def test_a_job_at_the_least_charge_gets_no_such_line() -> None:
    assert len(price([cost("200.00")], rules(minimum_job_charge=Decimal(200))).lines) == 1


def test_what_is_priced_by_hand_counts_for_discount_least_charge_and_rounding() -> None:
    permit = line_by_hand("extra.1", "Permit", Decimal("50.50"), rules().tax(), None)

    def added(net: str, discount: Discount | None = None, **values: Decimal) -> list[tuple[str, Decimal]]:
        found = price([cost(net)], rules(**values), discount=discount, by_hand=[permit])
        return [(line.kind, line.net) for line in found.lines[1:]]

    # a tenth of 100.00 + 50.50
    assert added("100.00", Discount("Regular", Decimal(10))) == [("discount", Decimal("-15.05"))]
    # 100.00 + 50.50 lack 49.50
    assert added("100.00", minimum_job_charge=Decimal(200)) == [("least_charge", Decimal("49.50"))]
    assert added("149.50", minimum_job_charge=Decimal(200)) == []
    # 101.20 + 50.50 = 151.70, to whole fives
    assert added("101.20", rounding_step=Decimal(5)) == [("rounding", Decimal("-1.70"))]


def test_the_least_charge_holds_after_the_discount() -> None:
    found = price([cost("210.00")], rules(minimum_job_charge=Decimal(200)), discount=Discount("Trade", Decimal(10)))
    # 210 - 21 = 189, made up by 11
    assert [line.net for line in found.lines] == [Decimal("210.00"), Decimal("-21.00"), Decimal("11.00")]


def test_a_discount_is_never_more_than_there_is_to_pay() -> None:
    found = price([cost("50.00")], rules(), discount=Discount("Goodwill", amount=Decimal(80)))
    assert found.sums.total == 0


def test_the_price_is_rounded_to_the_business_step_by_a_line_of_its_own() -> None:
    assert price([cost("1232.40")], rules(rounding_step=Decimal(5))).lines[-1].net == Decimal("-2.40")
    down = rules(rounding_step=Decimal(5), rounding=Rounding.DOWN)
    assert price([cost("1234.90")], down).sums.net == Decimal("1230.00")


def test_a_discount_is_taken_from_each_tax_code_in_proportion() -> None:
    taxed, free = cost("300.00", "a"), cost("100.00", "b", tax_code="free")
    found = price([taxed, free], rules(), discount=Discount("Trade", Decimal(10)))
    assert [(line.key, line.net) for line in found.lines[2:]] == [
        ("discount.standard", Decimal("-30.00")),
        ("discount.free", Decimal("-10.00")),
    ]
    assert found.sums.tax == Decimal("27.00")  # 10 percent of 300 - 30


def test_tax_by_the_line_or_on_the_total_is_the_business_choice() -> None:
    lines = [cost("1.05", key) for key in "abc"]
    assert price(lines, rules(tax_rounding=TaxPolicy(TaxRoundingLevel.TOTAL))).sums.tax == Decimal("0.32")  # 0.315
    assert price(lines, rules(tax_rounding=TaxPolicy(TaxRoundingLevel.LINE))).sums.tax == Decimal("0.33")  # 3 x 0.11


def test_the_account_of_each_line_is_kept() -> None:
    found = price(
        [cost("1.00", category=Category.LABOUR), cost("1.00", "b")],
        rules(accounts={"sales": "4000", "labour": "4100", "discount": "4900"}),
        discount=Discount("Trade", Decimal(10)),
    )
    assert [line.account for line in found.lines] == ["4100", "4000", "4900"]


def test_a_shared_run_is_paid_by_halves_and_the_front_by_the_owner() -> None:
    lines = [cost("101.00", "side", runs={"A": Fraction(1)}), cost("50.00", "front", runs={"B": Fraction(1)})]
    found = price(lines, rules(), shares=Shares({"A": HALVES}))
    owner, neighbour = found.sums.parties["owner"], found.sums.parties["neighbour"]
    assert (owner.net, neighbour.net) == (Decimal("100.50"), Decimal("50.50"))
    assert owner.total + neighbour.total == found.sums.total == Decimal("166.10")


def test_a_material_used_on_two_runs_is_shared_by_what_each_needs() -> None:
    lines = [cost("90.00", runs={"A": Fraction(2, 3), "B": Fraction(1, 3)})]
    found = price(lines, rules(), shares=Shares({"A": HALVES}))
    # the neighbour pays half of two thirds
    assert {key: party.net for key, party in found.sums.parties.items()} == {
        "owner": Decimal("60.00"),
        "neighbour": Decimal("30.00"),
    }


def test_what_belongs_to_the_job_as_a_whole_is_shared_as_the_rest_is() -> None:
    lines = [
        cost("300.00", runs={"A": Fraction(1)}),
        cost("100.00", "b", runs={"B": Fraction(1)}),
        cost("80.00", "travel"),
    ]
    found = price(lines, rules(), shares=Shares({"A": HALVES}))
    # the neighbour pays 150 of 400, so 3/8 of the travel
    assert found.sums.parties["neighbour"].lines[1].net == Decimal("30.00")


def test_instalments_add_up_for_each_party_and_for_the_job() -> None:
    found = price([cost("99.99", runs={"A": Fraction(1)})], rules(instalments=THIRDS), shares=Shares({"A": HALVES}))
    for party in found.sums.parties.values():
        assert len(party.payments) == 3
        assert sum(party.payments) == party.total
    assert sum(found.sums.payments) == found.sums.total


def test_a_currency_without_cents_is_priced_in_whole_units() -> None:
    found = price([cost("100.4")], rules(currency="JPY", markups={"materials": percent("10")}))
    assert found.sums.net == Decimal(110)  # 100 and 10 percent


def test_a_job_of_nothing_costs_nothing() -> None:
    found = price([], rules(minimum_job_charge=Decimal(200), instalments=THIRDS))
    assert found.sums.total == 0
    assert not found.lines
    assert [party.total for party in found.sums.parties.values()] == [0]


def brought(*fees: int) -> list[DeliveryCharge]:
    return [DeliveryCharge(f"s{place}", Decimal(100), Decimal(fee)) for place, fee in enumerate(fees)]


def test_hire_and_delivery_are_lines_of_cost() -> None:
    hired = rules(hire={"auger": ("Post hole auger", Decimal("95.00"))})
    lines = [
        *hire_lines({"auger": Decimal(2)}, hired),
        *delivery_lines(brought(55, 0, 25)),
    ]
    assert {line.category: line.costs(2) for line in lines} == {
        "hire": Decimal("190.00"),
        "delivery": Decimal("80.00"),
    }
    assert [line.quantity for line in lines if line.key == "delivery"] == [Decimal(2)]  # one is free
    assert [line.why for line in lines if line.key == "delivery"] == [
        "s0 charges 55 for goods of 100; s1 charges nothing for goods of 100; s2 charges 25 for goods of 100"
    ]
    assert delivery_lines(brought(0)) == []
    with pytest.raises(InvalidDocument, match="no hire rate for crane"):
        hire_lines({"crane": Decimal(1)}, hired)


@pytest.mark.parametrize(("part", "amount"), [("-1", "0"), ("101", "0"), ("0", "-5")])
def test_a_discount_that_is_none_is_refused(part: str, amount: str) -> None:
    with pytest.raises(ValueError, match="discount"):
        Discount("x", Decimal(part), Decimal(amount))


def test_parts_by_run_that_do_not_add_up_are_refused() -> None:
    with pytest.raises(ValueError, match="add up to 1"):
        cost("1.00", runs={"A": Fraction(1, 2)})


cents = st.integers(0, 10**6).map(lambda amount: Decimal(amount).scaleb(-2))
parts = st.lists(st.integers(1, 9), min_size=1, max_size=3).map(
    lambda weights: {name: Fraction(weight, sum(weights)) for name, weight in zip("XYZ", weights, strict=False)}
)


@st.composite
def jobs(draw: st.DrawFn) -> tuple[list[CostLine], PriceRules, Shares, Discount | None]:
    lines = [
        CostLine(
            f"line-{number}",
            draw(st.sampled_from(Category)),
            "line",
            Decimal(draw(st.integers(0, 50))),
            "C62",
            draw(cents),
            runs=draw(st.sampled_from([{}, {"A": Fraction(1)}, {"A": Fraction(1, 3), "B": Fraction(2, 3)}])),
            tax_code=draw(st.sampled_from([None, "free"])),
        )
        for number in range(draw(st.integers(0, 12)))
    ]
    business = rules(
        markups={"materials": percent("17.5"), "labour": percent("30", of_price=True)},
        minimum_job_charge=draw(cents),
        rounding_step=draw(st.sampled_from([Decimal(0), Decimal("0.05"), Decimal(5)])),
        tax_rounding=TaxPolicy(draw(st.sampled_from(TaxRoundingLevel)), draw(st.sampled_from(Rounding))),
        rounding_difference=draw(st.sampled_from(RoundingRemainder)),
        instalments=THIRDS,
    )
    discount = draw(
        st.none() | st.builds(Discount, st.just("Trade"), st.sampled_from([Decimal(0), Decimal("7.5")]), cents)
    )
    return lines, business, Shares({"A": draw(parts)}, draw(parts)), discount


@given(jobs())
def test_every_total_is_the_sum_of_its_printed_lines(
    job: tuple[list[CostLine], PriceRules, Shares, Discount | None],
) -> None:
    lines, business, shares, discount = job
    found = price(lines, business, shares=shares, discount=discount)
    assert sum(line.net for line in found.lines) == found.sums.net
    assert sum(row.tax for row in found.sums.breakdown) == found.sums.tax
    assert found.sums.net + found.sums.tax == found.sums.total == sum(found.sums.payments)
    if lines and not business.rounding_step:
        assert found.sums.net >= business.minimum_job_charge


RULES = rules(
    discounts={
        "neighbours": DiscountRule("neighbours", "Shared", Decimal(2), GivenTo.SHARED),
        "prompt": DiscountRule("prompt", "Paid at once", Decimal(9)),
        "regular": DiscountRule("regular", "Regular", Decimal(3), GivenTo.RETURNING),
    }
)


@pytest.mark.parametrize(
    ("asked", "buyer", "label", "why"),
    [
        (None, Buyer(), None, ""),
        (None, Buyer(parties=2), "Shared", "Price rule neighbours: 2 parties share the cost"),
        (None, Buyer(returning=True), "Regular", "Price rule regular: the customer accepted another job before"),
        # of two that apply only the greater
        (None, Buyer(True, 3), "Regular", "Price rule regular: the customer accepted another job before"),
        ("prompt", Buyer(True, 3), "Paid at once", "Price rule prompt, picked on the quote"),
        ("none", Buyer(True, 3), None, ""),
        (Discount("Own", Decimal(1)), Buyer(True, 3), "Own", ""),
    ],
)
def test_one_discount_is_given(asked: Discount | str | None, buyer: Buyer, label: str | None, why: str) -> None:
    found = choose_discount(asked, RULES, buyer)
    assert (found and found.label, found.why if found else "") == (label, why)


def test_a_discount_the_rules_do_not_have_is_refused_with_those_they_have() -> None:
    with pytest.raises(InvalidDocument, match="neighbours, prompt, regular, none"):
        choose_discount("gold", RULES, Buyer())
