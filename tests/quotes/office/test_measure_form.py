"""Typed fields become a document whose pointers are their names, and come back as the same fields."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.rules.site_words import SiteWords
from fencing.model.faults import Fault
from quotes.office.measure_edits import apply_edit, next_id
from quotes.office.measure_fields import sheet_fields
from quotes.office.measure_form import read_bays, read_fields
from quotes.office.measure_views import placed
from quotes.office.run_fields import FormChoices, ground_of
from shared.common.typed_entries import LEVEL, metres, read_length

OFFERED = FormChoices([("corrugated-50", "Corrugated")], [("saltmarl", "Saltmarl")], [340])
BEFORE: dict[str, Any] = {"schema": "measure-2", "label": "Back", "system": "corrugated-50", "runs": [{"id": "A"}]}


def _posted(document: dict[str, Any]) -> dict[str, str]:
    return {field.name: field.value for field in sheet_fields(document, OFFERED).all()}


def _read(**typed: str) -> dict[str, Any]:
    return read_fields({**_posted(BEFORE), **{name.replace("__", "/"): text for name, text in typed.items()}}, BEFORE)


@given(st.integers(-20_000_000, 20_000_000))
def test_a_length_said_back_is_read_as_itself(length: int) -> None:
    assert read_length(metres(length), LEVEL) == length
    assert read_length(metres(length).replace(".", ",") + " m") == length
    assert read_length(f"{length} mm") == length


@given(st.text(max_size=30))
def test_no_text_makes_the_reader_fail_or_loses_what_was_typed(text: str) -> None:
    read = read_length(text)
    assert isinstance(read, int) or read == text


def test_what_can_not_be_read_stays_in_the_document_as_it_was_typed() -> None:
    document = _read(runs__0__length_mm="eighteen", runs__0__shares="as agreed")
    assert document["runs"][0]["length_mm"] == "eighteen"
    assert document["runs"][0]["shares"] == "as agreed"
    assert _posted(document)["runs/0/length_mm"] == "eighteen"


def test_a_plain_fall_is_two_stations_and_comes_back_as_a_plain_fall() -> None:
    document = _read(runs__0__length_mm="18.24", runs__0__ground="fall", runs__0__levels__1__1="-0.54")
    assert document["runs"][0]["levels"] == [[0, 0], [18240, -540]]
    assert ground_of(document["runs"][0]) == "fall"
    again = read_fields(_posted(document), document)
    assert again == document


def test_a_fall_opened_into_stations_has_room_for_one_between() -> None:
    fall = _read(runs__0__length_mm="10", runs__0__ground="fall", runs__0__levels__1__1="-500")
    opened = read_fields({**_posted(fall), "runs/0/ground": "stations"}, fall)
    assert opened["runs"][0]["levels"] == [[0, 0], [None, None], [10_000, -500]]
    typed = {**_posted(opened), "runs/0/levels/1/0": "4", "runs/0/levels/1/1": "-0.1"}
    assert read_fields(typed, opened)["runs"][0]["levels"] == [[0, 0], [4_000, -100], [10_000, -500]]


def test_a_levelling_book_is_read_in_metres_of_staff() -> None:
    document = _read(runs__0__ground="book", runs__0__book__0__backsight_m="1,452", runs__0__book__1__at_mm="6")
    assert [dict(row) for row in document["runs"][0]["book"]] == [{"backsight_m": _exact("1.452")}, {"at_mm": 6000}]


def _exact(text: str) -> Decimal:
    return Decimal(text)


def test_what_the_sheet_has_no_field_for_is_taken_over() -> None:
    before = {**BEFORE, "strength": {"method": "given_pressure"}}
    before["runs"] = [{"id": "A", "gates": [{"id": "side gate", "from_mm": 5000, "hardware": ["latch"]}]}]
    document = read_fields(_posted(before), before)
    assert document["strength"] == {"method": "given_pressure"}
    gate = document["runs"][0]["gates"][0]
    assert (gate["id"], gate["hardware"], gate["from_mm"]) == ("side gate", ["latch"], 5000)


def test_fields_that_are_not_of_the_sheet_are_passed_over() -> None:
    document = read_fields(
        {**_posted(BEFORE), "__proto__": "x", "runs/0/../../label": "y", "csrfmiddlewaretoken": "z"}, BEFORE
    )
    assert set(document) == {"schema", "label", "system", "defaults", "runs"}


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("owner 1/2; neighbour 1/2", {"owner": "1/2", "neighbour": "1/2"}),
        ("owner 1", {"owner": "1"}),
        ("owner 1/2; owner 1/2", "owner 1/2; owner 1/2"),
        ("owner 60%, neighbour 40 %", {"owner": "60%", "neighbour": "40%"}),
        ("Smith and Jones half; council 1/2", {"Smith and Jones": "1/2", "council": "1/2"}),
        ("60/40", {"owner": "60%", "neighbour": "40%"}),
        ("half each", {"owner": "1/2", "neighbour": "1/2"}),
    ],
)
def test_shares_are_a_party_and_a_fraction_or_a_split(typed: str, meant: object) -> None:
    assert _read(runs__0__shares=typed)["runs"][0]["shares"] == meant


def test_feet_and_inches_are_read_and_shown_in_metres() -> None:
    document = _read(runs__0__length_mm="60'", runs__0__height_mm="6' 3 1/2\"", defaults__height_mm="5ft")
    assert (document["runs"][0]["length_mm"], document["runs"][0]["height_mm"]) == (18_288, 1_918)
    assert document["defaults"]["height_mm"] == 1_524
    (run,) = sheet_fields(document, OFFERED).runs
    assert run.main[1].echo == "18.288 m"


def test_bay_widths_may_repeat() -> None:
    assert read_bays("2 x 2.4 2310") == [2400, 2400, 2310]


def test_the_next_run_goes_round_the_corner() -> None:
    document: dict[str, Any] = {"runs": [{"id": "A"}]}
    assert apply_edit(document, "add-run:corner")
    assert document["runs"] == [
        {"id": "A", "end": "corner"},
        {"id": "B", "start": "corner", "turn_deg": 90},
    ]
    apply_edit(document, "drop-run:1")
    assert document["runs"] == [{"id": "A"}]


@pytest.mark.parametrize(
    "action", ["drop-run:9", "add-gate:x", "drop-gate:0/5", "build:0", "drop-retrofit:0", "gate-in:Z-1"]
)
def test_a_button_for_a_missing_element_changes_nothing(action: str) -> None:
    document: dict[str, Any] = {"runs": [{"id": "A"}]}
    assert apply_edit(document, action)
    assert document == {"runs": [{"id": "A"}]}


def test_an_unknown_button_is_no_act() -> None:
    assert not apply_edit({}, "burn:everything")


def test_ids_go_on_after_z() -> None:
    assert next_id({chr(code) for code in range(ord("A"), ord("Z") + 1)}) == "A2"


def test_what_has_no_field_survives_saving() -> None:
    before = {
        "defaults": {"soil": "clay", "height_mm": 1810, "finishes": {"post": "fogthistle", "cap": "saltmarl"}},
        "runs": [
            {"id": "A", "length_mm": 9000, "soil": "rock", "finishes": {"rail": "saltmarl", "screw": "emberloam"}}
        ],
    }
    posted = {
        "defaults/height_mm": "1510", "defaults/finishes/post": "emberloam",
        "runs/0/id": "A", "runs/0/length_mm": "9.1", "runs/0/finishes/rail": "",
    }  # fmt: skip
    document = read_fields(posted, before)
    assert document["defaults"] == {
        "soil": "clay",
        "height_mm": 1510,
        "finishes": {"post": "emberloam", "cap": "saltmarl"},
    }
    assert document["runs"] == [{"id": "A", "length_mm": 9100, "soil": "rock", "finishes": {"screw": "emberloam"}}]


@pytest.mark.parametrize("runs", [1, 60])
def test_an_error_has_the_labels_of_the_page_if_its_field_is_shown_or_not(runs: int) -> None:
    fields = sheet_fields({**BEFORE, "runs": [{"id": f"R{place}"} for place in range(runs)]}, OFFERED)
    ((_, _, text),) = placed(fields, (Fault("/runs/0/height_mm", "missing", "height_mm is missing"),))
    assert text == "Height is missing"


WORDS = SiteWords(("clay", "rock"), ("asbestos", "brick"), frozenset({"asbestos"}))


def test_soil_and_old_fence_are_chosen_from_the_words_of_the_business() -> None:
    document = {
        **BEFORE,
        "defaults": {"soil": "Clay"},
        "runs": [{"id": "A", "soil": "reef", "existing_fence": {"kind": "BRICK"}}],
    }
    fields = {field.name: field for field in sheet_fields(document, replace(OFFERED, words=WORDS)).all()}
    soil, own, old = (fields[name] for name in ("defaults/soil", "runs/0/soil", "runs/0/existing_fence/kind"))
    assert (soil.kind, soil.value, [value for value, _ in soil.choices]) == ("select", "clay", ["", "clay", "rock"])
    assert (own.value, own.choices[-1]) == ("reef", ("reef", "reef"))  # it stays to be seen, and is refused
    assert (old.value, list(old.choices)) == (
        "brick", [("", "none"), ("asbestos", "asbestos (hazardous)"), ("brick", "brick")],
    )  # fmt: skip
