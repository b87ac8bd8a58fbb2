"""Tests of the screening request, and of the question about a wrong unit."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path

import jsonschema
import pytest

import fencing
from fencing.model.faults import FaultList, InvalidDocument
from fencing.reading.object_reader import ObjectReader
from fencing.reading.strength import BOUNDS, read_steel, read_strength

GIVEN = {"method": "given_pressure", "pressure_kpa": "0.60", "soil_class": "clay"}
SCHEMAS = Path(fencing.__file__).parent / "schema"


def codes(document: object) -> list[tuple[str, str]]:
    with pytest.raises(InvalidDocument) as refusal:
        read_strength(document, "/strength")
    return [(fault.pointer, fault.code) for fault in refusal.value.faults]


def question(**changes: object) -> str:
    with pytest.raises(InvalidDocument) as refusal:
        read_strength({**GIVEN, **changes})
    return refusal.value.faults[0].text


def test_the_contract_s_example_is_read() -> None:
    request = read_strength(GIVEN)
    assert (request.method, dict(request.inputs)) == ("given_pressure", {"pressure_kpa": "0.60", "soil_class": "clay"})


@pytest.mark.parametrize(
    "document",
    [
        GIVEN,
        {
            "method": "as-nzs-1170.2",
            "wind_region": "A",
            "return_period_years": 500,
            "terrain_category": "3",
            "shielding_multiplier": "0.85",
        },
        {"method": "as-nzs-1170.2", "speed_m_s": "37.35", "friction_deg": 30, "unit_weight_kn_m3": 18},
        {
            "method": "en-1991-1-4",
            "speed_m_s": 24,
            "terrain_category": "II",
            "soil_class": "sand",
            "bearing_doubled": True,
        },
        {
            "method": "asce-7",
            "speed_m_s": 51,
            "exposure_category": "C",
            "old_embedment_mm": 600,
            "old_diameter_mm": 250,
        },
    ],
)
def test_every_method_is_read_and_agrees_with_its_schema(document: dict[str, object]) -> None:
    jsonschema.validate(document, json.loads((SCHEMAS / "strength-2.json").read_text()))
    assert read_strength(document).method == document["method"]


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("pressure_kpa", 600, "is it in Pa? 600 Pa is 0.6 kPa"),
        ("pressure_kpa", 12, "is it in psf? 12 psf is 0.57 kPa"),
        ("undrained_kpa", 50000, "is it in Pa? 50000 Pa is 50 kPa"),
    ],
)
def test_a_pressure_in_another_unit_is_asked_back(key: str, value: int, words: str) -> None:
    assert words in question(**{key: value})


@pytest.mark.parametrize(
    ("value", "words"), [(60, "is it in cm? 60 cm is 600 mm"), ("0.6", "is it in m? 0.6 m is 600 mm")]
)
def test_an_old_footing_in_centimetres_or_metres_is_asked_back(value: object, words: str) -> None:
    assert words in question(old_embedment_mm=value, old_diameter_mm=250)


def test_a_wind_speed_in_kilometres_an_hour_is_asked_back() -> None:
    with pytest.raises(InvalidDocument, match=r"is it in km/h or mph\? 150 km/h is 41.67 m/s"):
        read_strength({"method": "asce-7", "speed_m_s": 150, "exposure_category": "C"})


def test_a_number_no_unit_explains_is_only_out_of_reach() -> None:
    assert codes({**GIVEN, "pressure_kpa": 0}) == [("/strength/pressure_kpa", "range")]


def test_every_fault_is_named_at_once() -> None:
    document = {
        "method": "asce-7",
        "exposure_category": "E",
        "soil_class": "cley",
        "pressure": 3,
        "friction_deg": 30,
        "bearing_doubled": 1,
    }
    assert codes(document) == [
        ("/strength/pressure", "key.unknown"),
        ("/strength/speed_m_s", "missing"),
        ("/strength/exposure_category", "word"),
        ("/strength/soil_class", "word"),
        ("/strength/bearing_doubled", "type"),
        ("/strength/friction_deg", "soil.sand"),
    ]


@pytest.mark.parametrize(
    ("document", "pointer", "code"),
    [
        ({"method": "guess"}, "/strength/method", "word"),
        (
            {"method": "as-nzs-1170.2", "wind_region": "A", "return_period_years": 500},
            "/strength/terrain_category",
            "missing",
        ),
        (
            {**GIVEN, "undrained_kpa": 50, "friction_deg": 30, "unit_weight_kn_m3": 18},
            "/strength/friction_deg",
            "soil.both",
        ),
        ({**GIVEN, "old_diameter_mm": 250}, "/strength/old_embedment_mm", "old.both"),
        ({"method": "given_pressure"}, "/strength/pressure_kpa", "missing"),
        ({**GIVEN, "pressure_kpa": "much"}, "/strength/pressure_kpa", "type"),
        ("much", "/strength", "type"),
    ],
)
def test_what_is_wrong_is_refused_with_its_place(document: object, pointer: str, code: str) -> None:
    assert (pointer, code) in codes(document)


STEEL = {
    "yield_mpa": 350,
    "capacity_factor": "0.9",
    "channel": {"depth_mm": 60, "flange_mm": 34, "thickness_mm": "1.2", "lip_mm": 8},
    "square": {"side_mm": 60, "thickness_mm": 2},
}


def steel_faults(document: object) -> list[str]:
    faults = FaultList()
    read_steel(ObjectReader({"strength": document}, "", faults, ("strength",)))
    return [f"{fault.pointer} {fault.code}" for fault in faults.found]


def test_the_steel_of_a_system_is_read_and_agrees_with_its_schema() -> None:
    jsonschema.validate(STEEL, json.loads((SCHEMAS / "steel-1.json").read_text()))
    faults = FaultList()
    steel = read_steel(ObjectReader({"strength": STEEL}, "", faults, ("strength",)))
    assert faults.found == []
    assert steel is not None
    assert steel.channel is not None
    assert (steel.yield_mpa, steel.channel.lip) == (Decimal(350), Decimal(8))


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"yield_mpa": 350_000}, "/strength/yield_mpa unit"),
        ({"square": {"side_mm": 6, "thickness_mm": 2}}, "/strength/square/side_mm unit"),
        ({"square": {"side_mm": 20, "thickness_mm": 8}}, "/strength/square/thickness_mm section.order"),
        (
            {"channel": {"depth_mm": 60, "flange_mm": 34, "thickness_mm": 1, "lip_mm": 40}},
            "/strength/channel/thickness_mm section.order",
        ),
    ],
)
def test_steel_that_does_not_fit_is_a_fault(changes: dict[str, object], fault: str) -> None:
    assert steel_faults({**STEEL, **changes}) == [fault]


def test_a_system_without_steel_has_none() -> None:
    assert read_steel(ObjectReader({}, "", FaultList(), ("strength",))) is None


def test_every_bound_leaves_room() -> None:
    assert all(bound.minimum < bound.maximum for bound in BOUNDS.values())
