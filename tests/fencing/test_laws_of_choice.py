"""Laws of `auto`: never more must-fix notices than needed, then the cheapest, or without prices the simplest (docs/rules.md)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fencing.model.example_system import ROUND_SIZES
from fencing.model.faults import InvalidDocument, Severity
from fencing.model.measure import Form, Layout, Measure, MeasureBasis, Run, Taper, Terminal
from fencing.model.system import System
from fencing.quantities.comparison_prices import EstimateWork, LabourRates, PriceList, StockPrice, estimate_cost
from fencing.quantities.take_off import TakeOff, take_off
from tests.fencing.laws import ONE_RUN, laws, with_run
from tests.fencing.strategies import PLAIN_FORMS, PLAIN_LAYOUTS, Job, jobs

ALONE = replace(ONE_RUN, tapers=False)


def stops(taken: TakeOff) -> int:
    return sum(notice.severity is Severity.STOP for notice in taken.notices)


def built(job: Job, prices: PriceList | None = None) -> TakeOff:
    return take_off(job.measure, job.system, prices)


def uncut(taken: TakeOff, system: System) -> int:
    return sum(rail.length in system.rails.stock for bay in taken.runs[0].bays for rail in bay.rails)


@laws
@given(jobs(ONE_RUN))
def test_no_form_has_fewer_stops_than_the_one_proposed(job: Job) -> None:
    (run,) = job.measure.runs
    proposed = built(with_run(job, replace(run, form=Form.AUTO)))
    by_form = {form: stops(built(with_run(job, replace(run, form=form)))) for form in PLAIN_FORMS}
    first_of_the_best = min(by_form, key=lambda form: by_form[form])
    assert proposed.runs[0].form is first_of_the_best
    assert stops(proposed) == by_form[first_of_the_best]


@laws
@given(jobs(ALONE))
def test_without_prices_the_layout_has_fewest_stops_then_fewest_bays_then_fewest_cut_rails(job: Job) -> None:
    (run,) = job.measure.runs

    def rank(layout: Layout) -> tuple[int, int, int]:
        taken = built(with_run(job, replace(run, layout=layout)))
        rails = sum(len(bay.rails) for bay in taken.runs[0].bays)
        return stops(taken), len(taken.runs[0].bays), rails - uncut(taken, job.system)

    best = min(PLAIN_LAYOUTS, key=rank)  # the first of the contract's list between equals
    assert built(with_run(job, replace(run, layout=Layout.AUTO))).runs[0].layout is best


def thrown_prices(rates: Mapping[str, int]) -> PriceList:
    """By the metre, so that every piece has a price; things bought by count whatever their finish."""
    cut = ("post.channel", "post.square", "rail", "sheet", "lattice", "gate.stile", "gate.rail")
    things = ("cap.pair", "cap.square", "screw", "lattice_clip", "stile_plug", "hinge", "latch", "drop_bolt")
    return PriceList(
        stock=tuple(StockPrice(role, None, None, Decimal(rates["metre"])) for role in cut),
        eaches={(role, None): Decimal(rates["thing"]) / 10 for role in (*things, "concrete.bag", "concrete.mix")},
        labour=LabourRates(
            hole=Decimal(rates["hole"]),
            bay=Decimal(rates["bay"]),
            raked_bay=Decimal(rates["raked"]),
            cut=Decimal(rates["cut"]),
        ),
    )


PRICES = st.fixed_dictionaries(
    {name: st.integers(0, 60) for name in ("metre", "thing", "hole", "bay", "raked", "cut")}
).map(thrown_prices)


@laws
@given(jobs(ALONE), PRICES)
def test_with_prices_the_cheapest_of_those_with_fewest_stops_is_built(job: Job, prices: PriceList) -> None:
    (run,) = job.measure.runs
    proposed = built(with_run(job, replace(run, form=Form.AUTO, layout=Layout.AUTO)), prices).runs[0]
    costs: dict[tuple[Form, Layout], tuple[int, Decimal]] = {}
    for form in PLAIN_FORMS:
        for layout in PLAIN_LAYOUTS:
            taken = built(with_run(job, replace(run, form=form, layout=layout)))
            costs[form, layout] = (stops(taken), cost_alone(taken, job.system, prices))
    assert {
        (option.form, option.layout): (option.must_fix_count, Decimal(option.cost or "NaN"))
        for option in proposed.options
    } == costs
    assert costs[proposed.form, proposed.layout] == min(costs.values())
    assert [(option.form, option.layout) for option in proposed.options if option.chosen] == [
        (proposed.form, proposed.layout)
    ]


def cost_alone(taken: TakeOff, system: System, prices: PriceList) -> Decimal:
    (run,) = taken.runs
    rails = sum(len(bay.rails) for bay in run.bays)
    raked = sum(bay.base[0] != bay.base[1] for bay in run.bays)
    work = EstimateWork(len(run.posts), len(run.bays), raked, rails - uncut(taken, system))
    cost = estimate_cost(prices, taken.pieces, taken.quantities, work)
    assert cost is not None
    return cost


def tapered_over(bays: int, layout: Layout) -> Measure:
    """4.81 m between corners: from the start 2400, 1205, 1205; laid to whole rails 2435 and 2375."""
    run = Run(
        "A",
        4810,
        1500,
        MeasureBasis.CENTRES,
        start=Terminal.CORNER,
        end=Terminal.CORNER,
        form=Form.LEVEL,
        layout=layout,
        taper=Taper("end", bays, 900),
    )
    return Measure("Taper", "round", (run,))


def test_auto_passes_over_a_layout_with_too_few_bays_for_the_taper() -> None:
    (run,) = take_off(tapered_over(3, Layout.AUTO), ROUND_SIZES).runs
    assert len(run.bays) == 3
    assert Layout.WHOLE_RAILS not in {option.layout for option in run.options}


def test_auto_refuses_a_taper_that_no_layout_has_bays_for() -> None:
    with pytest.raises(InvalidDocument, match="/runs/0/taper/bays"):
        take_off(tapered_over(5, Layout.AUTO), ROUND_SIZES)
