"""Posts of 65 mm: openings and overall lengths are exact to the millimetre, though half a face is none."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fencing.model.example_system import ROUND_SIZES
from fencing.model.faults import InvalidDocument
from fencing.model.measure import Gate, GateKind, Layout, MeasureBasis, Run
from fencing.model.system import System
from fencing.set_out.segments import build_skeleton

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
