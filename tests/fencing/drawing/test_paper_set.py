"""The set of drawings that is kept with a sent job: for any job, never refused, each within its page."""

from __future__ import annotations

import re

import pytest

from fencing import TakeOff
from fencing.drawing.paper import DEEP, WIDTH, paper_set
from fencing.measure import Gate, GateKind
from tests.fencing.drawing import jobs, reading

JOBS = {name: getattr(jobs, name) for name in ("one_bay", "yard", "zigzag", "kilometre", "rough", "cliff")}


@pytest.mark.parametrize("name", JOBS)
def test_every_drawing_of_the_set_is_whole_and_fits_its_page(name: str) -> None:
    takeoff: TakeOff = JOBS[name]()
    for svg in [svg for svgs in paper_set(takeoff).values() for svg in svgs]:
        _, _, width, height = (float(number) for number in reading.read(svg).get("viewBox", "").split())
        assert width == WIDTH
        assert height <= DEEP
        assert (reading.clashes(svg), reading.outside(svg)) == ([], [])


def test_alike_gates_are_detailed_once() -> None:
    # three gates of two kinds, and one typical bay
    gates = tuple(
        Gate(f"G{at}", at, opening, GateKind.SINGLE, 1800) for at, opening in ((2000, 900), (6000, 900), (10000, 1000))
    )
    assert len(paper_set(jobs.job(jobs.run(length=14400, gates=gates)))["detail"]) == 1 + 2


def test_a_job_with_nothing_to_draw_has_an_empty_set() -> None:
    assert paper_set(jobs.job()) == {"plan": [], "elevation": [], "set_out": [], "detail": []}


@pytest.mark.parametrize("name", JOBS)
def test_figures_are_written_with_the_sign_that_is_asked_for(name: str) -> None:
    pointed, with_comma = (
        ["".join(reading.read(svg).itertext()) for svgs in paper_set(JOBS[name](), sign).values() for svg in svgs]
        for sign in (".", ",")
    )
    assert any(re.search(r"\d\.\d", words) for words in pointed)
    assert with_comma == [re.sub(r"(?<=\d)\.(?=\d)", ",", words) for words in pointed]
