"""9.6 m falling 480 from a free end to an existing fence, 1800 high, in four equal steps.

base   530   410   290   170         480 / 4 bays = 120 a step
top   2330  2210  2090  1970         base + 1800
ground at the posts  480  360  240  120  0
"""

from __future__ import annotations

import pytest

from fencing.model.measure import Form, Layout, MeasureBasis, Run, Station, Terminal
from fencing.quantities.take_off import TakeOff
from tests.fencing.worked.by_hand import counted, lengths, sheets, stops_and_warnings, take_off_runs


@pytest.fixture(scope="module")
def takeoff() -> TakeOff:
    return take_off_runs(
        Run(
            "S",
            9600,
            1800,
            MeasureBasis.CENTRES,
            start=Terminal.FREE,
            end=Terminal.JOIN,
            levels=(Station(0, 480), Station(9600, 0)),
            form=Form.STEPPED,
            layout=Layout.EVEN,
        )
    )


def test_steps(takeoff: TakeOff) -> None:
    bays = takeoff.runs[0].bays
    assert [bay.base for bay in bays] == [(530, 530), (410, 410), (290, 290), (170, 170)]
    assert [bay.top for bay in bays] == [(2330, 2330), (2210, 2210), (2090, 2090), (1970, 1970)]
    assert [bay.step for bay in bays] == [0, 120, 120, 120]
    assert {(bay.gap_min, bay.gap_max) for bay in bays} == {(50, 50 + 120)}


def test_each_channel_of_a_pair_has_its_own_length(takeoff: TakeOff) -> None:
    # first post: 2330 - 480 = 1850 above ground, + 600 = 2450, a square and a channel
    # pair at 360: left 2330 - 360 = 1970 -> 2570, right 2210 - 360 = 1850 -> 2450; the other two pairs the same
    # last: single, 1970 - 0 = 1970 -> 2570
    assert lengths(takeoff, "post.square") == {2450: 1}
    assert lengths(takeoff, "post.channel") == {2450: 1 + 3, 2570: 3 + 1}
    # all from 2700 stock; the hole less its bedding is 600, so nothing goes deeper and the rest is trimmed
    members = [member for post in takeoff.runs[0].posts for member in post.uprights]
    assert {(member.stock, member.embedment) for member in members} == {(2700, 600)}
    assert [post.kind for post in takeoff.runs[0].posts] == ["square", "line", "line", "line", "single"]


def test_rails_and_sheets(takeoff: TakeOff) -> None:
    # first bay at the square post 2355, the other three 2390 (a single is a channel like those of a pair)
    assert lengths(takeoff, "rail") == {2355: 2, 2390: 6}
    assert sheets(takeoff) == {(1790, 830): 2 + 3 * 3, (1790, 795): 1}


def test_caps_are_halved_and_paired_up(takeoff: TakeOff) -> None:
    # three stepped pairs take 6 halves, the single 1: 7 halves out of 4 caps
    assert counted(takeoff, "cap.pair", "cap.square") == [4, 1]


def test_screws(takeoff: TakeOff) -> None:
    # pairs: from the lower top, 1850 above ground: 1850 - 200 = 1650 -> 6 spaces, 7 screws
    # at the join: 1970 - 200 = 1770, 5.9 -> 6 spaces, 7 screws
    pairs, square, join = 3 * 7, 7, 7
    rail_ends = 4 * 2 * 2 * 2
    caps = 2 + 7 * 1  # half of two screws to each half cap
    assert counted(takeoff, "screw") == [pairs + square + join + rail_ends + caps] == [76]


def test_nothing_is_beyond_the_limits(takeoff: TakeOff) -> None:
    assert stops_and_warnings(takeoff) == set()
