"""Laws of every drawing of every job: nothing covers or is cut off, sizes, escaping, determinism."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fencing import InvalidDocument, TakeOff, take_off
from fencing.drawing.details import draw_bay_detail, draw_leaf_detail
from fencing.drawing.elevation import draw_elevation, draw_elevation_bands
from fencing.drawing.plan_view import draw_plan
from fencing.drawing.set_out_strip import draw_set_out_bands
from tests.fencing.drawing import jobs, reading
from tests.fencing.strategies import random_jobs

A4, LETTER, PHONE = (190.0, 265.0), (196.0, 247.0), (90.0, 120.0)
JOBS = {
    name: getattr(jobs, name) for name in ("one_bay", "yard", "sixty_metres", "zigzag", "kilometre", "rough", "cliff")
}


@pytest.fixture(scope="module", params=list(JOBS))
def takeoff(request: pytest.FixtureRequest) -> TakeOff:
    made: TakeOff = JOBS[request.param]()
    return made


@pytest.fixture(scope="module", params=[A4, LETTER], ids=["A4", "Letter"])
def drawings(request: pytest.FixtureRequest, takeoff: TakeOff) -> list[str]:
    return all_of(takeoff, request.param)


def all_of(takeoff: TakeOff, paper: tuple[float, float], size: float = 2.7) -> list[str]:
    width, height = paper
    drawings = draw_elevation_bands(takeoff, width, height, size=size) + draw_set_out_bands(takeoff, width, height)
    drawings += [draw_plan(takeoff, width, height, size=size), draw_elevation(takeoff, width, size=size)]
    drawings += [
        draw_bay_detail(takeoff, run.bays[0].id, width, 120, size=size) for run in takeoff.runs[:3] if run.bays
    ]
    drawings += [
        draw_leaf_detail(takeoff, gate.id, width, 120, size=size) for run in takeoff.runs for gate in run.gates
    ]
    return drawings


def test_no_words_cover_other_words(drawings: list[str]) -> None:
    assert [clash for svg in drawings for clash in reading.clashes(svg)] == []


def test_nothing_leaves_the_sheet(drawings: list[str]) -> None:
    assert [wrong for svg in drawings for wrong in reading.outside(svg)] == []


def test_words_are_at_least_seven_and_a_half_points_on_paper(drawings: list[str]) -> None:
    least = 7.5 * 25.4 / 72
    assert min(item.size for svg in drawings for item in reading.words(svg)) >= least


def test_a_drawing_says_what_it_is_to_those_who_cannot_see_it(drawings: list[str]) -> None:
    for svg in drawings:
        root = reading.read(svg)
        assert root.get("role") == "img"
        assert [child.tag for child in root][:2] == [f"{reading.SVG}title", f"{reading.SVG}desc"]


def test_a_phone_gets_larger_letters_and_nothing_clipped(takeoff: TakeOff) -> None:
    drawings = [draw_elevation(takeoff, PHONE[0], size=3.2), draw_plan(takeoff, *PHONE, size=3.2)]
    assert [reading.clashes(svg) + reading.outside(svg) for svg in drawings] == [[], []]


def test_every_sheet_is_within_the_paper_it_was_asked_for(takeoff: TakeOff) -> None:
    for svg in draw_elevation_bands(takeoff, *A4) + draw_set_out_bands(takeoff, *A4):
        _, _, width, height = (float(number) for number in reading.read(svg).get("viewBox", "").split())
        assert width == A4[0]
        assert height <= A4[1]


def test_the_same_take_off_gives_the_same_bytes(takeoff: TakeOff) -> None:
    assert all_of(takeoff, A4) == all_of(takeoff, A4)


def test_no_id_occurs_twice_in_the_drawings_of_one_page(takeoff: TakeOff) -> None:
    page = "".join([draw_plan(takeoff, *A4), draw_elevation(takeoff, A4[0])])
    ids = [
        element.get("id") for element, _, _ in reading.shifted(reading.read(f"<div>{page}</div>")) if element.get("id")
    ]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize(
    "draw", [lambda job: draw_plan(job, *A4), lambda job: draw_elevation(job, A4[0])], ids=["plan", "elevation"]
)
def test_every_bay_and_gate_can_be_tapped(takeoff: TakeOff, draw: Callable[[TakeOff], str]) -> None:
    root = reading.read(draw(takeoff))
    tapped = {element.get("data-bay") or element.get("data-gate") for element in root.iter() if element.get("id")}
    wanted = {bay.id for run in takeoff.runs for bay in run.bays}
    wanted |= {bay.id for retrofit in takeoff.retrofits for bay in retrofit.bays}
    wanted |= {gate.id for run in takeoff.runs for gate in run.gates}
    assert wanted <= tapped


def test_names_are_escaped() -> None:
    takeoff = jobs.job(jobs.run('<b> & "q"', 4800), label="<script>alert(1)</script>")
    for svg in (draw_plan(takeoff, *A4), draw_elevation(takeoff, A4[0]), *draw_set_out_bands(takeoff, *A4)):
        assert "<script>" not in svg
        assert "<b>" not in svg
        assert reading.read(svg) is not None


def test_the_accent_marks_only_what_is_live() -> None:
    takeoff, accent = jobs.yard(), "#B4380D"
    assert accent not in draw_plan(takeoff, *A4) + draw_elevation(takeoff, A4[0]) + "".join(
        draw_set_out_bands(takeoff, *A4)
    )
    for live in ("A", "B-3", "A-G1", "A-P2"):
        assert accent in draw_plan(takeoff, *A4, live=live)
        assert accent in draw_elevation(takeoff, A4[0], live=live)


def test_a_job_with_nothing_to_draw_gives_no_drawing() -> None:
    empty = jobs.job()
    assert draw_plan(empty, *A4) == draw_elevation(empty, A4[0]) == ""
    assert draw_elevation_bands(empty, *A4) == draw_set_out_bands(empty, *A4) == []


def test_a_sheet_too_small_for_anything_is_refused() -> None:
    with pytest.raises(ValueError, match="too small"):
        draw_elevation_bands(jobs.one_bay(), 190, 20)


THROWN = random_jobs(60, seed=7)
PAPER = st.sampled_from([(190.0, 265.0, 2.7), (196.0, 247.0, 2.7), (90.0, 160.0, 3.3), (320.0, 220.0, 3.3)])


def taken_off(number: int) -> TakeOff | None:
    try:
        return take_off(THROWN[number].measure, THROWN[number].system)
    except InvalidDocument:
        return None


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, len(THROWN) - 1), PAPER)
def test_any_job_is_drawn_whole_and_readable(number: int, paper: tuple[float, float, float]) -> None:
    takeoff = taken_off(number)
    if takeoff is None:
        return
    width, height, size = paper
    drawings = draw_elevation_bands(takeoff, width, height, size=size) + draw_set_out_bands(
        takeoff, width, height, size=size
    )
    drawings += [draw_plan(takeoff, width, height, size=size), draw_elevation(takeoff, width, size=size)]
    drawings += [
        draw_bay_detail(takeoff, bay.id, width, 120, size=size) for run in takeoff.runs for bay in run.bays[:2]
    ]
    drawings += [
        draw_leaf_detail(takeoff, gate.id, width, 120, size=size) for run in takeoff.runs for gate in run.gates
    ]
    for svg in drawings:
        assert reading.clashes(svg) == []
        assert reading.outside(svg) == []
    posts = {post.id for run in takeoff.runs for post in run.posts}
    for drawing in (draw_plan(takeoff, width, height), draw_elevation(takeoff, width)):
        assert posts <= {element.get("data-post") for element, _, _ in reading.shifted(reading.read(drawing))}
