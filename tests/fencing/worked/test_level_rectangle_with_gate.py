"""A garden 9.6 m by 7.2 m, level, 1800 high, fenced all round from corner to corner, a single gate in the front.

A  0 --- 2400 --- 4800 [gate 1000] 5860 --- 8260 --- 9600      lengths between post centres
B, D  0 --- 2400 --- 4800 --- 7200        C  0 --- 2400 --- 4800 --- 7200 --- 9600
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from fencing.model.measure import Form, Gate, GateKind, Layout, MeasureBasis, Run, Terminal
from fencing.quantities.take_off import TakeOff
from tests.fencing.worked.by_hand import counted, lengths, sheets, stops_and_warnings, take_off_runs


@pytest.fixture(scope="module")
def takeoff() -> TakeOff:
    # The gate post's centre is half a 60 face outside the opening: 4830 - 30 = 4800 and 5830 + 30 = 5860.
    gate = Gate("A-G1", 4830, 1000, GateKind.SINGLE, 1800)
    return take_off_runs(side("A", 9600, 0, gate), side("B", 7200, 90), side("C", 9600, 90), side("D", 7200, 90))


def side(name: str, length: int, turn: int, *gates: Gate) -> Run:
    return Run(
        name,
        length,
        1800,
        MeasureBasis.CENTRES,
        Fraction(turn),
        Terminal.CORNER,
        Terminal.CORNER,
        form=Form.LEVEL,
        layout=Layout.FROM_START,
        gates=gates,
    )


def test_posts_stand_at_whole_pitches_and_each_corner_once(takeoff: TakeOff) -> None:
    assert [[post.at for post in run.posts] for run in takeoff.runs] == [
        [0, 2400, 4800, 5860, 8260, 9600],
        [0, 2400, 4800, 7200],
        [0, 2400, 4800, 7200, 9600],
        [0, 2400, 4800, 7200],
    ]
    # 6 + 4 + 5 + 4 = 19 in the lists, less the 4 corners that stand in two of them
    assert takeoff.concrete.holes == 15
    assert takeoff.runs[3].posts[-1].id == "A-P1"
    # square: 4 corners, 2 gate posts; every one of the 4 + 3 + 4 + 3 = 14 bays brings two channels
    # each 1800 + 50 above ground + 600 below = 2450
    assert lengths(takeoff, "post.square") == {2450: 6}
    assert lengths(takeoff, "post.channel") == {2450: 28}


def test_rails(takeoff: TakeOff) -> None:
    # 2400 - 40 - 5 = 2355 beside a square post: A-1 A-2 A-3, two each of B C D = 9 bays
    # 2400 - 5 - 5 = 2390 between pairs: B-2, C-2, C-3, D-2 = 4 bays
    # 9600 - 8260 = 1340, less 45 = 1295
    assert lengths(takeoff, "rail") == {2355: 18, 2390: 8, 1295: 2}


def test_sheets(takeoff: TakeOff) -> None:
    # all 1800 - 10 = 1790 long
    # 2390: three of 830, 4 bays = 12; 2355: 830, 830, 795, 9 bays = 18 and 9
    # 1295: 2 x 780 + 50 = 1610 is 315 too wide: 830 and 515
    # leaf 1000 - 24 = 976, between stiles 976 - 80 = 896: 830 is too narrow, 1610 is 714 too wide: 830 and 116
    assert sheets(takeoff) == {(1790, 830): 12 + 18 + 1 + 1, (1790, 795): 9, (1790, 515): 1, (1790, 116): 1}


def test_gate(takeoff: TakeOff) -> None:
    (gate,) = takeoff.runs[0].gates
    (leaf,) = gate.leaves
    assert gate.posts == ("A-P3", "A-P4")
    # 976^2 + 1800^2 = 4192576; 2047.5^2 = 4192256.25, 2048.5^2 = 4196352.25
    assert (leaf.width, leaf.diagonal, leaf.hinges) == (976, 2048, (200, 1600))
    assert lengths(takeoff, "gate.stile") == {1800: 2}
    assert lengths(takeoff, "gate.rail") == {896: 2}
    assert counted(takeoff, "stile_plug", "hinge", "latch", "drop_bolt") == [2, 2, 1, 0]


def test_caps_and_screws(takeoff: TakeOff) -> None:
    # line posts: 15 - 6 = 9
    assert counted(takeoff, "cap.pair", "cap.square") == [9, 6]
    # a row: 1850 - 100 - 100 = 1650, spaces 1650 / 300 = 5.5 -> 6, screws 7
    pairs = 9 * 7
    beside_square = (4 * 2 + 2 * 1) * 7  # a corner has two channels, a gate post one
    rail_ends = 14 * 2 * 2 * 2
    caps = (9 + 6) * 2
    joints, hinges = 4 * 4, 2 * 6
    assert counted(takeoff, "screw") == [pairs + beside_square + rail_ends + caps + joints + hinges] == [303]
    (row,) = (quantity for quantity in takeoff.quantities if quantity.role == "screw")
    assert (int(row.allowance), int(row.total)) == (16, 319)  # 5 % of 303 is 15.15, up


def test_concrete(takeoff: TakeOff) -> None:
    # hole 3.14159 x 300^2 / 4 x 650 = 45.9458 l, crown 3.14159 x 300^2 / 12 x 30 = 0.7069 l, together 46.6527 l
    # steel: pair 2 x 300 x 600 = 0.36 l; corner 500 x 600 + 0.36 = 0.66 l; gate post 0.30 + 0.18 = 0.48 l
    # 9 x 46.2927 = 416.6 -> 0.417; 4 x 45.9927 = 184.0 -> 0.184; 2 x 46.1727 = 92.3 -> 0.092
    assert takeoff.concrete.net == Decimal("0.417") + Decimal("0.184") + Decimal("0.092")
    assert takeoff.concrete.allowance == Decimal("0.070")  # 0.0693, up
    assert takeoff.concrete.total == Decimal("0.763")


def test_nothing_is_beyond_the_limits(takeoff: TakeOff) -> None:
    assert stops_and_warnings(takeoff) == set()
