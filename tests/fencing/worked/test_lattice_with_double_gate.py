"""12 m, free at both ends, level, 1800 finished with 300 of lattice, a double gate 3000 wide of the same build.

0 --- 2400 --- 4800 [gate 3000] 7860 --- 10260 --- 12000
"""

from __future__ import annotations

import pytest

from fencing.model.measure import Form, Gate, GateKind, MeasureBasis, Run
from fencing.quantities.take_off import TakeOff
from tests.fencing.worked.by_hand import counted, lengths, sheets, stops_and_warnings, take_off_runs


@pytest.fixture(scope="module")
def takeoff() -> TakeOff:
    gate = Gate("L-G1", 4830, 3000, GateKind.DOUBLE, 1800, lattice=300)  # post centres 4830 - 30 and 7830 + 30
    return take_off_runs(Run("L", 12000, 1800, MeasureBasis.CENTRES, lattice=300, form=Form.LEVEL, gates=(gate,)))


def test_posts(takeoff: TakeOff) -> None:
    posts = takeoff.runs[0].posts
    assert [post.at for post in posts] == [0, 2400, 4800, 7860, 10260, 12000]
    assert [post.kind for post in posts] == ["square", "line", "square", "square", "line", "square"]
    # 1800 + 50 + 600; four bays bring eight channels
    assert lengths(takeoff, "post.square") == {2450: 4}
    assert lengths(takeoff, "post.channel") == {2450: 8}


def test_three_rails_and_a_panel_to_a_bay(takeoff: TakeOff) -> None:
    # three bays of 2355; the last 12000 - 10260 = 1740, less 5 and 40 = 1695
    assert lengths(takeoff, "rail") == {2355: 9, 1695: 3}
    assert {tuple(rail.position for rail in bay.rails) for bay in takeoff.runs[0].bays} == {("bottom", "middle", "top")}
    # leaf: (3000 - 36) / 2 = 1482, between stiles 1482 - 80 = 1402
    assert lengths(takeoff, "lattice") == {2355: 3, 1695: 1, 1402: 2}
    assert lengths(takeoff, "gate.rail") == {1402: 6}
    assert lengths(takeoff, "gate.stile") == {1800: 4}


def test_sheets_stand_under_the_lattice(takeoff: TakeOff) -> None:
    # 1800 - 300 - 10 = 1490
    # 2355: 830, 830, 795; 1695: 2 sheets make 1610, 3 make 2390, 695 too wide: 830, 830, 135
    # a leaf: 1402 of 1610, 208 too wide: 830, 622
    assert sheets(takeoff) == {(1490, 830): 3 * 2 + 2 + 2, (1490, 795): 3, (1490, 135): 1, (1490, 622): 2}


def test_leaves(takeoff: TakeOff) -> None:
    (gate,) = takeoff.runs[0].gates
    for leaf in gate.leaves:
        # 1482^2 + 1800^2 = 5436324; 2331.5^2 = 5435892.25, 2332.5^2 = 5440556.25
        assert (leaf.width, leaf.diagonal) == (1482, 2332)
        assert leaf.clip == 1490 - 10
        assert (leaf.notch, leaf.top_notch) == ((6, 12), (12, 40))
    assert counted(takeoff, "lattice_clip", "stile_plug", "hinge", "latch", "drop_bolt") == [4, 4, 4, 1, 1]


def test_caps_and_screws(takeoff: TakeOff) -> None:
    assert counted(takeoff, "cap.pair", "cap.square") == [2, 4]
    rail_ends = 4 * 3 * 2 * 2
    lattice = (4 + 2) * 3
    joints, hinges = 2 * 6 * 4, 4 * 6
    rows = (2 + 4) * 7  # two pairs, four channels beside square posts; 1650 -> 7 screws
    caps = (2 + 4) * 2
    assert counted(takeoff, "screw") == [rail_ends + lattice + joints + hinges + rows + caps] == [192]


def test_nothing_is_beyond_the_limits(takeoff: TakeOff) -> None:
    assert stops_and_warnings(takeoff) == set()
