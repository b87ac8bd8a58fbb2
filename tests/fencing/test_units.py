"""Lengths, loads and speeds typed in another unit are asked back, on every page and endpoint, and never guessed."""

from __future__ import annotations

import io
import json
from argparse import Namespace
from pathlib import Path
from typing import Any

import pytest

from fencing.model.faults import Fault, InvalidDocument
from fencing.reading import read_measure, read_system
from quotes.jobs import takeoff_command

ROOT = Path(__file__).parents[2]
SYSTEM: dict[str, Any] = json.loads((ROOT / "demo/catalogue/corrugated-50.json").read_text())
WIND = {"method": "given_pressure", "pressure_kpa": "0.20"}

MEASURES: dict[str, tuple[str, object, str]] = {
    "a run in metres": ("/runs/0/length_mm", 18.24, "is it in m? 18.24 m is 18240 mm"),
    "a run in whole metres": ("/runs/0/length_mm", 18, "is it in m? 18 m is 18000 mm"),
    "a height in centimetres": ("/runs/0/height_mm", 180, "is it in cm? 180 cm is 1800 mm"),
    "a height in metres": ("/defaults/height_mm", 2, "is it in m? 2 m is 2000 mm"),
    "a height in metres as text": ("/defaults/height_mm", "1.51", "is it in m? 1.51 m is 1510 mm"),
    "an opening in centimetres": ("/runs/0/gates/0/opening_mm", 100, "is it in cm? 100 cm is 1000 mm"),
    "levels in metres": ("/runs/0/levels/1", [15600, -0.62], "are they in m? 6 m is 6000 mm"),
    "old bays in metres": ("/retrofits/0/bays_mm/0", 2.4, "is it in m? 2.4 m is 2400 mm"),
    "an old fence in centimetres": ("/retrofits/0/existing_height_mm", 150, "is it in cm? 150 cm is 1500 mm"),
    "wind in pascals": ("/strength/pressure_kpa", "600", "is it in Pa? 600 Pa is 0.6 kPa"),
    "wind in megapascals": ("/strength/pressure_kpa", "0.0006", "is it in MPa? 0.0006 MPa is 0.6 kPa"),
    "soil in tonnes": ("/strength/unit_weight_kn_m3", "1.8", "is it in t/m³? 1.8 t/m³ is 17.65 kN/m³"),
    "an angle in radians": ("/strength/friction_deg", "0.52", "is it in radians? 0.52 radians is 29.79 degrees"),
}  # fmt: skip
SYSTEMS: dict[str, tuple[str, object, str]] = {
    "a pitch in centimetres": ("/pitch_mm", 240, "is it in cm? 240 cm is 2400 mm"),
    "a pitch in metres": ("/pitch_mm", 2, "is it in m? 2 m is 2000 mm"),
    "a hole in centimetres": ("/hole/depth_mm", 70, "is it in cm? 70 cm is 700 mm"),
    "a bar in metres": ("/rails/stock_mm/0", 6, "is it in m? 6 m is 6000 mm"),
    "a post's face in centimetres": ("/posts/square/face_mm", 5, "is it in cm? 5 cm is 50 mm"),
    "steel in kilopascals": ("/strength/yield_mpa", 340_000, "is it in kPa? 340000 kPa is 340 MPa"),
    "a wall in centimetres": ("/strength/channel/thickness_mm", "0.2", "is it in cm? 0.2 cm is 2 mm"),
}  # fmt: skip
SPEEDS = {
    "asce-7": (115, {"exposure_category": "C"}, "is it in km/h or mph? 115 km/h is 31.94 m/s, 115 mph is 51.41 m/s"),
    "en-1991-1-4": (90, {"terrain_category": "II"}, "is it in km/h or mph? 90 km/h is 25 m/s, 90 mph is 40.23 m/s"),
    "as-nzs-1170.2": (162, {}, "is it in km/h or mph? 162 km/h is 45 m/s, 162 mph is 72.42 m/s"),
}


def measure() -> dict[str, Any]:
    run = {
        "id": "A", "length_mm": 15600, "levels": [[0, 0], [15600, -620]], "height_mm": 1510,
        "gates": [{"id": "G", "from_mm": 4000, "opening_mm": 1000}],
    }  # fmt: skip
    old = {"id": "R", "bays_mm": [2400, 2310], "lattice_mm": 340, "existing_height_mm": 1500}
    strength = {**WIND, "friction_deg": "30", "unit_weight_kn_m3": "18"}
    return {
        "schema": "measure-2", "label": "Units", "system": "corrugated-50", "defaults": {"height_mm": 1800}, "runs": [run],
        "retrofits": [old], "strength": strength,
    }  # fmt: skip


def put(document: Any, pointer: str, value: object) -> Any:
    *way, last = pointer[1:].split("/")
    holder = document
    for step in way:
        holder = holder[int(step) if isinstance(holder, list) else step]
    holder[int(last) if isinstance(holder, list) else last] = value
    return document


def fault_at(pointer: str, refused: InvalidDocument) -> Fault:
    return next(fault for fault in refused.faults if fault.pointer == pointer)


def test_the_job_these_are_spoilt_from_is_whole() -> None:
    system = read_system(SYSTEM)
    assert read_measure(measure(), system).runs[0].length == 15600


@pytest.mark.parametrize("case", MEASURES)
def test_a_measure_in_another_unit_is_asked_back(case: str) -> None:
    pointer, value, question = MEASURES[case]
    with pytest.raises(InvalidDocument) as refusal:
        read_measure(put(measure(), pointer, value), read_system(SYSTEM))
    assert question in fault_at(pointer, refusal.value).text


@pytest.mark.parametrize(
    ("pointer", "value", "text"),
    [
        (
            "/runs/0/length_mm",
            "15600",
            "the text '15600' is not valid here; write a whole number of mm from 1 to 20000000",
        ),
        ("/schema", 2, "2 is not known here; write measure-2"),
    ],
)
def test_what_has_the_right_unit_or_the_only_value_is_not_asked_back(pointer: str, value: object, text: str) -> None:
    with pytest.raises(InvalidDocument) as refusal:
        read_measure(put(measure(), pointer, value), read_system(SYSTEM))
    assert fault_at(pointer, refusal.value).text == text


@pytest.mark.parametrize("case", SYSTEMS)
def test_a_system_in_another_unit_is_asked_back(case: str) -> None:
    pointer, value, question = SYSTEMS[case]
    with pytest.raises(InvalidDocument) as refusal:
        read_system(put(json.loads(json.dumps(SYSTEM)), pointer, value))
    assert question in fault_at(pointer, refusal.value).text


@pytest.mark.parametrize("method", SPEEDS)
def test_a_wind_speed_in_another_unit_is_asked_back(method: str) -> None:
    speed, more, question = SPEEDS[method]
    document = measure() | {"strength": {"method": method, "speed_m_s": speed, **more}}
    with pytest.raises(InvalidDocument) as refusal:
        read_measure(document, read_system(SYSTEM))
    assert question in fault_at("/strength/speed_m_s", refusal.value).text


def test_a_gate_that_is_all_stiles_is_no_matter_of_units() -> None:
    thick = SYSTEM | {"gates": SYSTEM["gates"] | {"stile_mm": 150}}
    with pytest.raises(InvalidDocument) as refusal:
        read_measure(put(measure(), "/runs/0/gates/0/opening_mm", 260), read_system(thick))
    assert fault_at("/runs/0/gates/0/opening_mm", refusal.value).code == "gate.narrow"


def test_no_question_is_asked_where_no_unit_explains_it() -> None:
    with pytest.raises(InvalidDocument) as refusal:
        read_measure(put(measure(), "/runs/0/length_mm", 30_000_000), read_system(SYSTEM))
    assert "is it in" not in fault_at("/runs/0/length_mm", refusal.value).text


@pytest.mark.parametrize("case", ["a run in metres", "a height in centimetres", "wind in pascals"])
def test_the_command_asks_and_ends_with_refused(tmp_path: Path, case: str) -> None:
    pointer, value, question = MEASURES[case]
    (tmp_path / "m.json").write_text(json.dumps(put(measure(), pointer, value)))
    asked = Namespace(
        measure=str(tmp_path / "m.json"), system=str(ROOT / "demo/catalogue/corrugated-50.json"), business=None, json=False,
        cut_list=False, explain=None,
    )  # fmt: skip
    out, errors = io.StringIO(), io.StringIO()
    assert takeoff_command.run(asked, out, errors) == takeoff_command.REFUSED
    assert question in errors.getvalue()
    assert out.getvalue() == ""
