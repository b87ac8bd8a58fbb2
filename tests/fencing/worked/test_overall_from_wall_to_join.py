"""7.3 m measured face to face, from a wall to a standing fence, 1500 high, level ground that was not levelled.

Both ends are single channels of face 30, so their centres stand 15 inside: 15 and 7285, 7270 apart.
7270 - 3 x 2400 = 70, under the least closing bay of 400: the last two share 2470 as 1235 and 1235.
"""

from __future__ import annotations

import pytest

from fencing.model.measure import Form, Layout, MeasureBasis, Run, Terminal
from fencing.quantities.take_off import TakeOff
from tests.fencing.worked.by_hand import counted, lengths, sheets, take_off_runs


def wall_to_join(layout: Layout) -> TakeOff:
    return take_off_runs(
        Run(
            "W",
            7300,
            1500,
            MeasureBasis.OUTSIDE_FACES,
            start=Terminal.WALL,
            end=Terminal.JOIN,
            form=Form.LEVEL,
            layout=layout,
        )
    )


@pytest.fixture(scope="module")
def takeoff() -> TakeOff:
    return wall_to_join(Layout.FROM_START)


def test_posts(takeoff: TakeOff) -> None:
    posts = takeoff.runs[0].posts
    assert [post.at for post in posts] == [15, 2415, 4815, 6050, 7285]
    assert [post.kind for post in posts] == ["single", "line", "line", "line", "single"]
    assert lengths(takeoff, "post.channel") == {1500 + 50 + 600: 2 * 4}
    assert takeoff.concrete.holes == 5


def test_rails_and_sheets(takeoff: TakeOff) -> None:
    # 2400 - 10 = 2390 and 1235 - 10 = 1225, where 2 sheets make 1610, 385 too wide: 830 and 445
    assert lengths(takeoff, "rail") == {2390: 4, 1225: 4}
    assert sheets(takeoff) == {(1490, 830): 2 * 3 + 2, (1490, 445): 2}


def test_caps_and_screws(takeoff: TakeOff) -> None:
    assert counted(takeoff, "cap.pair", "cap.square") == [3 + 1, 0]  # the halves of both ends are one cap
    rows = (3 + 1) * 6  # three pairs and the join: 1550 - 200 = 1350 -> 6 screws; none to the wall
    assert counted(takeoff, "screw") == [rows + 4 * 8 + (3 * 2 + 2 * 1)] == [64]


@pytest.mark.parametrize(
    ("layout", "widths"),
    [
        (Layout.FROM_END, [1235, 1235, 2400, 2400]),
        (Layout.EVEN, [1818, 1818, 1817, 1817]),  # 7270 / 4 = 1817, two odd millimetres to the first two
        (Layout.BALANCED, [1235, 2400, 2400, 1235]),  # halves of 70 are too short: one whole pitch less, 2470 shared
        (Layout.WHOLE_RAILS, [2400, 2400, 1235, 1235]),  # rails of 2390 fit a pitch less two pockets of 5 exactly
    ],
)
def test_other_layouts_of_the_same_length(layout: Layout, widths: list[int]) -> None:
    assert [bay.width for bay in wall_to_join(layout).runs[0].bays] == widths
