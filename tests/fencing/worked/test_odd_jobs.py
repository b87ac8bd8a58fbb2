"""Odd but buildable jobs, read from documents and calculated by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from fencing.model.example_system import ROUND_SIZES
from fencing.model.fence import BuiltRun
from fencing.model.measure import Form, Layout, Measure, MeasureBasis, Run
from fencing.quantities.take_off import TakeOff, take_off
from fencing.reading import read_measure


def build(*runs: dict[str, Any], **members: object) -> TakeOff:
    document = {
        "schema": "measure-2",
        "label": "Odd",
        "system": "round",
        "defaults": {"height_mm": 1800, "form": "level", "basis": "centres"},
        "runs": list(runs),
        **members,
    }
    return take_off(read_measure(document, ROUND_SIZES), ROUND_SIZES)


def run(name: str = "A", length: int = 9600, **members: object) -> dict[str, Any]:
    return {"id": name, "length_mm": length, **members}


def gate(start: int, **members: object) -> dict[str, Any]:
    return {"from_mm": start, "opening_mm": 1000, **members}


def places(built: BuiltRun) -> list[tuple[int, str]]:
    return [(post.at, post.kind) for post in built.posts]


def net(takeoff: TakeOff, role: str) -> int:
    return sum(int(row.net) for row in takeoff.quantities if row.role == role)


def test_a_gate_at_the_very_end_against_a_wall_makes_the_end_post_square() -> None:
    takeoff = build(run(end="wall", gates=[gate(9600 - 30 - 1000)]))
    # gate posts half a face of 60 outside the opening: 8540 and 9600, the end itself
    assert places(takeoff.runs[0])[-2:] == [(8540, "square"), (9600, "square")]
    assert takeoff.runs[0].bays[-1].end == 8540
    assert net(takeoff, "post.square") == 3  # the free start and both gate posts
    assert not [notice for notice in takeoff.notices if notice.code == "wall.fixing"]  # nothing but a leaf is beside it


def test_two_gates_share_the_post_between_them() -> None:
    takeoff = build(run(gates=[gate(3000), gate(3000 + 1000 + 60)]))
    assert [at for at, kind in places(takeoff.runs[0]) if kind == "square"] == [0, 2970, 4030, 5090, 9600]
    shared = takeoff.runs[0].posts[3]
    assert (shared.at, [member.section for member in shared.uprights]) == (4030, ["square"])
    assert (net(takeoff, "hinge"), net(takeoff, "latch")) == (4, 2)


def test_gates_may_be_listed_in_any_order() -> None:
    forth = build(run(gates=[gate(2000, id="x"), gate(6000, id="y")]))
    back = build(run(gates=[gate(6000, id="y"), gate(2000, id="x")]))
    assert forth.runs == back.runs
    assert [hung.id for hung in back.runs[0].gates] == ["x", "y"]


def test_a_closed_triangle_has_three_posts_at_its_corners() -> None:
    corners = {"start": "corner", "end": "corner"}
    takeoff = build(*(run(name, 4800, turn_deg=120 if name != "A" else 0, **corners) for name in "ABC"))
    assert net(takeoff, "post.square") == 3
    assert takeoff.concrete.holes == 3 + 3  # corners, and the middle of each side
    assert takeoff.runs[2].posts[-1].id == takeoff.runs[0].posts[0].id == "A-P1"
    assert [member.bay for member in takeoff.runs[0].posts[0].uprights] == [None, "C-2", "A-1"]


def test_a_corner_of_45_degrees_is_one_post_in_two_runs() -> None:
    takeoff = build(run(end="corner"), run("B", 4800, start="corner", turn_deg="45"))
    assert takeoff.runs[1].posts[0].id == takeoff.runs[0].posts[-1].id == "A-P5"
    assert net(takeoff, "post.square") == 3
    assert net(takeoff, "post.channel") == 2 * (4 + 2)  # two for every bay


def test_a_run_of_300_mm_is_one_short_bay() -> None:
    takeoff = build(run(length=300))
    (bay,) = takeoff.runs[0].bays
    assert [rail.length for rail in bay.rails] == [300 - 2 * 40] * 2
    assert [(sheet.blank, sheet.width) for sheet in bay.sheets] == [(1790, 220)]
    assert [notice.code for notice in takeoff.notices] == ["bay.short"]


def test_a_run_of_20_km_is_8333_whole_bays_and_a_closing_one() -> None:
    takeoff = build(run(length=20_000_000))
    assert len(takeoff.runs[0].bays) == 20_000_000 // 2400 + 1
    assert net(takeoff, "rail") == 2 * 8334
    assert net(takeoff, "sheet") == 3 * 8333 + 1  # the last bay of 800 - 40 - 5 takes one


def test_one_levelled_station_makes_level_ground_at_its_level() -> None:
    takeoff = build(run(levels=[[3000, -250]]))
    assert {post.ground for post in takeoff.runs[0].posts} == {-250}
    assert {bay.base for bay in takeoff.runs[0].bays} == {(-200, -200)}


def test_a_staff_held_upside_down_under_a_branch_is_a_hump() -> None:
    book = [
        {"backsight_m": 1.5},
        {"at_mm": 0, "intermediate_m": 1.2},  # 1.5 - 1.2: 300
        {"at_mm": 3000, "intermediate_m": -0.1},  # 1.5 + 0.1: 1600
        {"at_mm": 7200, "foresight_m": 1.8, "backsight_m": 0.9},  # 1.5 - 1.8: -300
        {"foresight_m": 0.6},
    ]
    takeoff = build(run(length=7200, book=book, form="raked"))
    assert [post.ground for post in takeoff.runs[0].posts] == [300, 300 + 1040, 1600 - 814, -300]
    # from 1340 to 786 the ground would be at 1201.5 at 3000; it is 1600 there, so the bay is lifted by 399
    assert takeoff.runs[0].bays[1].base == (1340 + 50 + 399, 786 + 50 + 399)


@pytest.mark.parametrize(("known", "codes"), [(305, []), (306, ["levels.misclosure"])])
def test_a_book_that_closes_worse_than_5_mm_a_set_up_is_remarked(known: int, codes: list[str]) -> None:
    book = [
        {"backsight_m": 1.5},
        {"at_mm": 0, "intermediate_m": 1.2},
        {"foresight_m": 1.2, "level_mm": known},
    ]  # one set-up comes to 300
    assert [notice.code for notice in build(run(book=book)).notices] == codes


def test_a_taper_stands_beyond_a_gate() -> None:
    takeoff = build(run(taper={"at": "end", "bays": 1, "height_mm": 600}, gates=[gate(4000)]))
    assert [bay.tapered for bay in takeoff.runs[0].bays] == [False, False, False, True]
    assert takeoff.runs[0].bays[-1].top == (1850, 650)
    assert places(takeoff.runs[0])[-1] == (9600, "single")


def test_a_taper_against_a_wall_is_fixed_at_its_low_post() -> None:
    takeoff = build(run(start="wall", taper={"at": "start", "bays": 1, "height_mm": 900}))
    assert takeoff.runs[0].posts[0].uprights[0].top == 950
    # from 100 under the top of 950 to 100 above the ground are 750: three spaces of 250
    assert [notice.text[:34] for notice in takeoff.notices] == ["fix this post to the wall at 4 poi"]


def test_a_retrofit_alone_needs_no_concrete() -> None:
    takeoff = build(retrofits=[{"id": "R1", "bays_mm": [2400, 2310, 900], "lattice_mm": 300}])
    rails = [bay.rails[0].length for bay in takeoff.retrofits[0].bays]
    assert rails == [2400 - 10, 2310 - 10, 900 - 10]
    assert (net(takeoff, "post.extension"), net(takeoff, "cap.pair")) == (6, 4)
    # rail ends 6 x 2, along 3 panels 3 each, feet 6 x 2, 2 pairs stitched at 300 + 40 - 100 - 40 = 200: 2 each, 4 caps x 2
    assert net(takeoff, "screw") == 12 + 9 + 12 + 4 + 8
    assert takeoff.concrete.holes == 0


@pytest.mark.parametrize(("length", "widths"), [(5200, [2400, 2400, 400]), (5199, [2400, 1400, 1399])])
def test_a_closing_bay_may_be_the_least_allowed_but_not_a_millimetre_less(length: int, widths: list[int]) -> None:
    assert [bay.width for bay in build(run(length=length)).runs[0].bays] == widths


def test_whole_rails_of_offcuts_are_laid_from_the_start() -> None:
    offcuts = replace(ROUND_SIZES, rails=replace(ROUND_SIZES.rails, stock=(390,)))  # under the least closing bay of 400
    measured = Measure(
        "Odd", "round", (Run("A", 5200, 1800, MeasureBasis.CENTRES, layout=Layout.WHOLE_RAILS, form=Form.LEVEL),)
    )
    assert [bay.width for bay in take_off(measured, offcuts).runs[0].bays] == [2400, 2400, 400]


def test_a_gate_higher_than_the_fence_has_higher_posts_but_not_channels() -> None:
    takeoff = build(run(gates=[gate(4000, height_mm=2100)]))
    post = next(post for post in takeoff.runs[0].posts if post.at == 3970)
    assert [(member.section, member.top) for member in post.uprights] == [("square", 2150), ("channel", 1850)]


def test_finishes_that_are_not_named_fall_back_or_stay_open() -> None:
    finishes = {"sheet": "oat", "cap": "pebble"}
    takeoff = build(run(lattice_mm=300, finishes=finishes, gates=[gate(4000)]))
    named = {row.role: row.finish for row in takeoff.quantities}
    assert (named["sheet"], named["cap.pair"], named["cap.square"]) == ("oat", "pebble", "pebble")
    assert {named[role] for role in ("post.square", "rail", "lattice", "screw", "gate.stile", "hinge")} == {None}


def test_levels_reach_every_run_round_every_corner_from_either_end() -> None:
    corner = {"end": "corner"}
    first, second = run("A", 4800, **corner), run("B", 4800, start="corner", turn_deg=90, **corner)
    last = run("C", 4800, start="corner", turn_deg=90, levels=[[0, 300], [4800, 200]])
    # C starts at 300, so B is level at 300; A meets B alone and is level there too
    takeoff = build(first, second, last)
    assert [post.ground for post in takeoff.runs[0].posts] == [300, 300, 300]
    assert not [notice for notice in takeoff.notices if notice.code == "corner.levels"]
