"""Whatever the engine can set out can be drawn: nothing covers, nothing is cut off, everything is there."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fencing import InvalidDocument, TakeOff, take_off
from fencing.drawing.details import draw_bay_detail, draw_leaf_detail
from fencing.drawing.elevation import draw_elevation, draw_elevation_bands
from fencing.drawing.plan_view import draw_plan
from fencing.drawing.set_out_strip import draw_set_out_bands
from tests.fencing.drawing import reading
from tests.fencing.strategies import random_jobs

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
