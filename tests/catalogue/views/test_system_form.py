"""A fence system's form: what is shown is what is stored, what is typed is read, what is wrong stands at its field."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

from catalogue.views.system_fields import FIELDS, FieldType
from catalogue.views.system_form import FenceSystemForm
from fencing.reading import read_system
from tests.forms import system_entries

STARTER: dict[str, Any] = json.loads(Path("demo/catalogue/corrugated-50.json").read_text())
SCHEMA: dict[str, Any] = json.loads(Path("fencing/schema/system-2.json").read_text())


def _entries(**changes: str) -> dict[str, str]:
    return system_entries(STARTER) | {path.replace("__", "/"): text for path, text in changes.items()}


def _document(texts: dict[str, str], before: dict[str, Any]) -> dict[str, Any]:
    form = FenceSystemForm(before, data=texts)
    assert not form.errors
    return form.document


def _faults(texts: dict[str, str]) -> dict[str, str]:
    return {box.name: box.fault for box in FenceSystemForm(STARTER, data=texts).faulty}


def test_a_form_kept_as_it_was_shown_is_the_same_document_to_the_byte() -> None:
    assert json.dumps(_document(_entries(), STARTER)) == json.dumps(STARTER)


def test_a_form_typed_from_nothing_is_the_same_fence_system() -> None:
    assert read_system(_document(_entries(), {})) == read_system(STARTER)


def _leaves(schema: dict[str, Any], path: str = "") -> list[str]:
    """Paths of everything the schema knows, objects of free keys left out."""
    if ref := schema.get("$ref"):
        name = "strength" if ref.startswith("urn:") else ref.rpartition("/")[2]
        return _leaves(SCHEMA["$defs"].get(name, {}), path)
    if "properties" not in schema:
        return [path]
    return [leaf for key, item in schema["properties"].items() for leaf in _leaves(item, f"{path}/{key}".lstrip("/"))]


def test_every_member_the_schema_knows_has_a_field() -> None:
    roles = SCHEMA["properties"]["components"]["propertyNames"]["enum"]
    families = SCHEMA["properties"]["allowances"]["propertyNames"]["enum"]
    free = {f"components/{role}" for role in roles} | {f"allowances/{role}" for role in families}
    known = (set(_leaves(SCHEMA)) - {"schema", "components", "allowances"}) | free
    assert {field.path for field in FIELDS} == known


def test_lengths_are_read_as_people_write_them() -> None:
    document = _document(
        _entries(pitch_mm="2 300", hole__depth_mm="0,72 m", rails__stock_mm="2250 4600", gates__notch_mm="8x12"),
        STARTER,
    )
    assert (document["pitch_mm"], document["hole"]["depth_mm"]) == (2300, 720)
    assert (document["rails"]["stock_mm"], document["gates"]["notch_mm"]) == ([2250, 4600], [8, 12])


def test_what_is_emptied_is_left_out_and_no_lattice_is_an_empty_list() -> None:
    texts = _entries(hole__end_diameter_mm="", lattice__heights_mm="", lattice__stock_mm="", allowances__screw="")
    texts |= {field.path: "" for field in FIELDS if field.path.startswith("strength/")}
    document = _document(texts, STARTER)
    assert "end_diameter_mm" not in document["hole"]
    assert "stock_mm" not in document["lattice"]
    assert document["lattice"]["heights_mm"] == []
    assert "screw" not in document["allowances"]
    assert "strength" not in document
    read_system(document)


def test_every_fault_stands_at_its_own_field_and_asks_back_for_the_unit() -> None:
    found = _faults(
        _entries(
            pitch_mm="",
            hole__depth_mm="0.7",
            rails__stock_mm="4600, 2250, 4600",
            gates__notch_mm="wide",
            allowances__screw="lots",
        )
    )
    assert set(found) == {"pitch_mm", "hole/depth_mm", "rails/stock_mm", "gates/notch_mm", "allowances/screw"}
    assert found["pitch_mm"] == "This field is required."
    assert "is it in m? 0.7 m is 700 mm" in found["hole/depth_mm"]
    assert "Write each once: [2250, 4600]" in found["rails/stock_mm"]


def test_a_fault_inside_a_list_stands_at_the_list() -> None:
    found = _faults(_entries(posts__square__stock_mm="1590, tall, 2190"))
    assert list(found) == ["posts/square/stock_mm"]
    assert "'tall'" in found["posts/square/stock_mm"] or '"tall"' in found["posts/square/stock_mm"]


def test_a_hole_too_shallow_for_its_posts_is_stated_at_the_depth() -> None:
    found = _faults(_entries(hole__depth_mm="690"))  # 640 embedment and 60 bedding need 700
    assert list(found) == ["hole/depth_mm"]
    assert "700" in found["hole/depth_mm"]


def test_a_number_is_read_with_a_comma_and_stays_exact() -> None:
    assert read_system(_document(_entries(rake_max_deg="11,25"), STARTER)).rake_max == Decimal("11.25")


def test_fields_by_label_show_the_difference_between_two_versions() -> None:
    changed_system = _document(_entries(pitch_mm="2300", rails__kerf_mm="3"), STARTER)
    before, after = FenceSystemForm(STARTER).facts(), FenceSystemForm(changed_system).facts()
    changed = [label for label in before if before[label] != after[label]]
    assert changed == ["Pitch and closing bay: Pitch, mm", "Rails: Saw kerf, mm"]


def test_a_component_that_is_not_in_the_catalogue_stays_chosen_and_says_so() -> None:
    box = FenceSystemForm(STARTER, {"concrete.bag": [("BAG-9", "A bag (BAG-9)")]})["components/concrete.bag"]
    assert box.value() == "CB-25"
    assert ("CB-25", "CB-25: not in the catalogue") in box.choices


def test_every_length_says_its_unit() -> None:
    for field in FIELDS:
        if field.kind in (FieldType.LENGTH, FieldType.LENGTHS, FieldType.PAIR):
            assert field.label.endswith(", mm"), field.path
