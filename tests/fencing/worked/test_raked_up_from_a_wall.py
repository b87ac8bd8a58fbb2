"""12 m from a house wall to a corner, rising 1 in 10, 1500 high, raked.

A bay rises 240 over 2400; along the slope everything is sqrt(1 + 0.01) = 1.004988 times as long.
"""

from __future__ import annotations

import pytest

from fencing.model.measure import Form, MeasureBasis, Run, Station, Terminal
from fencing.quantities.take_off import TakeOff
from tests.fencing.worked.by_hand import counted, lengths, sheets, take_off_runs


@pytest.fixture(scope="module")
def takeoff() -> TakeOff:
    return take_off_runs(
        Run(
            "R",
            12000,
            1500,
            MeasureBasis.CENTRES,
            start=Terminal.WALL,
            end=Terminal.CORNER,
            levels=(Station(0, 0), Station(12000, 1200)),
            form=Form.RAKED,
        )
    )


def test_the_base_follows_the_ground_at_the_least_gap(takeoff: TakeOff) -> None:
    bays = takeoff.runs[0].bays
    assert [bay.base for bay in bays] == [(50, 290), (290, 530), (530, 770), (770, 1010), (1010, 1250)]
    assert all(bay.top == (bay.base[0] + 1500, bay.base[1] + 1500) for bay in bays)
    assert all(bay.slope == pytest.approx(5.7106, abs=1e-4) for bay in bays)  # tan = 0.1


def test_rails_are_longer_than_the_bay_is_wide(takeoff: TakeOff) -> None:
    # wall and pairs: 2390 x 1.004988 = 2401.92 -> 2402, 4 bays; at the corner 2355 x 1.004988 = 2366.75 -> 2367
    assert lengths(takeoff, "rail") == {2402: 8, 2367: 2}


def test_sheets_are_cut_top_and_foot(takeoff: TakeOff) -> None:
    # across 830 the rail rises 83, more than the seat of 20: the foot is cut too
    # trimmed both sides 1500 - 10 = 1490; blank 1490 + 83 = 1573
    # the ripped sheet of the last bay: across 795 it rises 79.5, blank 1569.5 -> 1570
    assert sheets(takeoff) == {(1573, 830): 4 * 3 + 2, (1570, 795): 1}
    every = [sheet for bay in takeoff.runs[0].bays for sheet in bay.sheets]
    assert {(sheet.left, sheet.right, sheet.foot) for sheet in every} == {(1490, 1490, "cut")}


def test_posts(takeoff: TakeOff) -> None:
    # 1500 + 50 above ground + 600 = 2150 at every post: single, four pairs, one beside the square
    assert lengths(takeoff, "post.channel") == {2150: 1 + 4 * 2 + 1}
    assert lengths(takeoff, "post.square") == {2150: 1}
    assert {member.stock for post in takeoff.runs[0].posts for member in post.uprights} == {2400}


def test_caps_and_screws(takeoff: TakeOff) -> None:
    # four pairs and half a cap on the single: 4 + 1
    assert counted(takeoff, "cap.pair", "cap.square") == [5, 1]
    # a row: 1550 - 200 = 1350, 4.5 -> 5 spaces, 6 screws; none to the wall
    rows = (4 + 1) * 6
    assert counted(takeoff, "screw") == [rows + 5 * 8 + (4 * 2 + 1 + 2)] == [81]


def test_the_wall_is_left_to_what_the_wall_is(takeoff: TakeOff) -> None:
    (notice,) = takeoff.notices
    assert (notice.code, notice.element) == ("wall.fixing", "R-P1")
    assert "6" in notice.text
