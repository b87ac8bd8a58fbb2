"""Prices of suggested changes for a screened fence, with heavier posts from the business's other systems."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from decimal import Decimal

from catalogue import queries
from fencing.documents.takeoff_document import suggest_changes_if_small
from fencing.model.faults import InvalidDocument, Severity
from fencing.model.measure import Measure
from fencing.model.system import System
from fencing.quantities.take_off import TakeOff, take_off
from fencing.set_out.system_fit import check_system_fit
from fencing.strength.changed_job import SuggestedChange
from fencing.strength.screening import Screening, ScreeningOutcome, screen
from fencing.strength.suggested_changes import price_changes
from quotes.jobs.takeoff_cache import SystemWithPrices, find_system, prices_for

MAX_PRICED = 60
"""Maximum number of posts for which changes are priced: each needs a take-off, a cutting plan and a price of the whole job."""
MAX_SYSTEMS = 6
"""Maximum number of other fence systems that are tried for heavier posts, by code."""

Net = Callable[[TakeOff, SystemWithPrices], Decimal]
"""Returns the price of a take-off before tax with the system's prices."""


def priced_remedies(takeoff: TakeOff, found: SystemWithPrices, net: Net) -> tuple[SuggestedChange, ...]:
    """Return the changes that bring failing posts within the limits of the screening, each with its added price before tax.

    The changes have no prices if the job has too many posts or the catalogue has no price.
    """
    if takeoff.measure.strength is None:
        return ()
    screening = screen(takeoff)
    if sum(len(run.posts) for run in takeoff.runs) > MAX_PRICED:
        return suggest_changes_if_small(screening)

    def price(measure: Measure, system: System) -> Decimal:
        return net(take_off(measure, system, prices_for(measure, found)), found)

    try:
        changes = price_changes(screening, price)
        heavier = _heavier(screening, found, net) if any(change.kind == "section" for change in changes) else None
    except InvalidDocument:
        return suggest_changes_if_small(screening)
    return tuple(_with(change, heavier) if change.kind == "section" else change for change in changes)


def _with(change: SuggestedChange, heavier: tuple[Decimal, str, bool] | None) -> SuggestedChange:
    if heavier is None:
        return change
    cost, label, resolves = heavier
    return replace(change, text=f"{change.text}, as in {label}", cost=cost, resolves=resolves)


def _heavier(screening: Screening, found: SystemWithPrices, net: Net) -> tuple[Decimal, str, bool] | None:
    """Return added price, label and ``resolves`` of the cheapest other system with strong enough posts; None if there is none."""
    now, tried = net(screening.takeoff, found), list[tuple[Decimal, str, bool]]()
    for taken, other, after in _elsewhere(screening, found):
        if all(post.utilisation is not None and post.utilisation <= 1 for post in after.posts):
            resolves = not any(post.outcome is ScreeningOutcome.OVER for post in after.posts)
            with suppress(InvalidDocument):  # no prices for it today
                tried.append((net(taken, other) - now, other.system.label, resolves))
    return min(tried, key=lambda item: (not item[2], item[0]), default=None)


def _elsewhere(screening: Screening, found: SystemWithPrices) -> Iterator[tuple[TakeOff, SystemWithPrices, Screening]]:
    """Yield the same measure in every other system in which it can be built and priced."""
    rows = queries.systems(found.business).filter(active=True).exclude(code=found.code).order_by("code")
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
