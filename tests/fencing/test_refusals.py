"""Whatever is done to a valid document, the answer is a value or one refusal."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fencing.model.faults import InvalidDocument
from fencing.quantities.take_off import take_off
from fencing.reading import read_json, read_measure, read_system

SYSTEM = read_json((Path(__file__).parents[2] / "demo/catalogue/corrugated-50.json").read_bytes())
MEASURE: dict[str, Any] = {
    "schema": "measure-2",
    "label": "Rear and side",
    "system": SYSTEM["code"],
    "defaults": {"height_mm": 1800, "finishes": {"post": "moss"}},
    "runs": [
        {
            "id": "A",
            "length_mm": 18240,
            "basis": "centres",
            "levels": [[0, 0], [6000, -120], [18240, -540]],
            "form": "stepped",
            "taper": {"at": "start", "bays": 1, "height_mm": 900},
            "gates": [{"id": "G", "from_mm": 8000, "opening_mm": 1000}],
            "shares": {"owner": "1/2", "neighbour": "50%"},
        }
    ],
    "retrofits": [{"id": "R", "bays_mm": [2200, 2100], "lattice_mm": SYSTEM["lattice"]["heights_mm"][0]}],
    "strength": {"method": "given_pressure", "pressure_kpa": "0.60"},
}
WILD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.sampled_from([0, -1, 1, 10**14, 20_000_001]),
    st.floats(),
    st.text(max_size=8),
    st.lists(st.integers(), max_size=3),
    st.dictionaries(st.text(max_size=5), st.integers(), max_size=2),
)


def places(value: Any) -> list[tuple[Any, Any]]:
    """Every (container, key) of a document."""
    keys = list(value) if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else []
    return [place for key in keys for place in [(value, key), *places(value[key])]]


def mutated(document: Any, data: st.DataObject) -> Any:
    changed = copy.deepcopy(document)
    for _ in range(data.draw(st.integers(1, 3))):
        container, key = data.draw(st.sampled_from(places(changed)))
        if data.draw(st.booleans()):
            container[key] = data.draw(WILD)
        elif isinstance(container, dict) and data.draw(st.booleans()):
            container[f"{key}x"] = container.pop(key)
        else:
            del container[key]
        if not places(changed):
            break
    return changed


def _codes(document: Any) -> dict[str, str]:
    with pytest.raises(InvalidDocument) as refused:
        read_measure(document, read_system(SYSTEM))
    return {fault.pointer: fault.code for fault in refused.value.faults}


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_a_mutated_measure_gives_a_take_off_or_one_refusal(data: st.DataObject) -> None:
    system = read_system(SYSTEM)
    try:
        taken = take_off(read_measure(mutated(MEASURE, data), system), system)
    except InvalidDocument as refused:
        answer = [fault.text for fault in refused.faults]
    else:
        answer = [run.id for run in taken.runs] + [retrofit.id for retrofit in taken.retrofits]
    assert answer
    assert all(answer)


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_a_mutated_system_is_read_or_refused(data: st.DataObject) -> None:
    try:
        system = read_system(mutated(SYSTEM, data))
    except InvalidDocument as refused:
        answer = [fault.text for fault in refused.faults]
    else:
        answer = [system.label]
    assert all(answer)


def test_every_fault_of_a_document_is_stated_at_once() -> None:
    bad = copy.deepcopy(MEASURE)
    bad["runs"][0] |= {"lenght_mm": 1, "levels": [[0, 0], [0, 5]], "shares": {"owner": "1/3"}, "height_mm": "1800"}
    assert _codes(bad) == {
        "/runs/0/lenght_mm": "key.unknown",
        "/runs/0/levels/1/0": "levels.order",
        "/runs/0/shares": "shares.sum",
        "/runs/0/height_mm": "type",
    }


def test_a_height_without_a_sheet_and_overlapping_gates_are_refused_by_place() -> None:
    bad = copy.deepcopy(MEASURE)
    bad["runs"][0]["height_mm"] = 5000  # the longest sheet is far shorter
    bad["runs"][0]["gates"].append({"id": "H", "from_mm": 8500, "opening_mm": 1000})  # G is open until 9000
    bad["runs"][0]["gates"].append({"id": "I", "from_mm": 18000, "opening_mm": 1000})  # ends beyond 18240
    codes = _codes(bad)
    assert codes["/runs/0/height_mm"] == "height.sheet"
    assert codes["/runs/0/gates/1/from_mm"] == "gate.overlap"
    assert codes["/runs/0/gates/2/from_mm"] == "gate.outside"


def test_a_pitch_of_0_is_refused() -> None:
    with pytest.raises(InvalidDocument) as refused:
        read_system(SYSTEM | {"pitch_mm": 0})
    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [("/pitch_mm", "range")]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ('{"a": NaN}', "json.number"),
        ('{"a": 1e400}', "json.number"),
        ('{"a": 1, "a": 2}', "json.twice"),
        ('{"a": "\\ud800"}', "json.character"),
        ("[" * 100_000, "json.depth"),
        ("[" * 20 + "]" * 20, "json.depth"),
        (b"\xff\xfe{\x00}\x00", "json.encoding"),
        (b"\xef\xbb\xbf{}", "json.encoding"),
        ("", "json.syntax"),
        ('{"a": 1,}', "json.syntax"),
        (" " * 2_000_001, "json.size"),
    ],
)
def test_json_that_programs_read_differently_is_refused(text: str | bytes, code: str) -> None:
    with pytest.raises(InvalidDocument) as refused:
        read_json(text)
    assert refused.value.faults[0].code == code


def test_an_error_names_the_schema_that_a_document_lacks() -> None:
    with pytest.raises(InvalidDocument) as refused:
        read_measure({"label": "Rear", "system": "ribbed", "runs": [{"id": "A", "length_mm": 9000, "height_mm": 1500}]})
    assert [(fault.pointer, fault.text) for fault in refused.value.faults] == [
        ("/schema", "schema is missing; write measure-2")
    ]
