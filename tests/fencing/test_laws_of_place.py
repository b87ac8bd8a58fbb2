"""Laws of the positions of every fence, whatever its sizes, and of the build that `auto` chooses (docs/rules.md)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fencing.model.example_system import ROUND_SIZES
from fencing.model.faults import InvalidDocument, Severity
from fencing.model.fence import Bay, BuiltRun, Post
from fencing.model.measure import Form, Layout, Measure, MeasureBasis, Run, Station, Taper, Terminal
from fencing.model.system import System
from fencing.quantities.comparison_prices import EstimateWork, LabourRates, PriceList, StockPrice, estimate_cost
from fencing.quantities.take_off import TakeOff, take_off
from tests.fencing.laws import ONE_RUN, built, laws, reversed_run, with_run
from tests.fencing.strategies import PLAIN_FORMS, PLAIN_LAYOUTS, Job, JobLimits, jobs

# -- lengths


@laws
@given(jobs())
def test_bays_and_openings_add_up_to_the_run(job: Job) -> None:
    for run in built(job).runs:
        places = {post.id: post.at for post in run.posts}
        spans = [(bay.start, bay.end) for bay in run.bays]
        openings = [(places[gate.posts[0]], places[gate.posts[1]]) for gate in run.gates]
        at = [post.at for post in run.posts]
        assert sorted(spans + openings) == list(pairwise(at))
        assert at[0] + sum(right - left for left, right in spans + openings) + (run.length - at[-1]) == run.length


@laws
@given(jobs())
def test_an_opening_is_exact_between_the_faces_of_its_posts(job: Job) -> None:
    for run in built(job).runs:
        places = {post.id: post.at for post in run.posts}
        for gate in run.gates:
            left, right = (places[post] for post in gate.posts)
            assert right - left - job.system.square.face == gate.opening


@laws
@given(jobs())
def test_an_overall_length_is_exact_between_the_outer_faces(job: Job) -> None:
    for measured, run in zip(job.measure.runs, built(job).runs, strict=True):
        faces = [
            job.system.square.face if post.kind == "square" else job.system.channel.face
            for post in (run.posts[0], run.posts[-1])
        ]
        outside = run.length - (run.posts[-1].at - run.posts[0].at)
        if measured.basis is MeasureBasis.CENTRES:
            assert outside == 0
        elif faces[0] == faces[1]:
            assert outside == faces[0]
        else:
            assert abs(2 * outside - sum(faces)) <= 2


@laws
@given(jobs(replace(ONE_RUN, layouts=(Layout.FROM_START, Layout.FROM_END))))
def test_a_reversed_run_has_its_posts_at_the_mirrored_places(job: Job) -> None:
    (run,) = job.measure.runs
    there, back = (built(item).runs[0] for item in (job, with_run(job, reversed_run(run))))
    assert [run.length - post.at for post in reversed(back.posts)] == [post.at for post in there.posts]


@laws
@given(jobs())
def test_sheets_fill_a_bay_from_rail_end_to_rail_end_and_lap_at_least_the_lap(job: Job) -> None:
    for run in built(job).runs:
        square = {post.at for post in run.posts if post.kind == "square"}
        for bay in run.bays:
            left, right = (
                job.system.square.setback if at in square else job.system.channel.setback for at in (bay.start, bay.end)
            )
            edges = [(sheet.at, sheet.at + sheet.width) for sheet in bay.sheets]
            assert edges[0][0] == left
            assert edges[-1][1] == bay.width - right
            for (_, end), (start, _) in pairwise(edges):
                assert end - start >= job.system.sheets.lap
            assert all(sheet.width <= job.system.sheets.width for sheet in bay.sheets)
            assert all(max(sheet.left, sheet.right) <= sheet.blank for sheet in bay.sheets)


@laws
@given(jobs())
def test_a_rail_is_never_shorter_than_its_bay_is_wide_between_pockets(job: Job) -> None:
    for run in built(job).runs:
        for bay in run.bays:
            plan = bay.sheets[-1].at + bay.sheets[-1].width - bay.sheets[0].at
            for rail in bay.rails:
                corners = bay.base if rail.position == "bottom" else bay.top
                rise = Fraction(corners[1] - corners[0], bay.width)
                exact_square = plan * plan * (1 + rise * rise)
                assert (rail.length - Fraction(1, 2)) ** 2 <= exact_square <= (rail.length + Fraction(1, 2)) ** 2


# -- the ground


def ground_at(levels: tuple[Station, ...], x: int) -> Fraction:
    if x <= levels[0].at:
        return Fraction(levels[0].level)
    for item, two in pairwise(levels):
        if x <= two.at:
            return item.level + Fraction((two.level - item.level) * (x - item.at), two.at - item.at)
    return Fraction(levels[-1].level)


@laws
@given(jobs())
def test_the_base_keeps_the_least_gap_above_the_ground_everywhere(job: Job) -> None:
    for run, measured in zip(built(job).runs, job.measure.runs, strict=True):
        if not measured.levels:
            continue
        for bay in run.bays:
            for x in {bay.start, bay.end, *(level.at for level in measured.levels if bay.start < level.at < bay.end)}:
                base = bay.base[0] + Fraction((bay.base[1] - bay.base[0]) * (x - bay.start), bay.width)
                assert base - ground_at(measured.levels, x) >= job.system.ground_gap - Fraction(1, 2)
            assert bay.gap_min <= bay.gap_max


@laws
@given(jobs(JobLimits(retrofits=False)), st.integers(-50_000, 50_000))
def test_raising_the_datum_changes_levels_and_nothing_else(job: Job, rise: int) -> None:
    levelled = tuple(run if run.levels else replace(run, levels=(Station(0, 7),)) for run in job.measure.runs)
    raised = tuple(
        replace(run, levels=tuple(Station(level.at, level.level + rise) for level in run.levels)) for run in levelled
    )
    low = built(replace(job, measure=replace(job.measure, runs=levelled)))
    high = built(replace(job, measure=replace(job.measure, runs=raised)))
    assert high.pieces == low.pieces
    assert high.quantities == low.quantities
    assert high.concrete == low.concrete
    assert {(notice.code, notice.element) for notice in high.notices} == {
        (notice.code, notice.element) for notice in low.notices
    }
    assert [lowered(run, rise) for run in high.runs] == [lowered(run, 0) for run in low.runs]


def lowered(run: BuiltRun, by: int) -> BuiltRun:
    return replace(
        run,
        posts=tuple(lowered_post(post, by) for post in run.posts),
        bays=tuple(lowered_bay(bay, by) for bay in run.bays),
        gates=tuple(replace(gate, base=gate.base - by, top=gate.top - by) for gate in run.gates),
    )


def lowered_post(post: Post, by: int) -> Post:
    uprights = tuple(replace(member, top=member.top - by) for member in post.uprights)
    return replace(post, ground=post.ground - by, uprights=uprights)


def lowered_bay(bay: Bay, by: int) -> Bay:
    def less(pair: tuple[int, int]) -> tuple[int, int]:
        return pair[0] - by, pair[1] - by

    return replace(bay, base=less(bay.base), top=less(bay.top), ground=less(bay.ground))


@laws
@given(jobs(JobLimits(forms=(Form.LEVEL,))))
def test_a_level_segment_has_one_base(job: Job) -> None:
    for run in built(job).runs:
        for left, right in pairwise(run.bays):
            assert left.base[0] == left.base[1]
            if left.end == right.start:
                assert left.base == right.base


@laws
@given(jobs(JobLimits(forms=(Form.RAKED,), tapers=False)))
def test_neighbouring_raked_bays_meet_or_are_stated_apart_by_their_step(job: Job) -> None:
    for run in built(job).runs:
        for left, right in pairwise(run.bays):
            if left.end == right.start:
                assert right.step == abs(right.base[0] - left.base[1])


# -- posts


@laws
@given(jobs())
def test_no_post_stands_shallower_than_the_least_embedment_without_a_notice(job: Job) -> None:
    taken = built(job)
    warned = {notice.element for notice in taken.notices if notice.code == "post.short"}
    sections = {"channel": job.system.channel, "square": job.system.square}
    for run in taken.runs:
        for post in run.posts:
            for member in post.uprights:
                least = sections[member.section].embedment_min
                assert member.length == member.top - post.ground + member.embedment
                assert post.id in warned or (member.embedment >= least and member.stock is not None)
                assert member.stock is None or member.stock >= member.length
                assert member.embedment <= post.hole_depth


@laws
@given(jobs())
def test_ids_are_given_once_but_for_a_shared_corner(job: Job) -> None:
    taken = built(job)
    standing = {post.id: post for run in taken.runs for post in run.posts}
    again = Counter(post.id for run in taken.runs for post in run.posts)
    for name, times in again.items():
        assert times == 1 or (times == 2 and standing[name].kind == "square")
    assert taken.concrete.holes == len(standing)
    bays = [bay.id for run in taken.runs for bay in run.bays] + [
        bay.id for item in taken.retrofits for bay in item.bays
    ]
    assert len(bays) == len(set(bays))
    channels = [member.bay for post in standing.values() for member in post.uprights if member.section == "channel"]
    assert Counter(channels) == {bay.id: 2 for run in taken.runs for bay in run.bays}


@laws
@given(jobs(replace(ONE_RUN, most_gates=1)))
def test_a_tapered_run_ends_at_its_end_height_and_never_rises_towards_it(job: Job) -> None:
    (run,) = job.measure.runs
    assume(run.taper is not None)
    assert run.taper is not None
    bays = built(job).runs[0].bays
    if run.taper.at == "end":
        tapered = list(bays[-run.taper.bays :])
        heights = [h for bay in tapered for h in (bay.top[0] - bay.base[0], bay.top[1] - bay.base[1])]
    else:
        tapered = list(bays[: run.taper.bays])
        heights = [h for bay in reversed(tapered) for h in (bay.top[1] - bay.base[1], bay.top[0] - bay.base[0])]
    assert heights[0] == run.height
    assert heights[-1] == run.taper.height
    assert heights == sorted(heights, reverse=True)
    others = [bay for bay in bays if bay not in tapered]
    assert all(bay.top[0] - bay.base[0] == bay.top[1] - bay.base[1] == run.height for bay in others)


ALONE = replace(ONE_RUN, tapers=False)


def stops(taken: TakeOff) -> int:
    return sum(notice.severity is Severity.STOP for notice in taken.notices)


def taken_off(job: Job, prices: PriceList | None = None) -> TakeOff:
    return take_off(job.measure, job.system, prices)


def uncut(taken: TakeOff, system: System) -> int:
    return sum(rail.length in system.rails.stock for bay in taken.runs[0].bays for rail in bay.rails)


@laws
@given(jobs(ONE_RUN))
def test_no_form_has_fewer_stops_than_the_one_proposed(job: Job) -> None:
    (run,) = job.measure.runs
    proposed = taken_off(with_run(job, replace(run, form=Form.AUTO)))
    by_form = {form: stops(taken_off(with_run(job, replace(run, form=form)))) for form in PLAIN_FORMS}
    first_of_the_best = min(by_form, key=lambda form: by_form[form])
    assert proposed.runs[0].form is first_of_the_best
    assert stops(proposed) == by_form[first_of_the_best]


@laws
@given(jobs(ALONE))
def test_without_prices_the_layout_has_fewest_stops_then_fewest_bays_then_fewest_cut_rails(job: Job) -> None:
    (run,) = job.measure.runs

    def rank(layout: Layout) -> tuple[int, int, int]:
        taken = taken_off(with_run(job, replace(run, layout=layout)))
        rails = sum(len(bay.rails) for bay in taken.runs[0].bays)
        return stops(taken), len(taken.runs[0].bays), rails - uncut(taken, job.system)

    best = min(PLAIN_LAYOUTS, key=rank)  # the first of the contract's list between equals
    assert taken_off(with_run(job, replace(run, layout=Layout.AUTO))).runs[0].layout is best


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
    proposed = taken_off(with_run(job, replace(run, form=Form.AUTO, layout=Layout.AUTO)), prices).runs[0]
    costs: dict[tuple[Form, Layout], tuple[int, Decimal]] = {}
    for form in PLAIN_FORMS:
        for layout in PLAIN_LAYOUTS:
            taken = taken_off(with_run(job, replace(run, form=form, layout=layout)))
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
