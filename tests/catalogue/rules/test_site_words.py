"""A measure may name what the price rules have a rate for, and nothing else."""

from __future__ import annotations

from typing import Any

import pytest

from catalogue.rules.site_words import NO_WORDS, SiteWords, names_words, normalize_words, rule_key
from fencing.reading import read_measure

WORDS = SiteWords(("clay", "rock"), ("asbestos", "timber paling"), frozenset({"asbestos"}))


def document(*runs: dict[str, Any], **defaults: Any) -> dict[str, Any]:
    rows = [{"id": "ABC"[place], "length_mm": 9000, **run} for place, run in enumerate(runs)]
    return {
        "schema": "measure-2", "label": "Rear", "system": "ribbed", "defaults": {"height_mm": 1800, **defaults}, "runs": rows,
    }  # fmt: skip


def test_every_unknown_word_is_refused_at_its_place_with_what_is_known() -> None:
    asked = document({"soil": "hard rock"}, {"existing_fence": {"kind": "fibre cement"}}, {"soil": "ROCK"}, soil="reef")
    assert [(fault.pointer, fault.code) for fault in WORDS.faults(asked)] == [
        ("/defaults/soil", "soil.unknown"),
        ("/runs/0/soil", "soil.unknown"),
        ("/runs/1/existing_fence/kind", "existing_fence.unknown"),
    ]
    texts = [fault.text for fault in WORDS.faults(asked)]
    assert "'reef'" in texts[0]
    assert "clay, rock" in texts[0]
    assert "asbestos, timber paling" in texts[2]


def test_where_nothing_is_known_the_refusal_says_what_to_add() -> None:
    [fault] = NO_WORDS.faults(document({}, soil="clay"))
    assert "dig.clay" in fault.text


@pytest.mark.parametrize("word", ["Timber paling", "TIMBER PALING", "timber  paling"])
def test_case_and_spaces_do_not_matter(word: str) -> None:
    asked = document({"existing_fence": {"kind": word}, "soil": "Rock"})
    assert list(WORDS.faults(asked)) == []
    [run] = normalize_words(read_measure(asked)).runs
    assert run.existing_fence is not None
    assert (run.soil, run.existing_fence.kind) == ("rock", "timber paling")


def test_words_are_only_looked_for_where_a_measure_names_one() -> None:
    assert not names_words(document({}))
    assert not names_words(["no measure"])
    assert names_words(document({}, soil="clay"))
    assert names_words(document({"existing_fence": {"kind": "brick"}}))


@pytest.mark.parametrize(
    "spoilt", [None, 7, {"soil": 7}, {"existing_fence": "brick"}, {"existing_fence": {"kind": " "}}]
)
def test_what_is_no_word_is_left_to_the_reader_of_the_measure(spoilt: object) -> None:
    assert list(WORDS.faults({"runs": [spoilt], "defaults": spoilt})) == []


def test_keys_with_words_of_people_are_stored_in_small_letters() -> None:
    assert [rule_key("labour", "remove.Timber Paling"), rule_key("disposal", "Brick"), rule_key("tax", "GST")] == [
        "remove.timber paling", "brick", "GST",
    ]  # fmt: skip
