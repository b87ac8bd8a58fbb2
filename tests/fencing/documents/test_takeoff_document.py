"""The take-off document: every key the contract names, with its meaning; the same input gives the same bytes."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from fencing.documents.takeoff_document import NO_CHANGES, write_takeoff, write_takeoff_json
from fencing.model.faults import InvalidDocument
from fencing.model.measure import Measure, StrengthRequest
from fencing.quantities.take_off import TakeOff, take_off
from fencing.reading import read_json, read_measure, read_system
from tests.fencing.strategies import random_jobs

ROOT = Path(__file__).parents[3]
SCHEMA = Draft202012Validator(json.loads((ROOT / "fencing/schema/takeoff-2.json").read_text()))
SYSTEM = read_system(read_json((ROOT / "tests/data/contract/system.json").read_bytes()))
MEASURE = read_json((ROOT / "tests/data/contract/measure.json").read_bytes())
REQUESTS = (
    StrengthRequest("given_pressure", {"pressure_kpa": "0.60", "soil_class": "clay"}),
    StrengthRequest(
        "as-nzs-1170.2", {"wind_region": "A", "return_period_years": 100, "terrain_category": "3", "soil_class": "sand"}
    ),
    StrengthRequest("en-1991-1-4", {"speed_m_s": "25", "terrain_category": "II"}),
    StrengthRequest("asce-7", {"speed_m_s": "45", "exposure_category": "C", "soil_class": "soft"}),
)


def take_off_job() -> TakeOff:
    return take_off(read_measure(MEASURE, SYSTEM), SYSTEM)


@pytest.fixture
def document() -> dict[str, Any]:
    return write_takeoff(take_off_job())


def test_a_bay_says_where_it_stands_and_what_it_is_made_of(document: dict[str, Any]) -> None:
    bay = document["runs"][0]["bays"][4]  # the second of six in 12010 mm after the gate
    assert (bay["id"], bay["from_mm"], bay["to_mm"]) == ("A-5", 8232, 10234)
    assert bay["form"] == "stepped"
    assert bay["top_mm"] == [bay["base_mm"][0] + 1800, bay["base_mm"][1] + 1800]
    assert set(bay["gap_mm"]) == {"min", "max"}
    # 2002 mm between two line posts, 6 mm of setback at either
    assert bay["rails"] == [{"position": place, "length_mm": 1990} for place in ("bottom", "middle", "top")]
    assert bay["lattice"] == [{"length_mm": 1990, "height_mm": 320}]
    # 1990 takes 790 + 790 and what is left: 822 wide sheets lap 32, the last one is 1990 - 1580
    first, second, third = bay["sheets"]
    assert first == {
        "at_mm": 6,
        "blank_mm": 1468,
        "width_mm": 822,
        "left_mm": 1468,
        "right_mm": 1468,
        "foot": "square",
    }
    assert (second["at_mm"], third["at_mm"], third["width_mm"]) == (796, 1586, 410)


def test_a_tapered_sheet_has_two_trimmed_heights_and_a_blank_for_the_higher(document: dict[str, Any]) -> None:
    sheet = document["runs"][0]["bays"][0]["sheets"][0]
    # the top rises 450 over 1724 mm: from 900 at the post to the sheet's edges at 6 and 828 mm, 320 lattice and 12 off
    assert sheet["left_mm"] == 900 + round(450 * 6 / 1724) - 332
    assert sheet["right_mm"] == 900 + round(450 * 828 / 1724) - 332
    assert sheet["blank_mm"] == sheet["right_mm"] + 1  # 1116.1 is never cut short
    assert sheet["foot"] == "square"


def test_a_post_names_each_member_with_its_bay_top_stock_and_embedment(document: dict[str, Any]) -> None:
    post = document["runs"][0]["posts"][4]
    assert (post["id"], post["kind"], post["hole_depth_mm"]) == ("A-P5", "square", 650)
    assert [member["section"] for member in post["uprights"]] == ["square", "channel"]
    assert [member["bay"] for member in post["uprights"]] == [None, "A-4"]
    for member in post["uprights"]:
        assert member["length_mm"] == member["top_mm"] - post["ground_mm"] + member["embedment_mm"]
        assert member["stock_mm"] >= member["length_mm"]


def test_a_gate_is_stated_by_its_leaves(document: dict[str, Any]) -> None:
    gate = document["runs"][0]["gates"][0]
    assert (gate["id"], gate["from_mm"], gate["opening_mm"], gate["posts"]) == ("A-G1", 5200, 1000, ["A-P4", "A-P5"])
    leaf = gate["leaves"][0]
    assert (leaf["width_mm"], leaf["height_mm"]) == (1000 - 24, 1800)
    assert leaf["diagonal_mm"] == round((976**2 + 1800**2) ** 0.5)
    assert leaf["hinge_heights_mm"] == [220, 1800 - 180]
    assert leaf["clip_mm"] is None


def test_pieces_name_each_place_once(document: dict[str, Any]) -> None:
    for piece in document["pieces"]:
        assert len(piece["used_at"]) == len(set(piece["used_at"])) == len(piece["used_counts"])
        assert sum(piece["used_counts"]) == piece["count"]
    rails = next(piece for piece in document["pieces"] if piece["role"] == "rail" and piece["length_mm"] == 1990)
    # three rails in each of three bays
    assert (rails["count"], rails["used_at"], rails["used_counts"]) == (9, ["A-5", "A-6", "A-7"], [3, 3, 3])


def test_every_why_adds_up_to_net_and_net_and_allowance_to_the_total(document: dict[str, Any]) -> None:
    for row in document["quantities"]:
        assert sum(Decimal(line["net"]) for line in row["breakdown"]) == Decimal(row["net"])
        assert Decimal(row["net"]) + Decimal(row["allowance"]) == Decimal(row["total"])
    screws = next(row for row in document["quantities"] if row["role"] == "screw")
    assert (screws["net"], screws["allowance"], screws["total"], screws["unit"]) == ("312", "16", "328", "C62")
    assert {"element_type": "rail ends", "count": 60, "per_element": 2, "net": "120"} in screws["breakdown"]


def test_volumes_are_texts_of_three_decimals(document: dict[str, Any]) -> None:
    concrete = document["concrete"]
    assert concrete["holes"] == 11
    volumes = [Decimal(concrete[key]) for key in ("net_m3", "allowance_m3", "total_m3")]
    assert volumes[0] + volumes[1] == volumes[2]
    assert [concrete[key][-4] for key in ("net_m3", "allowance_m3", "total_m3")] == [".", ".", "."]
    assert concrete["bags"] is None  # the system does not state what a bag yields


def test_the_screening_stands_in_the_document_where_the_measure_asks_for_it(document: dict[str, Any]) -> None:
    strength = document["strength"]
    assert strength["inputs"] == {"pressure_kpa": "0.60", "soil_class": "clay"}
    assert [post["post"] for post in strength["posts"]] == [post["id"] for post in document["runs"][0]["posts"]]
    assert "does not say that the fence is safe" in strength["disclaimer"]
    silent = {key: value for key, value in MEASURE.items() if key != "strength"}
    assert "strength" not in write_takeoff(take_off(read_measure(silent, SYSTEM), SYSTEM))


@pytest.mark.parametrize("request_", REQUESTS, ids=lambda request: request.method)
def test_any_job_can_be_screened_by_any_method(request_: StrengthRequest) -> None:
    for job in random_jobs(25, 11):
        asked = job.measure
        measure = Measure(asked.label, asked.system, asked.runs, asked.retrofits, request_, asked.sha256)
        document = json.loads(write_takeoff_json(take_off(measure, job.system)))
        assert SCHEMA.is_valid(document)
        assert len(document["strength"]["posts"]) >= sum(len(run["posts"]) for run in document["runs"])


def test_what_would_help_is_left_out_of_a_very_long_job_and_that_is_said() -> None:
    long = {**MEASURE, "retrofits": [], "runs": [{"id": "A", "length_mm": 2400 * 250, "height_mm": 1800}]}
    strength = write_takeoff(take_off(read_measure(long), SYSTEM))["strength"]
    assert (strength["outcome"], strength["suggested_changes"], strength["remarks"][-1]) == ("over", [], NO_CHANGES)
    assert write_takeoff(take_off_job())["strength"]["suggested_changes"]


def test_a_staff_reading_may_be_a_decimal_text() -> None:
    readings = ({"backsight_m": 1.452}, {"at_mm": 0, "intermediate_m": 1.210}, {"foresight_m": 0.933})
    books = [
        list(readings),
        [{key: value if key == "at_mm" else str(value) for key, value in row.items()} for row in readings],
    ]
    runs = [[{"id": "A", "length_mm": 9000, "height_mm": 1800, "book": book}] for book in books]
    first, second = (read_measure({**MEASURE, "runs": run}) for run in runs)
    assert first.runs == second.runs
    assert first.runs[0].levels[0].level == 242  # 1.452 - 1.210


def test_the_same_measure_gives_the_same_bytes_however_its_keys_are_ordered() -> None:
    turned = json.loads(json.dumps(MEASURE, default=float), object_pairs_hook=lambda pairs: dict(reversed(pairs)))
    again = take_off(read_measure(turned, SYSTEM), SYSTEM)
    assert write_takeoff_json(again) == write_takeoff_json(take_off_job())


def test_the_digest_is_of_the_numbers_not_of_their_spelling() -> None:
    plain, spelt = ({**MEASURE, "runs": [{**MEASURE["runs"][0], "turn_deg": turn}]} for turn in (7, 7.0))
    assert read_measure(plain).sha256 == read_measure(spelt).sha256
    assert read_measure({**MEASURE, "label": "Lot 13"}).sha256 != read_measure(MEASURE).sha256


def test_no_door_can_forget_whether_a_job_fits_its_system() -> None:
    high = {**MEASURE, "runs": [{"id": "A", "length_mm": 9000, "height_mm": 3000}]}
    with pytest.raises(InvalidDocument) as refused:
        take_off(read_measure(high), SYSTEM)  # read without the system, as an endpoint may
    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [("/runs/0/height_mm", "height.sheet")]
