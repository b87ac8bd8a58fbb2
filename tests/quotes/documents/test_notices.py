"""Only notices that differ just in figures are merged."""

from __future__ import annotations

from typing import Any

import pytest

from quotes.documents.notices import in_one, marked, skeleton


def _notice(where: str, text: str, code: str = "gap.high", level: str = "stop") -> dict[str, Any]:
    return {"code": code, "severity": level, "element": where, "text": text}


@pytest.mark.parametrize(
    ("text", "bare"),
    [
        ("leaf of 1474 mm, at most 1150 mm is allowed", "leaf of # mm, at most # mm is allowed"),
        ("raked at 12.5°, at most 10.5° is allowed", "raked at #°, at most #° is allowed"),
        ("A-P3 and B-12 stand 40 mm apart", "A-P3 and B-12 stand # mm apart"),  # ids keep their numbers
    ],
)
def test_the_skeleton_of_a_sentence_keeps_ids_and_loses_figures(text: str, bare: str) -> None:
    assert skeleton(text) == bare


def test_decimals_are_compared_as_numbers() -> None:
    assert in_one(["raked at 9.5°", "raked at 12.25°", "raked at 10°"]) == "raked at 9.5 to 12.25°"


def test_rows_keep_the_numbers_of_the_drawing_and_the_order_of_the_first() -> None:
    notices = [
        _notice("A-3", "gap up to 240 mm"),
        _notice("A-G1", "the swing meets the ground", "gate.swing", "warning"),
        _notice("A-4", "gap up to 310 mm"),
        _notice("A-7", "gap up to 250 mm"),
        _notice("A-P2", "far beyond", "strength.beyond"),
    ]
    rows = marked({"notices": notices})
    assert [(row.numbers, row.elements, row.text) for row in rows] == [
        ("1, 3, 4", "A-3, A-4, A-7", "gap up to 240 to 310 mm"),
        ("2", "A-G1", "the swing meets the ground"),
    ]


def test_the_same_words_at_another_level_stay_apart() -> None:
    notices = [_notice("A-1", "gap up to 90 mm", level="info"), _notice("A-2", "gap up to 300 mm")]
    assert [row.severity for row in marked({"notices": notices})] == ["info", "stop"]
