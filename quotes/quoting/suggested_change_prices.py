"""What would help a screened fence at the business's prices: each change priced, heavier posts found in its other systems."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from decimal import Decimal

from catalogue import queries
from fencing.model.faults import InvalidDocument, Level
from fencing.model.measure import Measure
from fencing.model.system import System
from fencing.quantities.take_off import TakeOff, take_off
from fencing.quantities.takeoff_document import affordable_remedies
from fencing.reading import check_system_fit
from fencing.strength.changed_job import SuggestedChange
from fencing.strength.screening import Screening, ScreeningOutcome, screen
from fencing.strength.suggested_changes import priced
from quotes.jobs.system_lookup import SystemWithPrices, find_system
from quotes.jobs.takeoff_cache import looks_at_prices

MAX_PRICED = 60
"""Posts of a job whose remedies are priced: each remedy is the whole job taken off, cut and priced once more."""
MAX_SYSTEMS = 6
"""Other fence systems of the business that are tried for heavier posts, by code."""

Net = Callable[[TakeOff, SystemWithPrices], Decimal]
"""The job's price before tax for a take-off made with what is on offer."""


def priced_remedies(takeoff: TakeOff, found: SystemWithPrices, net: Net) -> tuple[SuggestedChange, ...]:
    """What would bring the posts that are over within the screening's limits, each with what it adds before tax.

    Without prices where the job has too many posts for that, or the catalogue no price for it.
    """
    if takeoff.measure.strength is None:
        return ()
    screening = screen(takeoff)
    if sum(len(run.posts) for run in takeoff.runs) > MAX_PRICED:
        return affordable_remedies(screening)

    def price(measure: Measure, system: System) -> Decimal:
        return net(take_off(measure, system, found.prices if looks_at_prices(measure) else None), found)

    try:
        remedies = priced(screening, price)
        heavier = _heavier(screening, found, net) if any(remedy.kind == "section" for remedy in remedies) else None
    except InvalidDocument:
        return affordable_remedies(screening)
    return tuple(_with(remedy, heavier) if remedy.kind == "section" else remedy for remedy in remedies)


def _with(remedy: SuggestedChange, heavier: tuple[Decimal, str, bool] | None) -> SuggestedChange:
    if heavier is None:
        return remedy
    cost, label, mends = heavier
    return replace(remedy, text=f"{remedy.text}, as in {label}", cost=cost, mends=mends)


def _heavier(screening: Screening, found: SystemWithPrices, net: Net) -> tuple[Decimal, str, bool] | None:
    """The cheapest other system whose posts take the moment: what it adds, its label, and whether nothing is over in it."""
    now, tried = net(screening.takeoff, found), list[tuple[Decimal, str, bool]]()
    for taken, other, after in _elsewhere(screening, found):
        if all(post.utilisation is not None and post.utilisation <= 1 for post in after.posts):
            mends = not any(post.outcome is ScreeningOutcome.OVER for post in after.posts)
            with suppress(InvalidDocument):  # nothing on offer for it today
                tried.append((net(taken, other) - now, other.system.label, mends))
    return min(tried, key=lambda item: (not item[2], item[0]), default=None)


def _elsewhere(screening: Screening, found: SystemWithPrices) -> Iterator[tuple[TakeOff, SystemWithPrices, Screening]]:
    """The same measure in every other system it can be built and priced in."""
    rows = queries.systems(found.business).filter(active=True).exclude(code=found.code).order_by("code")
    for code in rows.values_list("code", flat=True)[:MAX_SYSTEMS]:
        try:
            other = find_system(found.business, code)
            measure = replace(screening.takeoff.measure, system=code)
            check_system_fit(measure, other.system)
            taken = take_off(measure, other.system, other.prices if looks_at_prices(measure) else None)
        except InvalidDocument:
            continue
        if other.system.steel is not None and not any(notice.level is Level.STOP for notice in taken.notices):
            yield taken, other, screen(taken, screening.request)
