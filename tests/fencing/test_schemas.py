"""The published schemas and the readers agree: what a schema refuses a reader refuses, what we write a schema accepts."""

from __future__ import annotations

import copy
import importlib.util
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from fencing.documents.takeoff_document import write_takeoff
from fencing.model.faults import InvalidDocument
from fencing.quantities.take_off import take_off
from fencing.reading import read_json, read_measure, read_system
from tests.fencing.strategies import random_jobs
from tests.fencing.test_refusals import mutated, places

ROOT = Path(__file__).parents[2]
SCHEMAS = ROOT / "fencing/schema"
MEASURES = [ROOT / "tests/data/contract/measure.json", *sorted((ROOT / "demo/measures").glob("*.json"))]
SYSTEMS = [ROOT / "tests/data/contract/system.json", ROOT / "demo/catalogue/corrugated-50.json"]
READERS: dict[str, Callable[[object], object]] = {"measure-2": read_measure, "system-2": read_system}


def schema(name: str) -> dict[str, Any]:
    document: dict[str, Any] = json.loads((SCHEMAS / f"{name}.json").read_text())
    return document


VALIDATORS = {name: Draft202012Validator(schema(name)) for name in ("measure-2", "system-2", "takeoff-2")}
FULL_MEASURE: dict[str, Any] = json.loads(MEASURES[0].read_text())
FULL_MEASURE["runs"].append(
    {
        "id": "B",
        "length_mm": 9600,
        "basis": "outside_faces",
        "turn_deg": "-45.5",
        "start": "corner",
        "end": "wall",
        "book": [
            {"backsight_m": 1.452},
            {"at_mm": 0, "intermediate_m": 1.21},
            {"at_mm": 9600, "foresight_m": 0.933, "level_mm": 519},
        ],
        "soil": "loam",
        "finishes": {"post": "inkstone"},
    }
)
FULL_SYSTEM: dict[str, Any] = json.loads(SYSTEMS[0].read_text()) | {
    "bag_yield_m3": "0.0105",
    "strength": {"yield_mpa": 350, "capacity_factor": "0.9", "square": {"side_mm": 60, "thickness_mm": 2}},
}


SPEC = importlib.util.spec_from_file_location("write_schemas", ROOT / ".ci/write_schemas.py")
assert SPEC is not None
assert SPEC.loader is not None
write_schemas = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(write_schemas)


@pytest.mark.parametrize("name", write_schemas.ENUMS)
def test_a_schema_has_the_codes_of_the_tables(name: str) -> None:
    assert (SCHEMAS / f"{name}.json").read_text() == write_schemas.write_schema(name), "run make schemas"


def accepted(name: str, document: object) -> bool:
    try:
        READERS[name](read_json(json.dumps(document)))
    except InvalidDocument:
        return False
    return True


@pytest.mark.parametrize("path", sorted(SCHEMAS.glob("*.json")), ids=lambda path: path.stem)
def test_a_schema_is_one_of_2020_12(path: Path) -> None:
    document = json.loads(path.read_text())
    assert document["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(document)


@pytest.mark.parametrize("name", ["measure-2", "system-2"])
def test_documents_that_are_taken_off_are_what_their_schema_says(name: str) -> None:
    paths = MEASURES if name == "measure-2" else SYSTEMS
    documents = [json.loads(path.read_text()) for path in paths]
    documents.append(FULL_MEASURE if name == "measure-2" else FULL_SYSTEM)
    for document in documents:
        assert list(VALIDATORS[name].iter_errors(document)) == []
        assert accepted(name, document)


@pytest.mark.parametrize("name", ["measure-2", "system-2"])
@settings(max_examples=300, deadline=None)
@given(st.data())
def test_what_a_schema_refuses_its_reader_refuses(name: str, data: st.DataObject) -> None:
    document = mutated(FULL_MEASURE if name == "measure-2" else FULL_SYSTEM, data)
    if not VALIDATORS[name].is_valid(document):
        assert not accepted(name, document)


def with_a_change(document: Any, data: st.DataObject) -> Any:
    """The document with a few of its whole numbers changed, near or far."""
    changed = copy.deepcopy(document)
    numbers = [(holder, key) for holder, key in places(changed) if type(holder[key]) is int]
    for _ in range(data.draw(st.integers(0, 4))):
        holder, key = data.draw(st.sampled_from(numbers))
        old = holder[key]
        near = st.integers(old - 3, old + 3)
        holder[key] = data.draw(st.one_of(near, st.sampled_from([old // 3, old * 3, 0]), st.integers(0, 3000)))
    return changed


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_whatever_sizes_are_accepted_make_pieces_that_have_a_size(data: st.DataObject) -> None:
    try:
        system = read_system(with_a_change(FULL_SYSTEM, data))
        taken = take_off(read_measure(with_a_change(FULL_MEASURE, data), system), system)
    except InvalidDocument:
        return
    fault = next(VALIDATORS["takeoff-2"].iter_errors(write_takeoff(taken)), None)
    assert fault is None, f"{fault.json_path}: {fault.message}"


SPOILT: dict[str, Callable[[dict[str, Any]], object]] = {
    "an unknown key": lambda run: run.update(lenght_mm=1),
    "text for a length": lambda run: run.update(length_mm="18240"),
    "over 20 km": lambda run: run.update(length_mm=20_000_001),
    "half a millimetre": lambda run: run.update(length_mm=0.5),
    "no id": lambda run: run.pop("id"),
    "a name with a space": lambda run: run.update(id="rear side"),
    "an unknown layout": lambda run: run.update(layout="random"),
    "a level without its chainage": lambda run: run["levels"].append([1]),
    "levels and a book": lambda run: run.update(book=[{"backsight_m": 1}, {"foresight_m": 1}]),
    "a taper without its height": lambda run: run["taper"].pop("height_mm"),
    "a gate that opens up": lambda run: run["gates"][0].update(swing="up"),
    "hinges twice": lambda run: run["gates"][0].update(hardware=["hinges", "hinges"]),
    "a share in words": lambda run: run["shares"].update(owner="half"),
    "a blank finish": lambda run: run.update(finishes={"post": " "}),
    "a turn of two rounds": lambda run: run.update(turn_deg=720),
}


@pytest.mark.parametrize("case", SPOILT)
def test_a_spoilt_run_is_refused_by_schema_and_reader(case: str) -> None:
    document = copy.deepcopy(FULL_MEASURE)
    SPOILT[case](document["runs"][0])
    assert not VALIDATORS["measure-2"].is_valid(document)
    assert not accepted("measure-2", document)


@pytest.mark.parametrize("key", [key for key in FULL_SYSTEM if key not in ("bag_yield_m3", "strength")])
def test_a_system_has_no_hidden_defaults(key: str) -> None:
    document = {name: value for name, value in FULL_SYSTEM.items() if name != key}
    assert not VALIDATORS["system-2"].is_valid(document)
    assert not accepted("system-2", document)


def test_the_schemas_of_a_screening_stand_whole_in_those_that_ask_for_it() -> None:
    for name, part, member in (
        ("measure-2", "strength-2", "strength"),
        ("system-2", "steel-1", "strength"),
        ("takeoff-2", "screening-2", "screening"),
    ):
        embedded = schema(name)["$defs"][member]
        alone = schema(part)
        del alone["$schema"], embedded["$id"]
        assert embedded == alone


@pytest.mark.parametrize("seed", range(4))
def test_the_take_offs_of_random_jobs_are_what_their_schema_says(seed: int) -> None:
    for job in random_jobs(50, seed):
        written = write_takeoff(take_off(job.measure, job.system))
        fault = next(VALIDATORS["takeoff-2"].iter_errors(written), None)
        assert fault is None, f"{fault.json_path}: {fault.message}"


def test_the_take_off_of_the_contract_s_example_is_what_its_schema_says() -> None:
    system = read_system(json.loads(SYSTEMS[0].read_text()))
    written = write_takeoff(take_off(read_measure(FULL_MEASURE, system), system))
    assert list(VALIDATORS["takeoff-2"].iter_errors(written)) == []


ASKED: dict[str, dict[str, Any]] = {
    "all over, by steel and formula": {"pressure_kpa": "0.60", "soil_class": "clay", "undrained_kpa": 50},
    "both methods of the ground": {"pressure_kpa": "0.50", "soil_class": "gravel", "bearing_doubled": True},
    "within": {"pressure_kpa": "0.05", "soil_class": "rock", "bearing_doubled": True},
    "no presumptive value": {"pressure_kpa": "0.60", "soil_class": "fill"},
    "old footings measured": {"pressure_kpa": "0.20", "old_embedment_mm": 500, "old_diameter_mm": 250},
}


@pytest.mark.parametrize("case", ASKED)
def test_a_screening_is_what_its_schema_says(case: str) -> None:
    system = read_system(json.loads(SYSTEMS[1].read_text()))
    ridge: dict[str, Any] = json.loads((ROOT / "demo/measures/7-screened-ridge.json").read_text())
    ridge["strength"] = {"method": "given_pressure", **ASKED[case]}
    ridge["retrofits"] = [
        {"id": "R1", "bays_mm": [2400, 2310], "lattice_mm": 340, "existing_height_mm": 1500},
        {"id": "R2", "bays_mm": [2400], "lattice_mm": 340},
    ]
    written = write_takeoff(take_off(read_measure(ridge, system), system))
    assert list(VALIDATORS["takeoff-2"].iter_errors(written)) == []
    assert list(Draft202012Validator(schema("screening-2")).iter_errors(written["strength"])) == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: data.update(safe=True),
        lambda data: data.update(outcome="safe"),
        lambda data: data["posts"][0].update(moment_knm=1.25),
        lambda data: data["posts"][0].pop("second_method_mm"),
        lambda data: data["suggested_changes"][0].update(cost=12),
        lambda data: data["suggested_changes"][0].update(posts=[]),
        lambda data: data.pop("disclaimer"),
    ],
)
def test_a_screening_that_says_something_else_is_refused(spoil: Callable[[dict[str, Any]], object]) -> None:
    system = read_system(json.loads(SYSTEMS[1].read_text()))
    ridge = json.loads((ROOT / "demo/measures/7-screened-ridge.json").read_text())
    ridge["strength"] |= {"pressure_kpa": "0.50"}
    written = write_takeoff(take_off(read_measure(ridge, system), system))["strength"]
    spoil(written)
    assert not Draft202012Validator(schema("screening-2")).is_valid(written)
