"""9.6 m rising 1 in 20 to a corner, raked, 1500 high, its first two bays running down to 900 at the front.

chainage      0     2400   4800   7200   9600
ground        0      120    240    360    480
base         50      170    290    410    530
drop        600      300      0      0      0      (1500 - 900) over 4800
top         950     1370   1790   1910   2030
"""

from __future__ import annotations

import pytest

from fencing.model.measure import Form, MeasureBasis, Run, Station, Taper, Terminal
from fencing.quantities.take_off import TakeOff
from tests.fencing.worked.by_hand import counted, lengths, sheets, stops_and_warnings, take_off_runs


@pytest.fixture(scope="module")
def takeoff() -> TakeOff:
    return take_off_runs(
        Run(
            "T",
            9600,
            1500,
            MeasureBasis.CENTRES,
            start=Terminal.FREE,
            end=Terminal.CORNER,
            levels=(Station(0, 0), Station(9600, 480)),
            form=Form.RAKED,
            taper=Taper("start", 2, 900),
        )
    )


def test_corners_of_the_bays(takeoff: TakeOff) -> None:
    bays = takeoff.runs[0].bays
    assert [bay.base for bay in bays] == [(50, 170), (170, 290), (290, 410), (410, 530)]
    assert [bay.top for bay in bays] == [(950, 1370), (1370, 1790), (1790, 1910), (1910, 2030)]
    assert [bay.tapered for bay in bays] == [True, True, False, False]


def test_rails(takeoff: TakeOff) -> None:
    # bottom: sqrt(1 + 0.05^2) = 1.001249; 2390 -> 2392.99 -> 2393, three bays; 2355 -> 2357.94 -> 2358
    # top of the taper: 420 in 2400 = 0.175, sqrt(1 + 0.175^2) = 1.015197; 2390 -> 2426.32 -> 2426, two bays
    # top of the others as the bottom
    assert lengths(takeoff, "rail") == {2393: 3 + 1, 2358: 1 + 1, 2426: 2}


def test_each_sheet_of_the_taper_has_its_own_blank_and_heights(takeoff: TakeOff) -> None:
    # sheets from 5 to 835, 785 to 1615, 1565 to 2395; the base rises 0.05 x 830 = 41.5 across, over the seat: cut foot
    # first bay: top 950 + 0.175 x, base 50 + 0.05 x, so a sheet's height is 890 + 0.125 x
    #   890.6 .. 994.4    blank 1096.125 -  50.25 - 10 = 1035.875 -> 1036
    #   988.1 .. 1091.9   blank 1232.625 -  89.25 - 10 = 1133.375 -> 1134
    #  1085.6 .. 1189.4   blank 1369.125 - 128.25 - 10 = 1230.875 -> 1231
    first, second, _, _ = takeoff.runs[0].bays
    assert [(sheet.left, sheet.right, sheet.blank) for sheet in first.sheets] == [
        (891, 994, 1036),
        (988, 1092, 1134),
        (1086, 1189, 1231),
    ]
    # the second bay is 300 higher
    assert [(sheet.left, sheet.right, sheet.blank) for sheet in second.sheets] == [
        (1191, 1294, 1336),
        (1288, 1392, 1434),
        (1386, 1489, 1531),
    ]


def test_sheets(takeoff: TakeOff) -> None:
    # full height: 1490 + 41.5 = 1531.5 -> 1532, 3 + 2 of them; the ripped 795 rises 39.75: 1529.75 -> 1530
    tapered = {(blank, 830): 1 for blank in (1036, 1134, 1231, 1336, 1434, 1531)}
    assert sheets(takeoff) == {**tapered, (1532, 830): 5, (1530, 795): 1}


def test_posts_get_shorter_down_the_taper_and_its_end_has_no_square_post(takeoff: TakeOff) -> None:
    # above ground 950, 1250, 1550, 1550, 1550; + 600
    assert lengths(takeoff, "post.channel") == {1550: 1, 1850: 2, 2150: 2 + 2 + 1}
    assert lengths(takeoff, "post.square") == {2150: 1}
    assert [post.kind for post in takeoff.runs[0].posts] == ["single", "line", "line", "line", "square"]


def test_caps_and_screws(takeoff: TakeOff) -> None:
    assert counted(takeoff, "cap.pair", "cap.square") == [3 + 1, 1]  # the end's half cap takes a whole one
    # rows: 1250 - 200 = 1050, 3.5 -> 4 spaces, 5 screws; 1550 - 200 = 1350 -> 6 screws, two pairs and the square's channel
    rows = 5 + 6 + 6 + 6
    assert counted(takeoff, "screw") == [rows + 4 * 8 + (3 * 2 + 1 + 2)] == [64]


def test_nothing_is_beyond_the_limits(takeoff: TakeOff) -> None:
    assert stops_and_warnings(takeoff) == set()
