"""Scope in sentences, common facts once for all runs; and notices, merged if only their figures differ."""

from __future__ import annotations

from typing import Any

import pytest

from quotes.documents.notices import in_one, marked, skeleton
from quotes.documents.scope_text import ScopeSection, scope
from quotes.quoting.json_values import EngineDocument, to_value
from quotes.quoting.party_content import ShownBuild
from tests.quotes.quoting.contents import some_build

FINISHES = {"post": "f", "rail": "f", "sheet": "s"}
FENCE: dict[str, Any] = {"height_mm": 1810, "lattice_mm": 0, "form": "level", "gates": []}
SHEETS = "Prepainted steel sheet fence, 1810 mm high, level along its whole length."
FINISH = "Finish: post and rail Fogthistle, sheet Saltmarl."


def build(*runs: dict[str, Any]) -> ShownBuild:
    """Runs of two bays between three posts each, named A, B and so on; nothing is dug."""
    named = [
        {"id": "ABC"[place], "length_mm": 4000, **FENCE, **run, "finishes": {**FINISHES, **run.get("finishes", {})}}
        for place, run in enumerate(runs)
    ]
    taken_off = [
        {**{key: run[key] for key in ("id", "form", "length_mm")}, "bays": [{}] * 2, "posts": [{}] * 3, "gates": []}
        for run in named
    ]
    whole = some_build(
        takeoff=EngineDocument(runs=taken_off, concrete={"holes": 0}),
        measure=EngineDocument(runs=named, retrofits=[]),
        licensed_removals={"asbestos": False, "old roofing": True},
        finishes={"f": "Fogthistle", "s": "Saltmarl"},
    )
    return to_value(whole, ShownBuild)


def scope_texts(*runs: dict[str, Any]) -> list[tuple[str, str]]:
    return [(part.heading, " ".join(part.sentences)) for part in scope(build(*runs))]


def test_a_run_that_is_alone_says_everything() -> None:
    assert scope_texts({}) == [
        (
            "Run A, 4.000 m",
            f"{SHEETS} 2 bays between 3 posts. {FINISH}",
        )
    ]


def test_what_all_runs_have_the_same_is_said_once() -> None:
    assert scope_texts({}, {}) == [
        ("All runs", f"{SHEETS} {FINISH}"),
        ("Run A, 4.000 m", "2 bays between 3 posts."),
        ("Run B, 4.000 m", "2 bays between 3 posts."),
    ]


@pytest.mark.parametrize(
    ("other", "common", "first", "second"),
    [
        (
            {"height_mm": 1510},
            f"Prepainted steel sheet fence, level along its whole length. {FINISH}",
            "1810 mm high. 2 bays between 3 posts.",
            "1510 mm high. 2 bays between 3 posts.",
        ),
        (
            {"form": "raked", "finishes": {"sheet": "f"}},
            "Prepainted steel sheet fence, 1810 mm high.",
            f"Level along its whole length. 2 bays between 3 posts. {FINISH}",
            "Following the slope of the ground. 2 bays between 3 posts. Finish: post, rail and sheet Fogthistle.",
        ),
        (
            {"form": "raked", "height_mm": 1510, "lattice_mm": 340},
            FINISH,
            f"{SHEETS} 2 bays between 3 posts.",
            "Prepainted steel sheet fence, 1510 mm high, including 340 mm of lattice at the top, "
            "following the slope of the ground. "
            "2 bays between 3 posts.",
        ),
    ],
)
def test_what_runs_differ_in_each_says_for_itself(other: dict[str, Any], common: str, first: str, second: str) -> None:
    assert scope_texts({}, other) == [("All runs", common), ("Run A, 4.000 m", first), ("Run B, 4.000 m", second)]


def test_runs_that_have_nothing_in_common_have_no_line_of_all() -> None:
    other = {"form": "raked", "height_mm": 1510, "finishes": {"post": "s"}}
    assert [heading for heading, _ in scope_texts({}, other)] == ["Run A, 4.000 m", "Run B, 4.000 m"]


def test_a_taper_and_an_old_fence_stand_with_their_run() -> None:
    taper = {"at": "start", "bays": 2, "height_mm": 910}
    [part] = scope(build({"taper": taper, "existing_fence": {"kind": "timber paling", "length_mm": 3500}}))
    assert isinstance(part, ScopeSection)
    assert part.sentences[2:] == (
        "The first 2 bays run down to 910 mm at the start.",
        "The old fence (timber paling, 3.500 m) is removed and carted away.",
    )
    [part] = scope(build({"taper": {**taper, "bays": 1, "at": "end"}}))
    assert part.sentences[2] == "The last bay runs down to 910 mm at the end."


@pytest.mark.parametrize(
    ("kind", "sentence"),
    [
        ("old roofing", "A licensed contractor removes it and disposes of it; the price includes this."),
        ("asbestos", "A licensed contractor removes it before our work begins; the price does not include this."),
    ],
)
def test_a_hazardous_old_fence_is_no_work_of_the_crew(kind: str, sentence: str) -> None:
    [part] = scope(build({"existing_fence": {"kind": kind, "length_mm": 3500}}))
    assert part.sentences[-1] == f"The old fence ({kind}, 3.500 m) is hazardous. {sentence}"


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
