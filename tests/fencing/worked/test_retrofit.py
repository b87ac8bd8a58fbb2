"""Lattice 300 high added to three standing bays: 2400, 2400 and 1900 between post centres."""

from __future__ import annotations

import pytest

from fencing.model.measure import Retrofit
from fencing.quantities.take_off import TakeOff
from tests.fencing.worked.by_hand import counted, lengths, take_off_runs


@pytest.fixture(scope="module")
def takeoff() -> TakeOff:
    return take_off_runs(retrofits=(Retrofit("F", (2400, 2400, 1900), 300),))


def test_pieces(takeoff: TakeOff) -> None:
    assert lengths(takeoff, "post.extension") == {300 + 40: 3 * 2}
    assert lengths(takeoff, "rail") == {2400 - 10: 2, 1900 - 10: 1}
    assert lengths(takeoff, "lattice") == {2390: 2, 1890: 1}
    assert takeoff.concrete.holes == 0


def test_caps_and_screws(takeoff: TakeOff) -> None:
    assert counted(takeoff, "cap.pair", "cap.square") == [3 + 1, 0]
    rail_ends, panels, feet = 3 * 2 * 2, 3 * 3, 6 * 2
    # two posts between bays: 340 long, from 100 under the top to the overlap of 40: 200, one space, two screws
    stitched = 2 * 2
    caps = 4 * 2
    assert counted(takeoff, "screw") == [rail_ends + panels + feet + stitched + caps] == [45]


def test_the_standing_footings_are_to_be_looked_at(takeoff: TakeOff) -> None:
    assert [(notice.code, notice.element) for notice in takeoff.notices] == [("retrofit.footings", "F")]
