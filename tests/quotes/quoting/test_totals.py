"""Totals of the whole and of its parties, and cost, margin and price beside each other."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from fencing.model.faults import InvalidDocument
from quotes.quoting.content import AcceptedRevision, Content, Difference, Line, SetOutChange
from quotes.quoting.price_summary import PriceSummaryLine, made_of
from quotes.quoting.totals import Choices, Sums, read_choices, sums
from quotes.quoting.variation_changes import compare
from shared.common.money import Rounding
from tests.quotes.quoting.contents import some_build, some_content, some_costing, some_line, some_option, some_payment

ZERO = Decimal(0)
KEYS = ("owner", "left", "right")


def line(net: str, shares: Mapping[str, str] | None = None, rate: str = "10", key: str = "A") -> Line:
    """Return a line of a content."""
    paid = {party: Fraction(share) for party, share in (shares or {"owner": "1"}).items()}
    category = "S" if Decimal(rate) else "Z"
    return some_line(net, key, tax_category=category, tax_rate=Decimal(rate), shares=paid)


def test_a_half_each_of_an_odd_cent_adds_up() -> None:
    halves = {"owner": "1/2", "left": "1/2"}
    found = sums(some_content(line("100.01", halves)))
    # 50.005 each: one of them takes the cent; tax 10.001 -> 10.00, 5.00 each
    assert {key: item.net for key, item in found.parties.items()} == {
        "owner": Decimal("50.01"), "left": Decimal("50.00"), "right": ZERO,
    }  # fmt: skip
    assert [found.parties[key].tax for key in KEYS] == [Decimal("5.00"), Decimal("5.00"), ZERO]
    assert found.total == Decimal("110.01")


def test_tax_on_the_total_is_not_the_sum_of_the_lines_taxes() -> None:
    # EN 16931 calculates tax once for each rate: 3 x 0.33 at 20 % is 0.198, so 0.20; by the line it would be 0.07 three times
    lines = [line("0.33", rate="20", key=key) for key in "ABC"]
    assert sums(some_content(*lines)).tax == Decimal("0.20")
    assert sums(some_content(*lines, at="line")).tax == Decimal("0.21")


def test_each_partys_tax_is_that_of_its_own_net() -> None:
    found = sums(some_content(line("928.05", {"owner": "1/2", "left": "1/2"}, rate="16")))
    owner, left = found.parties["owner"], found.parties["left"]
    # half of 928.05 is 464.025; 16 % of 464.03 is 74.2448, of 464.02 it is 74.2432
    assert (owner.net, owner.tax) == (Decimal("464.03"), Decimal("74.24"))
    assert (left.net, left.tax) == (Decimal("464.02"), Decimal("74.24"))
    # one document for both would have 148.488, so 148.49
    assert found.tax == Decimal("148.48")
    assert [(row.taxable, row.tax) for row in found.breakdown] == [(Decimal("928.05"), Decimal("148.48"))]


def test_payments_are_percentages_of_each_partys_total_and_add_up() -> None:
    thirds = tuple(map(some_payment, ("33.3", "33.3", "33.4")))
    found = sums(some_content(line("100.00", {"owner": "1/2", "left": "1/2"}), payments=thirds))
    # 55.00 each: 18.315, 18.315 and 18.37
    assert sum(found.parties["owner"].payments) == Decimal("55.00")
    assert sum(found.payments) == found.total


def test_an_option_counts_when_it_is_chosen_and_a_build_instead_of_another() -> None:
    builds = (some_build(line("100.00")), some_build(line("80.00"), key="low"))
    document = some_content(builds=builds, options=(some_option("mow", line("20.00", key="mow")),))
    assert sums(document, Choices("base", frozenset({"mow"}))).total == Decimal("132.00")
    assert sums(document, Choices("low")).total == Decimal("88.00")


def test_a_choice_that_is_not_offered_is_refused_with_its_place() -> None:
    with pytest.raises(InvalidDocument) as refused:
        read_choices(some_content(line("1.00")), {"build": "gold", "options": ["moat"]})
    assert [fault.pointer for fault in refused.value.faults] == ["/choices/build", "/choices/options/0"]


def test_a_variation_that_gives_back_is_shared_like_one_that_adds() -> None:
    halves = {"owner": "1/2", "left": "1/2"}
    changes = compare([line("100.01", halves)], [line("30.00", key="B")])
    difference = Difference(AcceptedRevision(1, ""), changes, (), SetOutChange(False, ()))
    document = some_content(difference=difference)
    found = sums(document)
    assert found.net == Decimal("-70.01")
    assert found.tax == Decimal("-7.00")  # 7.001
    assert sum(party.total for party in found.parties.values()) == Decimal("-77.01")


weights = st.lists(st.integers(0, 40), min_size=3, max_size=3).filter(any)


@st.composite
def _lines(draw: st.DrawFn) -> Line:
    parts = draw(weights)
    whole = sum(parts)
    shares = {key: str(Fraction(part, whole)) for key, part in zip(KEYS, parts, strict=True) if part}
    net = Decimal(draw(st.integers(-500_000, 2_000_000))).scaleb(-2)
    return line(format(net, "f"), shares, draw(st.sampled_from(["0", "5.5", "10", "20"])))


def by_hand(amount: Fraction, rounding: str) -> Fraction:
    """Whole cents, worked out a second time: by comparing fractions, with no code of the product."""
    cents = abs(amount) * 100
    whole, rest = cents.numerator // cents.denominator, cents - cents.numerator // cents.denominator
    up = rest > Fraction(1, 2) or (rest == Fraction(1, 2) and rounding == "half_up")
    size = Fraction(whole + (1 if up and rounding != "down" else 0), 100)
    return -size if amount < 0 else size


def check_taxes(found: Sums, document: Content) -> None:
    """Check that each party's tax follows from what its own paper prints, and the job's from its parties."""
    by_line, rounding = document.tax.at == "line", document.tax.rounding
    for party in found.parties.values():
        printed: dict[str, list[Fraction]] = {}
        for part in party.lines:
            printed.setdefault(str(part.line.tax_rate), []).append(Fraction(part.net))
        expected = {
            rate: sum((by_hand(net * Fraction(rate) / 100, rounding) for net in nets), Fraction(0))
            if by_line
            else by_hand(sum(nets) * Fraction(rate) / 100, rounding)
            for rate, nets in printed.items()
        }
        assert {str(row.rate): Fraction(row.tax) for row in party.breakdown} == expected
        assert {str(row.rate): Fraction(row.taxable) for row in party.breakdown} == {
            rate: sum(nets) for rate, nets in printed.items()
        }
    for row in found.breakdown:
        own = [item for party in found.parties.values() for item in party.breakdown if item.rate == row.rate]
        assert row.tax == sum((item.tax for item in own), ZERO)
        assert row.taxable == sum((item.taxable for item in own), ZERO)
    assert found.tax == sum((row.tax for row in found.breakdown), ZERO)


@given(
    st.lists(_lines(), min_size=1, max_size=12),
    st.sampled_from(["total", "line"]),
    st.sampled_from(list(Rounding)),
)
def test_taxes_agree_with_a_second_calculation(lines: list[Line], at: str, rounding: Rounding) -> None:
    document = some_content(*lines, at=at, rounding=rounding)
    check_taxes(sums(document), document)


@given(st.lists(_lines(), min_size=1, max_size=6), st.permutations(KEYS), st.sampled_from(["first", "last", "fairest"]))
def test_sums_do_not_depend_on_the_order_a_document_lists_shares_in(
    lines: list[Line], order: list[str], odd: str
) -> None:
    otherwise = [replace(line, shares={key: line.shares[key] for key in order if key in line.shares}) for line in lines]
    assert sums(some_content(*lines, odd=odd)).parties == sums(some_content(*otherwise, odd=odd)).parties


@given(
    st.lists(_lines(), min_size=1, max_size=12),
    st.sampled_from(["total", "line"]),
    st.sampled_from(["fairest", "first", "last", "largest"]),
)
def test_the_parties_always_add_up_to_the_whole(lines: list[Line], at: str, odd: str) -> None:
    document = some_content(*lines, at=at, odd=odd, payments=(some_payment("30"), some_payment("70")))
    found = sums(document)
    parties = found.parties.values()
    for name in ("net", "tax", "total"):
        assert sum((getattr(party, name) for party in parties), ZERO) == getattr(found, name)
    for place, _ in enumerate(document.payments):
        assert sum((party.payments[place] for party in parties), ZERO) == found.payments[place]
    for party in parties:
        assert sum((part.net for part in party.lines), ZERO) == party.net
        assert party.net + sum((row.tax for row in party.breakdown), ZERO) == party.total == sum(party.payments, ZERO)
    assert found.net == sum((line.net for line in lines), ZERO)


@pytest.mark.parametrize(
    ("cost", "net", "margin"),
    [("60", "80", "25.0"), ("80", "60", "-33.3"), ("60", "0", ""), ("0", "0.04", ""), ("0", "-0.04", "")],
)
def test_a_margin_stands_only_where_there_is_both_a_cost_and_a_price(cost: str, net: str, margin: str) -> None:
    assert PriceSummaryLine("", "", None, "", Decimal(cost), Decimal(net)).margin == margin


@pytest.mark.parametrize(
    ("net", "made"),
    [
        ("42.50", (("Rails", Decimal("30.00")), ("Caps", Decimal("12.50")))),
        # a line with an accepted price is not made of today's costs
        ("43.00", ()),
    ],
)
def test_a_line_tells_its_costs_where_they_are_all_of_it(net: str, made: tuple[tuple[str, Decimal], ...]) -> None:
    costing = [
        some_costing("Rails", A="30.00", B="9.00"),
        some_costing("Caps", A="12.50"),
        some_costing("Travel", travel="64.00"),
    ]
    assert made_of(some_line(net), costing) == made
    assert made_of(some_line("64.00", "travel"), costing) == ()  # one cost tells its own working
