"""Lattice 300 high added to three standing bays: 2400, 2400 and 1900 between post centres."""

from __future__ import annotations

import pytest

from fencing.model.measure import Retrofit
from fencing.quantities.take_off import TakeOff
from tests.fencing.worked.reckoning import counted, lengths, reckon


@pytest.fixture(scope="module")
def taken() -> TakeOff:
    return reckon(retrofits=(Retrofit("F", (2400, 2400, 1900), 300),))


def test_pieces(taken: TakeOff) -> None:
    assert lengths(taken, "post.extension") == {300 + 40: 3 * 2}
    assert lengths(taken, "rail") == {2400 - 10: 2, 1900 - 10: 1}
    assert lengths(taken, "lattice") == {2390: 2, 1890: 1}
    assert taken.concrete.holes == 0


def test_caps_and_screws(taken: TakeOff) -> None:
    assert counted(taken, "cap.pair", "cap.square") == [3 + 1, 0]
    rail_ends, panels, feet = 3 * 2 * 2, 3 * 3, 6 * 2
    # two posts between bays: 340 long, from 100 under the top to the overlap of 40: 200, one space, two screws
    stitched = 2 * 2
    caps = 4 * 2
    assert counted(taken, "screw") == [rail_ends + panels + feet + stitched + caps] == [45]


def test_the_standing_footings_are_to_be_looked_at(taken: TakeOff) -> None:
    assert [(notice.code, notice.element) for notice in taken.notices] == [("retrofit.footings", "F")]
