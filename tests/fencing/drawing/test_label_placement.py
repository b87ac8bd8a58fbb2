"""Placing labels: order kept, nothing closer than asked, moved no more than need be."""

from __future__ import annotations

from itertools import pairwise
from math import cos, radians, sin
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from hypothesis import given
from hypothesis import strategies as st

from fencing.drawing import svg
from fencing.drawing.label_placement import Board, LabelBox, divide_into_lanes, overlap, spread
from tests.fencing.drawing import reading

ROWS = st.lists(st.tuples(st.floats(0, 200), st.floats(1, 30)), min_size=1, max_size=30)
FONT = Path(__file__).parents[3] / "shared" / "pages" / "static" / "fonts" / "B612-Regular.otf"


@given(ROWS)
def test_spread_labels_keep_their_order_and_their_distance(row: list[tuple[float, float]]) -> None:
    centres = sorted(centre for centre, _ in row)
    widths = [width for _, width in row]
    placed = spread(centres, widths, -500, 700, 1)
    assert placed is not None
    for index in range(1, len(placed)):
        assert placed[index] - placed[index - 1] >= (widths[index] + widths[index - 1]) / 2 + 1 - 1e-6


@given(ROWS)
def test_labels_with_room_stay_where_they_are(row: list[tuple[float, float]]) -> None:
    widths = [width for _, width in row]
    centres = [40.0 * number for number in range(len(row))]
    assert spread(centres, widths, -500, 40 * len(row) + 500, 1) == pytest.approx(centres)


def test_two_labels_on_one_place_move_equally_apart() -> None:
    assert spread([50, 50], [10, 10], 0, 100, 2) == [44, 56]


def test_labels_that_cannot_fit_are_stated() -> None:
    assert spread([5, 5], [10, 10], 0, 19, 0) is None


@given(ROWS)
def test_no_two_labels_of_one_lane_touch(row: list[tuple[float, float]]) -> None:
    centres = sorted(centre for centre, _ in row)
    widths = [width for _, width in row]
    placed = divide_into_lanes(centres, widths, 0, 200, 1, 6)
    for lane in {lane for lane, _ in placed}:
        here = sorted(
            (x - width / 2, x + width / 2) for (own, x), width in zip(placed, widths, strict=True) if own == lane
        )
        assert all(left >= -1e-6 and right <= 200 + 1e-6 for left, right in here)
        assert all(after[0] >= before[1] + 1 - 1e-6 for before, after in pairwise(here))


def test_a_label_wider_than_its_drawing_is_refused() -> None:
    with pytest.raises(ValueError, match="wider"):
        divide_into_lanes([5], [30], 0, 20, 1, 6)


BOXES = st.builds(
    LabelBox, st.floats(-20, 20), st.floats(-20, 20), st.floats(1, 20), st.floats(1, 20), st.floats(-180, 180)
)


@given(BOXES, BOXES)
def test_overlap_is_mutual_and_found_wherever_a_point_is_shared(one: LabelBox, other: LabelBox) -> None:
    assert overlap(one, other) == overlap(other, one)
    if contains(other, one.x, one.y) or contains(one, other.x, other.y):
        assert overlap(one, other)


def contains(box: LabelBox, x: float, y: float) -> bool:
    angle = radians(box.turn)
    along = (x - box.x) * cos(angle) + (y - box.y) * sin(angle)
    across = -(x - box.x) * sin(angle) + (y - box.y) * cos(angle)
    return abs(along) < box.along / 2 - 1e-3 and abs(across) < box.across / 2 - 1e-3


@given(st.lists(BOXES, max_size=12), BOXES)
def test_a_board_knows_what_plain_comparison_knows(taken: list[LabelBox], wanted: LabelBox) -> None:
    board = Board(-100, -100, 100, 100)
    for box in taken:
        board.add(box)
    assert board.is_free(wanted) == (not any(overlap(wanted, box) for box in taken))


def test_letters_are_as_wide_as_the_font_says() -> None:
    font = TTFont(FONT)
    cmap, widths, em = font.getBestCmap(), font["hmtx"], font["head"].unitsPerEm
    for letter in [chr(code) for code in range(32, 127)] + list(
        "\u2212\u00b7\u00d7\u00b0\u2013\u2026\u00c4\u00e9\u00f1\u00fc"
    ):
        assert svg.measure_width(letter, 1.0) == pytest.approx(widths[cmap[ord(letter)]][0] / em, abs=0.004), letter


def test_the_reader_of_these_tests_sees_what_covers_and_what_leaves() -> None:
    def text(x: float, y: float, more: str = "") -> str:
        return f'<text x="{x}" y="{y}" font-size="3" text-anchor="middle"{more}>2400</text>'

    def sheet(body: str) -> str:
        return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 50 20">{body}</svg>'

    assert reading.clashes(sheet(text(20, 10) + text(25, 11))) == [("2400", "2400")]
    assert reading.clashes(sheet(text(20, 10) + text(30, 11))) == []
    assert reading.clashes(sheet(text(20, 10) + f'<g transform="translate(-9 0)">{text(30, 11)}</g>')) != []
    assert reading.clashes(sheet(text(20, 10) + text(27, 10, ' transform="rotate(-90 27 10)"'))) == []
    assert reading.outside(sheet(text(2, 10))) != []
    assert reading.outside(sheet('<path d="M1 1h60"/>')) != []
