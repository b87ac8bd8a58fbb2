"""The plan read back: corners meet, turns turn clockwise, gates swing where they should, the scale is a standard one."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from fencing.drawing.drawing_context import find_chains
from fencing.drawing.page_layout import STANDARD
from fencing.drawing.plan_view import draw_plan
from fencing.model.measure import ExistingFence, Gate, GateKind, Retrofit, Terminal
from tests.fencing.drawing import jobs, reading

A4 = (190.0, 180.0)


def bay_ends(svg: str) -> dict[str, list[tuple[float, float]]]:
    """Both ends of each bay's line on paper."""
    return {
        element.get("data-bay", ""): [
            point
            for path in element
            if path.get("class", "").startswith("d-run")
            for point in reading.points(path.get("d", ""))
        ]
        for element, _, _ in reading.marks(svg, "g-bay")
    }


def sections(svg: str) -> dict[str, tuple[float, float]]:
    """Middle of each post's section on paper."""
    found = {}
    for element, _, _ in reading.marks(svg, "d-section"):
        points = list(reading.points(element.get("d", "")))
        xs, ys = [x for x, _ in points], [y for _, y in points]
        found[element.get("data-post", "")] = ((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2)
    return found


def test_a_post_stands_at_its_chainage_times_the_scale() -> None:
    svg = draw_plan(jobs.job(jobs.run(length=12000)), *A4)
    n, places = reading.scale_of(svg), sections(svg)
    inner = [places[f"A-P{number}"][0] for number in (2, 3, 4, 5)]
    assert [right - left for left, right in pairwise(inner)] == pytest.approx([2400 / n] * 3, abs=0.003)


def test_a_right_turn_goes_down_the_sheet_from_a_run_to_the_right() -> None:
    takeoff = jobs.job(
        jobs.run("A", 4800, end=Terminal.CORNER), jobs.run("B", 2400, start=Terminal.CORNER, turn=Fraction(90))
    )
    ends = bay_ends(draw_plan(takeoff, *A4))
    (x1, y1), (x2, y2) = ends["B-1"]
    assert ends["A-2"][1] == pytest.approx((x1, y1), abs=0.002)  # the corner is one point
    assert x1 == pytest.approx(x2, abs=0.002)
    assert y2 > y1


def test_turning_the_other_way_mirrors_the_plan() -> None:
    def yard(turn: int) -> dict[str, list[tuple[float, float]]]:
        runs = [
            jobs.run(name, 4800, turn=Fraction(turn if name != "A" else 0), start=Terminal.CORNER, end=Terminal.CORNER)
            for name in ("A", "B", "C")
        ]
        return bay_ends(draw_plan(jobs.job(*runs), *A4))

    right, left = yard(60), yard(-60)
    top = right["A-1"][0][1]
    foot = left["A-1"][0][1]
    for bay, ends in right.items():
        for (x, y), (other_x, other_y) in zip(ends, left[bay], strict=True):
            assert x - right["A-1"][0][0] == pytest.approx(other_x - left["A-1"][0][0], abs=0.004)
            assert y - top == pytest.approx(foot - other_y, abs=0.004)


def test_four_right_turns_close_a_square() -> None:
    runs = [
        jobs.run(name, 4800, turn=Fraction(90 if name != "A" else 0), start=Terminal.CORNER, end=Terminal.CORNER)
        for name in "ABCD"
    ]
    ends = bay_ends(draw_plan(jobs.job(*runs), *A4))
    assert ends["D-2"][1] == pytest.approx(ends["A-1"][0], abs=0.004)


@pytest.mark.parametrize(
    ("swing", "turn", "down"),
    [("in", 90, True), ("out", 90, False), ("in", -90, False), ("out", -90, True)],
)
def test_a_gate_swings_to_the_side_it_opens_to(swing: str, turn: int, down: bool) -> None:
    """The inside is the side the boundary turns to."""
    gate = Gate("G", 2000, 1000, GateKind.SINGLE, 1800, swing=swing)
    takeoff = jobs.job(
        jobs.run("A", 6000, end=Terminal.CORNER, gates=(gate,)),
        jobs.run("B", 6000, start=Terminal.CORNER, turn=Fraction(turn)),
    )
    svg = draw_plan(takeoff, *A4)
    line = bay_ends(svg)["A-1"][0][1]
    [(arc, _, _)] = reading.marks(svg, "d-swing")
    far = max((y for _, y in reading.points(arc.get("d", ""))), key=lambda y: abs(y - line))
    assert (far > line) is down
    assert abs(far - line) == pytest.approx((1000 - 24) / reading.scale_of(svg), abs=0.003)


@pytest.mark.parametrize("hinge_side", ["left", "right"])
def test_a_leaf_hangs_on_the_post_it_is_hung_on(hinge_side: str) -> None:
    gate = Gate("G", 2000, 1000, GateKind.SINGLE, 1800, hinge_side=hinge_side)
    svg = draw_plan(jobs.job(jobs.run("A", 6000, gates=(gate,))), *A4)
    [(group, _, _)] = [item for item in reading.marks(svg, "g-gate") if item[0].get("id")]
    leaf = next(path for path in group if path.get("class") == "d-edge")
    hinge, _ = reading.points(leaf.get("d", ""))
    start = bay_ends(svg)["A-1"][0][0]
    at = 2000 + 12 if hinge_side == "left" else 3000 - 12  # half the clearance of 24 at either side
    assert hinge[0] - start == pytest.approx(at / reading.scale_of(svg), abs=0.003)


def test_runs_that_do_not_meet_stand_apart() -> None:
    takeoff = jobs.job(jobs.run("A", 4800), jobs.run("B", 4800, turn=Fraction(90)))
    assert [len(chain.runs) for chain in find_chains(takeoff)] == [1, 1]
    ends = bay_ends(draw_plan(takeoff, *A4))
    assert abs(ends["A-2"][1][0] - ends["B-1"][0][0]) > 5


def test_the_scale_is_the_largest_standard_one_that_fits() -> None:
    # 60 m on 190 mm of paper less what labels take beside it: 1:500 leaves 120 mm, 1:250 would need 240
    svg = draw_plan(jobs.job(jobs.run(length=60000)), *A4)
    assert reading.scale_of(svg) == 500
    assert 500 in STANDARD


def test_the_length_of_each_run_is_said_once() -> None:
    texts = [item.text for item in reading.words(draw_plan(jobs.yard(), *A4))]
    assert [texts.count(length) for length in ("14.200 m", "18.240 m", "12.600 m")] == [1, 1, 1]


def test_no_run_goes_without_its_name() -> None:
    takeoff = jobs.zigzag()
    data = " ".join(item.text for item in reading.words(draw_plan(takeoff, *A4)))
    assert all(run.id in data for run in takeoff.runs)


def test_walls_old_fences_and_retrofits_are_marked() -> None:
    takeoff = jobs.job(
        jobs.run("A", 4800, start=Terminal.WALL, end=Terminal.JOIN, existing_fence=ExistingFence("old paling", 4000)),
        retrofits=(Retrofit("R1", (2400,), 320),),
    )
    svg = draw_plan(takeoff, *A4)
    assert [len(reading.marks(svg, name)) for name in ("d-wall", "d-remove", "g-retrofit")] == [1, 1, 1]
    assert len(reading.marks(svg, "d-existing")) == 2  # where the run joins, and under the lattice
