"""7.2 m between corners, 1500 high, over a hump of 100 in the first bay and a dip of 60 in the last.

chainage   0   1200   2400   4800   6000   7200
ground     0    100      0      0    -60      0
"""

from __future__ import annotations

from fencing.model.measure import Form, MeasureBasis, Run, Station, Terminal
from fencing.quantities.take_off import TakeOff
from tests.fencing.worked.by_hand import counted, lengths, stops_and_warnings, take_off_runs

GROUND = ((0, 0), (1200, 100), (2400, 0), (4800, 0), (6000, -60), (7200, 0))


def over_it(form: Form) -> TakeOff:
    return take_off_runs(
        Run(
            "H",
            7200,
            1500,
            MeasureBasis.CENTRES,
            start=Terminal.CORNER,
            end=Terminal.CORNER,
            levels=tuple(Station(at, level) for at, level in GROUND),
            form=form,
        )
    )


def test_a_raked_bay_is_lifted_whole_over_its_hump() -> None:
    bays = over_it(Form.RAKED).runs[0].bays
    assert [bay.base for bay in bays] == [(150, 150), (50, 50), (50, 50)]
    assert [bay.step for bay in bays] == [0, 100, 0]
    # over the hump 150 - 100 = 50, at its posts 150; over the dip 50 + 60
    assert [(bay.gap_min, bay.gap_max) for bay in bays] == [(50, 150), (50, 50), (50, 110)]


def test_posts_caps_and_screws_of_the_raked_fence() -> None:
    takeoff = over_it(Form.RAKED)
    # lifted bay: 150 + 1500 = 1650 above ground, + 600 = 2250; the others 1550 + 600 = 2150
    assert lengths(takeoff, "post.square") == {2250: 1, 2150: 1}
    assert lengths(takeoff, "post.channel") == {2250: 2, 2150: 4}
    # the pair at 2400 is stepped: two halves of one cap; the pair at 4800 has one
    assert counted(takeoff, "cap.pair", "cap.square") == [2, 2]
    # rows: 1650 - 200 = 1450, 4.8 -> 5 spaces, 6 screws; 1550 - 200 = 1350 -> 6 screws; four rows
    assert counted(takeoff, "screw") == [4 * 6 + 3 * 8 + (2 * 1 + 2 + 2 * 2)] == [56]


def test_a_level_fence_clears_the_hump_all_along() -> None:
    bays = over_it(Form.LEVEL).runs[0].bays
    assert [bay.base for bay in bays] == [(150, 150)] * 3
    assert bays[2].gap_max == 150 + 60


def test_steps_follow_the_highest_ground_of_each_bay_where_the_ends_are_level() -> None:
    # fall between the ends 0, so equal steps would put every base at 50, inside the hump: each bay for itself
    bays = over_it(Form.STEPPED).runs[0].bays
    assert [bay.base for bay in bays] == [(150, 150), (50, 50), (50, 50)]


def test_nothing_is_beyond_the_limits() -> None:
    for form in (Form.LEVEL, Form.STEPPED, Form.RAKED):
        assert stops_and_warnings(over_it(form)) == set()
