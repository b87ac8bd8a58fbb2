"""Laws of the quantities of every fence, whatever its sizes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fencing.cutting import Budget, Demand, StockLength, plan_cuts
from fencing.model.fence import Bay, HungGate, Leaf
from fencing.model.measure import Form, Layout, MeasureBasis, Run, Station, Terminal
from fencing.quantities.take_off import TakeOff
from tests.fencing.laws import ONE_RUN, built, laws, nets, pieces, reversed_run, with_run
from tests.fencing.strategies import Job, JobLimits, jobs

StandingPiece = tuple[str, int, int | None, str]


# -- a run seen from its other end


@laws
@given(jobs(replace(ONE_RUN, layouts=(Layout.FROM_START, Layout.FROM_END))))
def test_reversing_a_run_gives_the_same_quantities(job: Job) -> None:
    (run,) = job.measure.runs
    there, back = built(job), built(with_run(job, reversed_run(run)))
    assert nets(back) == nets(there)
    assert back.concrete == there.concrete
    assert all_but_sheets(back) == all_but_sheets(there)


@laws
@given(jobs(replace(ONE_RUN, layouts=(Layout.FROM_START,), forms=(Form.LEVEL, Form.STEPPED), tapers=False)))
def test_reversing_a_run_of_upright_bays_gives_the_same_sheets(job: Job) -> None:
    (run,) = job.measure.runs
    assert pieces(built(with_run(job, reversed_run(run)))) == pieces(built(job))


def all_but_sheets(taken: TakeOff) -> Counter[tuple[str, str | None, int, int | None]]:
    """On a sloping bay the sheets laid from its other end are cut otherwise; nothing else may differ."""
    return Counter({key: count for key, count in pieces(taken).items() if key[0] != "sheet"})


# -- a run split at a line post


@st.composite
def jobs_levelled_at_posts(draw: st.DrawFn) -> Job:
    """One raked run whose ground was levelled exactly where its posts stand."""
    limits = replace(
        ONE_RUN,
        forms=(Form.RAKED,),
        layouts=(Layout.FROM_START,),
        bases=(MeasureBasis.CENTRES,),
        uneven=False,
        tapers=False,
    )
    job = draw(jobs(limits))
    (run,) = job.measure.runs
    posts = built(job).runs[0].posts
    rises = draw(st.lists(st.integers(-150, 150), min_size=len(posts), max_size=len(posts)))
    levels = tuple(Station(post.at, sum(rises[: number + 1])) for number, post in enumerate(posts))
    return with_run(job, replace(run, levels=levels))


def split(run: Run, at: int) -> tuple[Run, Run]:
    levels = run.levels
    before = replace(
        run,
        length=at,
        end=Terminal.CORNER,
        levels=tuple(level for level in levels if level.at <= at),
        gates=tuple(gate for gate in run.gates if gate.end < at),
    )
    after = replace(
        run,
        id="Z",
        length=run.length - at,
        start=Terminal.CORNER,
        levels=tuple(Station(level.at - at, level.level) for level in levels if level.at >= at),
        gates=tuple(replace(gate, start=gate.start - at) for gate in run.gates if gate.start > at),
    )
    return before, after


@laws
@given(jobs_levelled_at_posts(), st.data())
def test_splitting_at_a_line_post_changes_only_what_the_extra_terminal_needs(job: Job, data: st.DataObject) -> None:
    (run,) = job.measure.runs
    whole = built(job)
    line_posts = [post for post in whole.runs[0].posts if post.kind == "line"]
    assume(line_posts)
    at = data.draw(st.sampled_from(line_posts)).at
    halves = built(replace(job, measure=replace(job.measure, runs=split(run, at))))
    bays = [*halves.runs[0].bays, *halves.runs[1].bays]
    for old, new in zip(whole.runs[0].bays, bays, strict=True):
        assert (old.base, old.top, old.ground) == (new.base, new.top, new.ground)
        if at not in (old.start, old.end):
            assert (old.rails, old.sheets, old.lattice) == (new.rails, new.sheets, new.lattice)
    old_nets, new_nets = nets(whole), nets(halves)
    post, cap, rail = run.finishes.post, run.finishes.cap or run.finishes.post, run.finishes.rail
    assert new_nets["post.square", post] == old_nets.get(("post.square", post), 0) + 1
    assert new_nets["cap.square", cap] == old_nets.get(("cap.square", cap), 0) + 1
    assert new_nets.get(("cap.pair", cap), 0) == old_nets["cap.pair", cap] - 1
    assert new_nets["post.channel", post] == old_nets["post.channel", post]
    assert new_nets["rail", rail] == old_nets["rail", rail]
    assert halves.concrete.holes == whole.concrete.holes


# -- one bay more


@laws
@given(
    jobs(replace(ONE_RUN, layouts=(Layout.FROM_START,), most_gates=0, uneven=False, tapers=False, forms=(Form.LEVEL,))),
    st.integers(1, 4),
)
def test_a_whole_bay_more_adds_exactly_its_own_parts(job: Job, how_many: int) -> None:
    (run,) = job.measure.runs
    system = job.system
    run = replace(run, length=run.length + 3 * system.pitch)  # so that there is a whole bay between line posts already
    one, more = (
        built(with_run(job, run)),
        built(with_run(job, replace(run, length=run.length + how_many * system.pitch))),
    )
    rails = 3 if run.lattice else 2
    fill = system.pitch - 2 * system.channel.setback
    sheets = -(-(fill - system.sheets.lap) // system.sheets.cover)
    stitched = run.height + system.ground_gap - system.screws.pair_from_top - system.screws.pair_above_ground
    screws = (
        rails * 2 * system.screws.per_rail_end
        + -(-stitched // system.screws.pair_spacing_max)
        + 1
        + system.screws.per_cap
        + (system.screws.per_lattice if run.lattice else 0)
    )
    expected = {"post.channel": 2, "rail": rails, "sheet": sheets, "cap.pair": 1, "screw": screws}
    if run.lattice:
        expected["lattice"] = 1
    added = Counter[str]()
    for (role, finish), net in nets(more).items():
        added[role] += int(net - nets(one)[role, finish]) if not role.startswith("concrete") else 0
    assert +added == {role: count * how_many for role, count in expected.items()}
    assert (pieces(more) - pieces(one))["rail", run.finishes.rail, fill, None] == rails * how_many
    assert more.concrete.holes == one.concrete.holes + how_many


# -- counting


@laws
@given(jobs())
def test_the_reasons_add_up_and_nothing_is_ordered_short(job: Job) -> None:
    for quantity in built(job).quantities:
        assert sum((line.net for line in quantity.breakdown), Decimal(0)) == quantity.net
        assert quantity.net + quantity.allowance == quantity.total
        assert quantity.total >= quantity.net > 0
        if not quantity.role.startswith("concrete"):
            assert all(line.count * line.per_element == line.net for line in quantity.breakdown)


@laws
@given(jobs())
def test_the_pieces_are_what_stands_in_bays_posts_and_gates_and_nothing_else(job: Job) -> None:
    taken = built(job)
    listed: Counter[StandingPiece] = Counter()
    for piece in taken.pieces:
        assert piece.count == len(piece.used_at)
        for where in piece.used_at:
            listed[piece.role, piece.length, piece.width, where] += 1
    assert listed == Counter(standing_pieces(taken))


def standing_pieces(taken: TakeOff) -> Iterator[StandingPiece]:
    for post in {post.id: post for run in taken.runs for post in run.posts}.values():
        for member in post.uprights:
            yield f"post.{member.section}", member.length, None, post.id
    for run in taken.runs:
        for bay in run.bays:
            yield from bay_pieces(bay)
        for gate in run.gates:
            yield from gate_pieces(gate)
    for retrofit in taken.retrofits:
        for bay in retrofit.bays:
            yield from bay_pieces(bay)
            yield "post.extension", retrofit.extension, None, bay.id
            yield "post.extension", retrofit.extension, None, bay.id


def bay_pieces(bay: Bay) -> Iterator[StandingPiece]:
    for rail in bay.rails:
        yield "rail", rail.length, None, bay.id
    yield from infill(bay, bay.id)


def gate_pieces(gate: HungGate) -> Iterator[StandingPiece]:
    for leaf in gate.leaves:
        for stile in leaf.stiles:
            yield "gate.stile", stile, None, gate.id
        for rail in leaf.rails:
            yield "gate.rail", rail.length, None, gate.id
        yield from infill(leaf, gate.id)


def infill(of: Bay | Leaf, where: str) -> Iterator[StandingPiece]:
    for sheet in of.sheets:
        yield "sheet", sheet.blank, sheet.width, where
    for panel in of.lattice:
        yield "lattice", panel.length, panel.height, where


@laws
@given(jobs())
def test_the_same_job_gives_the_same_take_off(job: Job) -> None:
    assert built(job) == built(job)


@laws
@given(jobs(JobLimits(most_runs=2, terminals=(Terminal.FREE, Terminal.WALL, Terminal.JOIN))))
def test_runs_that_do_not_meet_are_counted_as_if_alone(job: Job) -> None:
    alone: Counter[tuple[str, str | None, int, int | None]] = Counter()
    for run in job.measure.runs:
        alone += pieces(built(replace(job, measure=replace(job.measure, runs=(run,), retrofits=()))))
    alone += pieces(built(replace(job, measure=replace(job.measure, runs=()))))
    assert pieces(built(job)) == alone


# -- cutting


@settings(laws, max_examples=25)
@given(jobs(ONE_RUN))
def test_every_piece_in_the_cutting_plan_is_in_the_cut_list_and_the_other_way_round(job: Job) -> None:
    rails = Counter[int]()
    for (role, _, length, _), count in pieces(built(job)).items():
        if role == "rail":
            rails[length] += count
    assume(rails)  # a gate may be all there is
    stock = (StockLength(max(rails) + 200, 3100), StockLength(2 * max(rails) + 10, 5900))
    demand = Demand(job.system.rails.kerf, tuple(sorted(rails.items(), reverse=True)), stock)
    plan = plan_cuts(demand, Budget(work=20_000, polish=False))
    planned = Counter[int]()
    for bar in plan.bars:
        for length, count in bar.cuts:
            planned[length] += count * bar.count
    assert planned == rails
