"""Small sums where one millimetre decides: plans that close, gates at an end, rails that fit, a swing, posts with odd faces."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from fencing.model.example_system import ROUND_SIZES
from fencing.model.faults import InvalidDocument
from fencing.model.measure import Form, Gate, GateKind, Layout, MeasureBasis, Run, Station, Terminal
from fencing.model.system import System
from fencing.set_out.segments import build_skeleton
from tests.fencing.worked.by_hand import counted, lengths, stops_and_warnings, take_off_runs


def side(name: str, length: int, turn: int, *levels: tuple[int, int]) -> Run:
    return Run(
        name,
        length,
        1800,
        MeasureBasis.CENTRES,
        Fraction(turn),
        Terminal.CORNER,
        Terminal.CORNER,
        levels=tuple(Station(at, level) for at, level in levels),
        form=Form.RAKED,
    )


def single(start: int, hinge_side: str = "left") -> Gate:
    return Gate("G", start, 1000, GateKind.SINGLE, 1800, hinge_side=hinge_side)


# -- plans that close


def test_three_equal_sides_turning_120_degrees_share_three_corners() -> None:
    takeoff = take_off_runs(side("A", 4800, 0), side("B", 4800, 120), side("C", 4800, 120))
    assert takeoff.runs[2].posts[-1].id == "A-P1"
    assert takeoff.concrete.holes == 3 + 3  # a corner and a pair to each side


@pytest.mark.parametrize(
    ("last", "closes"),
    [
        (4800 - 499, True),  # a gap of 499; up to 500 is always let pass
        (4800 - 501, False),
    ],
)
def test_a_plan_closes_when_its_end_is_within_half_a_metre_of_its_start(last: int, closes: bool) -> None:
    # a rectangle 3000 by 4800 whose last side stops short; 2 % of 15.6 m is only 312
    takeoff = take_off_runs(side("A", 3000, 0), side("B", 4800, 90), side("C", 3000, 90), side("D", last, 90))
    assert (takeoff.runs[3].posts[-1].id == "A-P1") is closes


def test_two_per_cent_of_a_long_plan_is_let_pass() -> None:
    # 2 x 20 m + 20 m + 19.2 m = 79.2 m, of which 2 % is 1584: 800 short closes
    takeoff = take_off_runs(side("A", 20_000, 0), side("B", 20_000, 90), side("C", 20_000, 90), side("D", 19_200, 90))
    assert takeoff.runs[3].posts[-1].id == "A-P1"


def test_two_runs_there_and_back_do_not_share_their_far_ends() -> None:
    takeoff = take_off_runs(side("A", 4800, 0), side("B", 4800, 180))
    assert [post.id for post in takeoff.runs[1].posts] == ["A-P3", "B-P2", "B-P3"]


def test_runs_that_disagree_about_the_ground_at_their_corner_are_stated_and_the_lower_is_used() -> None:
    # a difference of 21 is stated, 20 is accepted
    data = take_off_runs(side("A", 4800, 0, (0, 0), (4800, 0)), side("B", 4800, 90, (0, -21), (4800, -21)))
    assert stops_and_warnings(data) == {("corner.levels", "A-P3")}
    assert data.runs[0].posts[-1].ground == data.runs[1].posts[0].ground == -21
    assert not take_off_runs(side("A", 4800, 0, (0, 0), (4800, 0)), side("B", 4800, 90, (0, -20), (4800, -20))).notices


# -- gates at an end and beside each other


@pytest.mark.parametrize("start", [29, 30, 31])
def test_a_gate_post_within_a_millimetre_of_the_end_post_is_that_post(start: int) -> None:
    run = Run("A", 6000, 1800, MeasureBasis.CENTRES, start=Terminal.WALL, form=Form.LEVEL, gates=(single(start),))
    first = take_off_runs(run).runs[0].posts[0]
    assert (first.at, first.kind) == (0, "square")  # 30 is half a face: at 30 the post's centre is the wall's channel's


@pytest.mark.parametrize("start", [4969, 4970, 4971])
def test_so_it_is_at_the_other_end(start: int) -> None:
    run = Run("A", 6000, 1800, MeasureBasis.CENTRES, end=Terminal.JOIN, form=Form.LEVEL, gates=(single(start),))
    last = take_off_runs(run).runs[0].posts[-1]
    assert (last.at, last.kind) == (6000, "square")


def test_two_gates_a_post_face_apart_share_a_post() -> None:
    second = Gate("H", 3060, 1000, GateKind.SINGLE, 1800)  # the first ends at 3000, the face is 60
    run = Run("A", 6000, 1800, MeasureBasis.CENTRES, form=Form.LEVEL, gates=(single(2000), second))
    built = take_off_runs(run).runs[0]
    assert built.gates[0].posts[1] == built.gates[1].posts[0]
    assert [post.at for post in built.posts] == [0, 1970, 3030, 4090, 6000]


# -- rails that fit exactly


def test_a_segment_of_whole_rails_has_no_closing_bay() -> None:
    length = (40 + 2390 + 5) + (5 + 2390 + 5) + (5 + 2390 + 40)
    built = take_off_runs(
        Run("A", length, 1800, MeasureBasis.CENTRES, form=Form.LEVEL, layout=Layout.WHOLE_RAILS)
    ).runs[0]
    assert [bay.width for bay in built.bays] == [2435, 2400, 2435]
    assert {rail.length for bay in built.bays for rail in bay.rails} == {2390}


def test_a_segment_of_whole_pitches_has_no_closing_bay_in_any_layout() -> None:
    for layout in (Layout.FROM_START, Layout.FROM_END, Layout.EVEN, Layout.BALANCED):
        built = take_off_runs(Run("A", 7200, 1800, MeasureBasis.CENTRES, form=Form.LEVEL, layout=layout)).runs[0]
        assert [bay.width for bay in built.bays] == [2400, 2400, 2400]


@pytest.mark.parametrize(("closing", "widths"), [(400, [2400, 2400, 400]), (399, [2400, 1400, 1399])])
def test_the_least_closing_bay_is_still_allowed(closing: int, widths: list[int]) -> None:
    built = take_off_runs(Run("A", 4800 + closing, 1800, MeasureBasis.CENTRES, form=Form.LEVEL)).runs[0]
    assert [bay.width for bay in built.bays] == widths


# -- a swing


@pytest.mark.parametrize(
    ("hinge_side", "warned"),
    [
        ("left", True),  # opened, the leaf lies over 1024 to 2000, where the bank stands 100 above 0
        ("right", False),
    ],
)
def test_a_bank_beside_the_hinges_is_in_the_way_of_the_swing(hinge_side: str, warned: bool) -> None:
    # the foot is 50 above the opening's highest ground of 0; the bank stands 50 higher than that
    levels = tuple(Station(at, level) for at, level in ((0, 0), (1400, 100), (1900, 0), (6000, 0)))
    run = Run(
        "A",
        6000,
        1800,
        MeasureBasis.CENTRES,
        levels=levels,
        form=Form.RAKED,
        gates=(single(2000, hinge_side=hinge_side),),
    )
    notices = {notice.code: notice.text for notice in take_off_runs(run).notices}
    assert ("gate.swing" in notices) is warned
    if warned:
        assert "50 mm" in notices["gate.swing"]


@pytest.mark.parametrize(("hinge_side", "warned"), [("right", True), ("left", False)])
def test_a_bank_on_the_right_is_in_the_way_of_a_leaf_hung_on_the_right_only(hinge_side: str, warned: bool) -> None:
    # opened, a leaf hung on the right lies over 3000 to 3976
    levels = tuple(Station(at, level) for at, level in ((0, 0), (3100, 0), (3600, 100), (6000, 0)))
    run = Run(
        "A",
        6000,
        1800,
        MeasureBasis.CENTRES,
        levels=levels,
        form=Form.RAKED,
        gates=(single(2000, hinge_side=hinge_side),),
    )
    assert ("gate.swing" in {notice.code for notice in take_off_runs(run).notices}) is warned


def test_a_bank_no_higher_than_the_foot_is_not_in_the_way() -> None:
    levels = tuple(Station(at, level) for at, level in ((0, 0), (1400, 50), (1900, 0), (6000, 0)))
    run = Run("A", 6000, 1800, MeasureBasis.CENTRES, levels=levels, form=Form.RAKED, gates=(single(2000),))
    assert "gate.swing" not in {notice.code for notice in take_off_runs(run).notices}


# -- measured over all, and numbered as in the document


def test_a_gate_against_a_wall_stands_a_whole_face_inside_when_measured_over_all() -> None:
    # the wall is the outside of a square post of face 60: its centre is at 30, the opening starts at 60
    run = Run("A", 6000, 1800, MeasureBasis.OUTSIDE_FACES, start=Terminal.WALL, form=Form.LEVEL, gates=(single(60),))
    built = take_off_runs(run).runs[0]
    assert [(post.at, post.kind) for post in built.posts[:2]] == [(30, "square"), (1060 + 30, "square")]
    assert built.gates[0].posts == ("A-P1", "A-P2")


def test_a_gate_without_room_is_named_by_its_place_in_the_document() -> None:
    # in the order of the run the first listed comes last: it ends 100 from the end, its post 70; 81 are needed
    gates = (single(4900), Gate("H", 2000, 1000, GateKind.SINGLE, 1800))
    run = Run("A", 6000, 1800, MeasureBasis.CENTRES, form=Form.LEVEL, gates=gates)
    with pytest.raises(InvalidDocument) as refusal:
        take_off_runs(run)
    assert [fault.pointer for fault in refusal.value.faults] == ["/runs/0/gates/0/from_mm"]


# -- steps and the least gap


@pytest.mark.parametrize(
    ("pebble", "bases"),
    [
        (0, [350, 250, 150]),  # fall 300 over 3 bays: 100 a step
        (1, [350, 251, 150]),  # one millimetre is rounding: that bay keeps its gap, the steps stay
        (2, [350, 252, 140]),  # two are not: every bay stands over its own highest ground
    ],
)
def test_equal_steps_give_way_to_ground_more_than_a_millimetre_too_high(pebble: int, bases: list[int]) -> None:
    # the second bay's high side is a pebble above the line from 300 to 0; the third bay's, at 90, is 10 under it
    ground = ((0, 300), (2400, 200 + pebble), (4800, 90), (7200, 0))
    levels = tuple(Station(at, level) for at, level in ground)
    run = Run("A", 7200, 1800, MeasureBasis.CENTRES, levels=levels, form=Form.STEPPED)
    assert [bay.base[0] for bay in take_off_runs(run).runs[0].bays] == bases


# 10 m between two square posts at free ends, laid out so that rails of 2390 stay uncut: the first bay is 40 + 2390 + 5 = 2435,
# then 5 + 2390 + 5 = 2400 as often as it goes. 10000 - 2435 - 3 * 2400 = 365 is under the least closing bay of 400: the last
# two share 365 + 2400 = 2765
WHOLE_RAILS_10_M = Run("K", 10000, 1800, MeasureBasis.CENTRES, form=Form.LEVEL, layout=Layout.WHOLE_RAILS)


def test_three_of_five_bays_have_whole_rails() -> None:
    takeoff = take_off_runs(WHOLE_RAILS_10_M)
    assert [bay.width for bay in takeoff.runs[0].bays] == [2435, 2400, 2400, 1383, 1382]
    # three bays uncut; 1383 - 5 - 5 = 1373 and 1382 - 5 - 40 = 1337
    assert lengths(takeoff, "rail") == {2390: 6, 1373: 2, 1337: 2}


def test_caps_of_bays_of_whole_rails() -> None:
    assert counted(take_off_runs(WHOLE_RAILS_10_M), "cap.pair", "cap.square") == [4, 2]


ODD: System = replace(ROUND_SIZES, square=replace(ROUND_SIZES.square, face=65))
GATE = Gate("A-G1", 2_000, 1_000, GateKind.SINGLE, 1_800)


def _places(run: Run, layout: Layout = Layout.FROM_START) -> list[int]:
    return [anchor.at for anchor in build_skeleton(run, ODD, layout).anchors]


@pytest.mark.parametrize("layout", [Layout.FROM_START, Layout.FROM_END, Layout.EVEN])
def test_posts_stand_so_that_the_opening_and_the_overall_length_are_exact(layout: Layout) -> None:
    start, left, right, end = _places(Run("A", 10_000, 1_800, gates=(GATE,)), layout)
    assert right - left - 65 == 1_000
    assert end - start + 65 == 10_000


def test_the_mirror_image_has_the_mirrored_places() -> None:
    there = _places(Run("A", 10_000, 1_800, gates=(GATE,)))
    mirrored = Run("A", 10_000, 1_800, gates=(replace(GATE, start=7_000),))
    assert [10_000 - at for at in reversed(_places(mirrored, Layout.FROM_END))] == there


@pytest.mark.parametrize("start", [32, 33])
def test_a_gate_on_the_end_post_takes_it_and_keeps_its_opening(start: int) -> None:
    run = Run("A", 10_000, 1_800, basis=MeasureBasis.CENTRES, gates=(replace(GATE, start=start),))
    assert _places(run) == [0, 1_065, 10_000]


def test_a_gate_between_both_end_posts_must_fill_the_run() -> None:
    run = Run("A", 1_130, 1_800, gates=(replace(GATE, start=65),))
    assert _places(run) == [33, 1_098]
    with pytest.raises(InvalidDocument) as refused:
        _places(replace(run, length=1_131))
    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [("/gates/0/opening_mm", "gate.opening")]
    assert "write 1001" in refused.value.faults[0].text
