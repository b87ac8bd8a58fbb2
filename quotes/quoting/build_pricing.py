"""Pricing of a build: the fence as measured, or an alternative to it, and the suggested changes of a screened fence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

from catalogue.queries import price_rules_on, systems
from catalogue.rules.price_rules import PriceRules
from fencing.documents.takeoff_document import suggest_changes_if_small
from fencing.model.faults import InvalidDocument, Severity
from fencing.model.measure import Measure, Retrofit, Run
from fencing.model.system import System
from fencing.quantities.take_off import TakeOff, take_off
from fencing.set_out.system_fit import check_system_fit
from fencing.strength.changed_job import SuggestedChange
from fencing.strength.screening import Screening, ScreeningOutcome, screen
from fencing.strength.suggested_changes import price_changes
from quotes.jobs.takeoff_cache import SystemWithPrices, find_system, prices_for
from quotes.pricing.costs import CostLine, DeliveryCharge, delivery_lines, hire_lines
from quotes.pricing.labour import disposal_lines, labour_lines
from quotes.pricing.material_costs import material_lines
from quotes.pricing.price_lines import (
    ADJUSTMENTS,
    Buyer,
    Discount,
    PriceLine,
    choose_discount,
    line_by_hand,
    price_lines,
)
from quotes.pricing.shares import Shares, party_keys
from quotes.quoting.content import Line
from quotes.quoting.content_costs import Costing
from quotes.quoting.customer_lines import customer_lines, hand_line, overall_shares
from quotes.quoting.draft_setup import DraftSetup
from quotes.quoting.json_values import JsonObject
from quotes.quoting.purchase_costs import Buying, bought_for
from quotes.quoting.totals import SumRules, Sums, sum_lines
from shared.common.dates import today
from shared.common.money import rounded
from shared.models import Business

CHANGEABLE = ("height_mm", "lattice_mm", "form", "layout")
MAX_PRICED = 60
"""Maximum number of posts for which changes are priced: each needs a take-off, a cutting plan and a price of the whole job."""
MAX_SYSTEMS = 6
"""Maximum number of other fence systems that are tried for heavier posts, by code."""


@dataclass(frozen=True, slots=True)
class PricingInputs:
    """Inputs for pricing every build of a revision."""

    business: Business
    rules: PriceRules
    setup: DraftSetup
    chooser: str
    returning: bool = False
    """True if the customer accepted another job before."""

    def shares(self, measure: Measure) -> Shares:
        """Return the measured shares by run. Others have the default shares of the setup, or go to the party that chooses."""
        otherwise = self.setup.default_shares or {self.chooser: Fraction(1)}
        rows: list[Run | Retrofit] = [*measure.runs, *measure.retrofits]
        return Shares({row.id: dict(row.shares) for row in rows if row.shares}, otherwise)


def basis_of(
    business: Business, setup: DraftSetup, chooser: str, today: date, *, returning: bool = False
) -> PricingInputs:
    """Return the pricing inputs: the price rules of today with the tax of the day of supply."""
    return PricingInputs(business, price_rules_on(business, today, setup.supply_on or today), setup, chooser, returning)


@dataclass(frozen=True, slots=True)
class PricedLines:
    """Customer lines, their calculation, and the shares of lines for the whole job."""

    customer: tuple[Line, ...]
    costing: tuple[Costing, ...]
    job_shares: Mapping[str, Fraction]


def priced_lines(takeoff: TakeOff, buying: Buying, basis: PricingInputs) -> PricedLines:
    """Price a fence: its costs, the price rules and the customer lines. Raise InvalidDocument if a rate is missing."""
    shares = basis.shares(takeoff.measure)
    costs, rules = cost_lines(takeoff, buying, basis), basis.rules
    by_hand = [
        line_by_hand(
            f"extra.{place}",
            row.label,
            rounded(row.net, rules.digits),
            rules.tax_by_code(row.tax_code) if row.tax_code else rules.tax(),
            dict(row.shares) if row.shares else None,
        )
        for place, row in enumerate(basis.setup.extra_items, 1)
    ]
    discount = _discount(basis, takeoff.measure, shares)
    priced = price_lines(costs, rules, shares, discount, by_hand)
    lines, allocated_to = customer_lines(costs, priced, takeoff, rules, shares)
    whole = overall_shares(lines, shares)
    extras = [
        hand_line(item.key, "extra", row, rules, whole)
        for item, row in zip(by_hand, basis.setup.extra_items, strict=True)
    ]
    # lines of rules come last: they count all lines above them
    ruled = [line for line in lines if line.group in ADJUSTMENTS]
    lines = [*(line for line in lines if line.group not in ADJUSTMENTS), *extras, *ruled]
    costing = tuple(
        _costing(line, costs[place] if place < len(costs) else None, allocated_to[place])
        for place, line in enumerate(priced)
    )
    return PricedLines(tuple(lines), costing, whole)


def total_of(takeoff: TakeOff, found: SystemWithPrices, basis: PricingInputs) -> Sums:
    """Return the totals of a fence at today's prices, calculated as in a quote."""
    lines = priced_lines(takeoff, bought_for(takeoff, found.market, basis.rules.digits), basis).customer
    rules = basis.rules
    return sum_lines(
        lines, _keys_of(takeoff.measure), SumRules(rules.tax_rounding, rules.digits, rules.rounding_difference)
    )


def suggested_changes_of(
    takeoff: TakeOff, found: SystemWithPrices, basis: PricingInputs
) -> tuple[SuggestedChange, ...]:
    """Return the changes that bring failing posts within the limits of the screening, each with its added price before tax.

    The changes have no prices if the job has too many posts or the catalogue has no price.
    """
    if takeoff.measure.strength is None:
        return ()
    screening = screen(takeoff)
    if sum(len(run.posts) for run in takeoff.runs) > MAX_PRICED:
        return suggest_changes_if_small(screening)

    def price(measure: Measure, system: System) -> Decimal:
        return _net(take_off(measure, system, prices_for(measure, found)), found, basis)

    try:
        changes = price_changes(screening, price)
        heavier = _heavier(screening, found, basis) if any(change.kind == "section" for change in changes) else None
    except InvalidDocument:
        return suggest_changes_if_small(screening)
    if heavier is None:
        return tuple(changes)
    cost, label, resolves = heavier
    return tuple(
        replace(change, text=f"{change.text}, as in {label}", cost=cost, resolves=resolves)
        if change.kind == "section"
        else change
        for change in changes
    )


def _net(takeoff: TakeOff, found: SystemWithPrices, basis: PricingInputs) -> Decimal:
    lines = priced_lines(takeoff, bought_for(takeoff, found.market, basis.rules.digits), basis)
    return sum((line.net for line in lines.customer), Decimal(0))


def _heavier(screening: Screening, found: SystemWithPrices, basis: PricingInputs) -> tuple[Decimal, str, bool] | None:
    """Return added price, label and ``resolves`` of the cheapest other system with strong enough posts; None if there is none."""
    now, tried = _net(screening.takeoff, found, basis), list[tuple[Decimal, str, bool]]()
    for taken, other, after in _elsewhere(screening, found):
        if all(post.utilisation is not None and post.utilisation <= 1 for post in after.posts):
            resolves = not any(post.outcome is ScreeningOutcome.OVER for post in after.posts)
            with suppress(InvalidDocument):  # no prices for it today
                tried.append((_net(taken, other, basis) - now, other.system.label, resolves))
    return min(tried, key=lambda item: (not item[2], item[0]), default=None)


def _elsewhere(screening: Screening, found: SystemWithPrices) -> Iterator[tuple[TakeOff, SystemWithPrices, Screening]]:
    """Yield the same measure in every other system in which it can be built and priced."""
    rows = systems(found.business).filter(active=True).exclude(code=found.code).order_by("code")
    for code in rows.values_list("code", flat=True)[:MAX_SYSTEMS]:
        try:
            other = find_system(found.business, code)
            measure = replace(screening.takeoff.measure, system=code)
            check_system_fit(measure, other.system)
            taken = take_off(measure, other.system, prices_for(measure, other))
        except InvalidDocument:
            continue
        if other.system.steel is not None and not any(notice.severity is Severity.STOP for notice in taken.notices):
            yield taken, other, screen(taken, screening.request)


def basis_today(business: Business, measure: Measure, *, returning: bool = False) -> PricingInputs:
    """Return the pricing inputs of a measure without a quote."""
    return basis_of(business, DraftSetup(), _keys_of(measure)[0], today(business), returning=returning)


def _keys_of(measure: Measure) -> list[str]:
    rows: list[Run | Retrofit] = [*measure.runs, *measure.retrofits]
    return party_keys(row.shares for row in rows)


def cost_lines(takeoff: TakeOff, buying: Buying, basis: PricingInputs) -> list[CostLine]:
    """Return all costs of the fence: materials with delivery, labour, disposal, hire."""
    setup, rules = basis.setup, basis.rules
    brought = [DeliveryCharge(buying.name(order.supplier), order.goods, order.delivery) for order in buying.orders]
    return [
        *material_lines(buying.bought, takeoff),
        *delivery_lines(brought),
        *labour_lines(takeoff, rules, visits=setup.site_visits),
        *disposal_lines(takeoff, rules),
        *hire_lines(setup.hire or {}, rules),
    ]


def changed_document(document: JsonObject, change: JsonObject) -> JsonObject:
    """Return the measure with the values of an alternative in place of those of its runs and defaults."""
    named = {key: change[key] for key in CHANGEABLE if key in change}
    other = dict(document)
    if "system" in change:
        other["system"] = change["system"]
    other["defaults"] = {**document.get("defaults", {}), **named}
    other["runs"] = [changed_run(run, named) for run in document.get("runs", [])]
    return other


def changed_run(run: JsonObject, named: JsonObject) -> JsonObject:
    """Return a run without the values that ``named`` replaces; a gate with the fence's height follows it."""
    changed = {**{key: value for key, value in run.items() if key not in named}}
    gates = run.get("gates")
    if gates and ("height_mm" in named or "lattice_mm" in named):
        # a gate follows its fence unless it was measured at a height of its own
        own = {key: run[key] for key in ("height_mm", "lattice_mm") if key in run}
        changed["gates"] = [
            {key: value for key, value in gate.items() if not (key in named and own.get(key, value) == value)}
            for gate in gates
        ]
    return changed


def _discount(basis: PricingInputs, measure: Measure, shares: Shares) -> Discount | None:
    rows: list[Run | Retrofit] = [*measure.runs, *measure.retrofits]
    paying = {key for row in rows for key, share in shares.of_run(row.id).items() if share}
    asked, own = None, basis.setup.discount
    if own is not None:
        asked = own.rule or Discount(own.label or "", own.percent or Decimal(0), own.amount or Decimal(0))
    return choose_discount(asked, basis.rules, Buyer(basis.returning, len(paying)))


def _costing(line: PriceLine, cost: CostLine | None, allocated_to: Mapping[str, Decimal]) -> Costing:
    """Return the calculation of a price line, for the business only."""
    return Costing(
        key=line.key,
        kind=line.kind,
        category=line.category,
        role=cost.role if cost else "",
        text=line.label,
        quantity=line.quantity.normalize(),
        unit=line.unit,
        cost=line.cost,
        net=line.net,
        tax_code=line.tax.code,
        account=line.account,
        calculation=line.working,
        reason=line.why,
        allocated_to={key: net for key, net in allocated_to.items() if net},
    )
