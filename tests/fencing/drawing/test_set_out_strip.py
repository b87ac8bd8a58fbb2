"""The set-out strip as a crew digs by it: every figure of the chain is hole to hole."""

from __future__ import annotations

import pytest

from fencing.drawing.set_out_strip import draw_set_out_bands
from fencing.model.measure import Gate, GateKind
from tests.fencing.drawing import jobs, reading


@pytest.mark.parametrize("width", [190, 95])
def test_a_gate_stands_in_the_chain_from_centre_to_centre_and_its_opening_is_called_one(width: int) -> None:
    gates = (Gate("A-G1", 2_400, 1_020, GateKind.SINGLE, 1_800),)
    takeoff = jobs.job(jobs.run(length=7_000, gates=gates))
    texts = [item.text for svg in draw_set_out_bands(takeoff, width, 265) for item in reading.words(svg)]
    at = [post.at for post in takeoff.runs[0].posts]
    left = at.index(2_370)
    assert at[left + 1] - at[left] == 1_080
    assert "1080" in texts
    assert "A-G1 opening 1020" in texts
    assert "1020" not in texts
    if width == 190:  # on a phone there is no room for the note
        assert any("centre to centre" in text for text in texts)
