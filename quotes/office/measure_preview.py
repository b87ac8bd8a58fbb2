"""Preview of a measure while it is edited: drawing, price, quantities, notices, errors, and the fence in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from fencing.documents.explain import write_summary
from fencing.drawing.elevation import draw_elevation
from fencing.drawing.plan_view import draw_plan
from fencing.model.faults import Fault, InvalidDocument, Notice, Severity
from fencing.model.measure import FORMS, LAYOUTS, Layout
from fencing.quantities.choose_layout import build_options, choose_option
from fencing.quantities.take_off import TakeOff, find_grounds
from fencing.set_out.corners import find_corners
from fencing.set_out.run import NO_ENDS
from quotes.documents.number_format import by_locale, worded
from quotes.jobs.takeoff_cache import SystemWithPrices, read_for, take_off_measure
from quotes.office.measure_fields import MANY_RUNS
from quotes.quoting.build_pricing import PricingInputs, basis_today, total_of
from shared.common.figures import current_decimal_sign
from shared.common.money import shown
from shared.models import Business

LETTERING = 3.3
PLAN_DEEP = (80.0, 160.0, 400.0, 1_200.0)
WIDE, NARROW = 300.0, 110.0
DRAWN = 8
"""Runs in the elevation of a job with more than ``MANY_RUNS``: those around the one that is typed in."""


@dataclass(frozen=True, slots=True)
class MeasurePreview:
    """Preview of a measure. ``total`` is None if there is no price; ``unpriced`` gives the reasons."""

    taken: TakeOff | None = None
    faults: tuple[Fault, ...] = ()
    plan: str = ""
    elevation: str = ""
    total: str | None = None
    unpriced: tuple[str, ...] = ()
    posts: int = 0
    sheets: int = 0
    notices: Mapping[str, list[Notice]] = field(default_factory=dict)
    drawn: tuple[str, ...] = ()
    """Runs in the elevation, where that is not all of them."""

    @property
    def stops(self) -> int:
        """Return the number of notices that prevent sending a quote."""
        return sum(row.severity is Severity.STOP for rows in self.notices.values() for row in rows)


@dataclass(frozen=True, slots=True)
class BuildOptionRow:
    """One way to build a run, for choosing: its price is of the run's own material and work, before tax."""

    form: str
    layout: str
    bays: int
    must_fix_count: int
    cost: str
    best: bool
    taken: bool
    leads: bool


def draw(
    business: Business,
    document: Mapping[str, Any],
    *,
    live: str | None = None,
    priced: bool = True,
    returning: bool = False,
    narrow: bool = False,
) -> MeasurePreview:
    """Everything the document makes, or everything that is wrong with it.

    ``returning``: whether the customer accepted another job before, which may bring a discount.
    """
    try:
        result = take_off_measure(business, document)
    except InvalidDocument as refused:
        return MeasurePreview(faults=refused.faults)
    measure, found, taken = result.measure, result.found, result.takeoff
    total, unpriced = (
        _total(basis_today(business, measure, returning=returning), taken, found) if priced else (None, ())
    )
    width = NARROW if narrow else WIDE
    near = around(taken, live)
    with by_locale(business.locale):
        over, along = plan_of(taken, width, live), elevation_of(near, width, live)
    return MeasurePreview(
        taken=taken,
        plan=over,
        elevation=along,
        total=total,
        unpriced=unpriced,
        posts=len({post.id for run in taken.runs for post in run.posts}),
        sheets=sum(piece.count for piece in taken.pieces if piece.role == "sheet"),
        notices=by_run(taken),
        drawn=() if near is taken else tuple(run.id for run in near.runs),
    )


def around(taken: TakeOff, live: str | None) -> TakeOff:
    """Return the job with only the runs near the selected one, if there are too many for one drawing."""
    if len(taken.runs) <= MANY_RUNS:
        return taken
    here = next((place for place, run in enumerate(taken.runs) if run.id == live), 0)
    first = min(max(0, here - 2), len(taken.runs) - DRAWN)
    return replace(taken, runs=taken.runs[first : first + DRAWN], retrofits=taken.retrofits[:DRAWN])


def plan_of(taken: TakeOff, width: float, live: str | None = None) -> str:
    """Return the plan, on a page as high as it needs; empty if no page is high enough."""
    for deep in PLAN_DEEP:
        try:
            return draw_plan(taken, width, deep, size=LETTERING, live=live, decimal_sign=current_decimal_sign())
        except ValueError:  # too many chains of runs for this sheet
            continue
    return ""


def elevation_of(taken: TakeOff, width: float, live: str | None = None) -> str:
    """Return the elevation at the width of the page, or wider for scrolling if a bay does not fit."""
    for wide in (width, WIDE):
        try:
            return draw_elevation(taken, wide, size=LETTERING, live=live, decimal_sign=current_decimal_sign())
        except ValueError:  # one bay alone is wider
            continue
    return ""


def by_run(taken: TakeOff) -> dict[str, list[Notice]]:
    """Notices under the run or retrofit they stand in."""
    owners: dict[str, str] = {}
    for run in taken.runs:
        owners |= dict.fromkeys((run.id, *(item.id for row in (run.bays, run.gates) for item in row)), run.id)
        owners |= {post.id: run.id for post in run.posts if post.id not in owners}
    for built in taken.retrofits:
        owners |= dict.fromkeys((built.id, *(bay.id for bay in built.bays)), built.id)
    found: dict[str, list[Notice]] = {}
    for notice in taken.notices:
        found.setdefault(owners.get(notice.element, notice.element), []).append(notice)
    return found


def _total(basis: PricingInputs, taken: TakeOff, found: SystemWithPrices) -> tuple[str | None, tuple[str, ...]]:
    try:
        total = total_of(taken, found, basis).total
    except InvalidDocument as refused:
        return None, tuple(fault.text for fault in refused.faults)
    return shown(total, basis.business.currency, basis.business.locale), ()


def ways_of(business: Business, document: Mapping[str, Any], place: int) -> list[BuildOptionRow]:
    """Every form and layout of one run, the dearest last; the run is costed on its own."""
    measure, found = read_for(business, document)
    run = measure.runs[place]
    ground = find_grounds(measure.runs, find_corners(measure.runs))[place]
    tried = build_options(
        run, ground, found.system, found.prices, NO_ENDS, f"/runs/{place}", forms=FORMS, layouts=LAYOUTS
    )
    best = choose_option(tried)
    chosen = (run.form.value, run.layout.value)
    ranked = sorted(tried, key=lambda item: (item.must_fix_count, item.cost is None, item.cost or Decimal(0)))
    leaders = [
        next(item for item in ranked if item.draft.form is form)
        for form in dict.fromkeys(item.draft.form for item in ranked)
    ]
    return [
        BuildOptionRow(
            form=item.draft.form.value,
            layout=item.draft.layout.value,
            bays=len(item.draft.bays),
            must_fix_count=item.must_fix_count,
            cost="" if item.cost is None else shown(item.cost, business.currency, business.locale),
            best=item is best,
            taken=(item.draft.form.value, item.draft.layout.value) == chosen,
            leads=any(item is leader for leader in leaders),
        )
        for item in ranked
    ]


def in_words(taken: TakeOff) -> str:
    """Describe a take-off, with the labels of the page and figures by its locale."""
    return without_codes(worded(write_summary(taken)))


def without_codes(text: str) -> str:
    """Layouts as the sheet calls them; a code of one word is a word.

    >>> without_codes("Run A: 18240 mm, stepped, from_start, 10 posts"), without_codes("level, even")
    ('Run A: 18240 mm, stepped, full bays from the start, 10 posts', 'level, even')
    """
    for layout in Layout:
        text = text.replace(layout.value, layout.label) if "_" in layout.value else text
    return text
