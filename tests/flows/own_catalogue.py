"""A small catalogue of a business's own, for the flows that set one up from nothing: one finish, one supplier, one system.

The costs of the three bays of ``MEASURE``, calculated by hand (6300 mm between centres is 3 bays of 2100):

- 2 square posts x 18.40 = 36.80; a channel on each, and a pair on each of 2 line posts: 6 x 11.20 = 67.20
- 6 rails, the longest 2100 - 2 x 8 = 2084; two and a cut of 3 come out of 4190: 3 x 17.00 = 51.00 (6 x 9.00 is dearer)
- 3 sheets a bay (2084 <= 3 x 700 + 40): 9 x 21.50 = 193.50; caps 2 x 2.10 + 2 x 1.90 = 8.00
- screws: posts 1840 high, (1840 - 100 - 100) / 300 makes 7 rows on 2 pairs and 2 square posts = 28, 12 rail ends x 2 = 24,
  4 caps x 2 = 8: 60 x 0.05 = 3.00
- 4 holes 250 wide and about 600 deep hold 0.118 m3: 12 bags of 0.01 x 6.00 = 72.00
- materials 431.50, with 25 % on each line, rounded: 539.38
- labour 4 x 5 + 4 x 20 + 6.3 x 15 = 194.50, with 20 %: 233.40
- net 772.78, tax of 10 % 77.28
"""

from __future__ import annotations

import io
from decimal import Decimal
from typing import Any, cast
from zoneinfo import ZoneInfo

import pytest
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from tests.flows.cast_of_quotes import Caller

OWNER, PASSWORD = "wren@reedmoor.example", "seven herons over the reed beds"
ASKED = {
    "name": "Reedmoor Fences",
    "city": "Reedmoor",
    "country": "NZ",
    "time_zone": "Pacific/Auckland",
    "currency": "NZD",
    "tax_name": "GST",
    "tax_rate": "10",
    "owner": OWNER,
}
FINISH = {"code": "bogmoss", "name": "Bogmoss", "drawing_colour": "#55604a"}
SUPPLIER = {"code": "fenlane", "name": "Fen Lane Metals", "email": "orders@fenlane.example"}

# sku: (role, length in mm, price)
PARTS: dict[str, tuple[str, int | None, str]] = {
    "CH-2480": ("post.channel", 2480, "11.20"),
    "SQ-2480": ("post.square", 2480, "18.40"),
    "RL-2092": ("rail", 2092, "9.00"),
    "RL-4190": ("rail", 4190, "17.00"),
    "SH-1780": ("sheet", 1780, "21.50"),
    "ST-1800": ("gate.stile", 1800, "14.00"),
    "GR-1200": ("gate.rail", 1200, "8.00"),
    "CAP-P": ("cap.pair", None, "2.10"),
    "CAP-S": ("cap.square", None, "1.90"),
    "SCR": ("screw", None, "0.05"),
    "HNG": ("hinge", None, "12.00"),
    "LTC": ("latch", None, "16.00"),
    "DB": ("drop_bolt", None, "19.00"),
    "SP": ("stile_plug", None, "0.80"),
    "MIX-20": ("concrete.bag", None, "6.00"),
}
NO_FINISH = {"hinge", "latch", "drop_bolt", "stile_plug", "concrete.bag"}
RULES: list[dict[str, str]] = [
    {"kind": "markup", "applies_to": "materials", "value": "25", "option": "markup"},
    {"kind": "markup", "applies_to": "labour", "value": "20", "option": "markup"},
    {"kind": "labour", "applies_to": "set_out", "value": "5"},
    {"kind": "labour", "applies_to": "dig.clay", "value": "20"},
    {"kind": "labour", "applies_to": "erect", "value": "15"},
    {"kind": "labour", "applies_to": "rake", "value": "20"},
    {"kind": "labour", "applies_to": "gate", "value": "90"},
    {"kind": "labour", "applies_to": "remove", "value": "10"},
]
_POST = {"embedment_min_mm": 550, "stock_mm": [2480]}
SYSTEM: dict[str, Any] = {
    "schema": "system-2", "code": "flat-45", "label": "Flat sheet, 45 mm square posts",
    "pitch_mm": 2100, "min_closing_bay_mm": 400, "ground_gap_mm": 40, "max_ground_gap_mm": 150,
    "max_step_mm": 200, "rake_max_deg": "8",
    "hole": {"depth_mm": 600, "diameter_mm": 250, "shape": "straight", "bedding_mm": 50, "crown_height_mm": 20},
    "posts": {
        "channel": {"face_mm": 32, "setback_mm": 8, "steel_area_mm2": 180, **_POST},
        "square": {"face_mm": 45, "setback_mm": 28, "steel_area_mm2": 340, **_POST},
    },
    "rails": {"stock_mm": [2092, 4190], "kerf_mm": 3, "seat_tolerance_mm": 15},
    "sheets": {"cover_mm": 700, "lap_mm": 40, "lap_allowance_mm": 10, "height_deduction_mm": 20,
               "supply": "stock", "stock_mm": [1780]},
    "lattice": {"heights_mm": [], "raked": False},
    "screws": {
        "pair_from_top_mm": 100, "pair_above_ground_mm": 100, "pair_spacing_max_mm": 300,
        "per_rail_end": 2, "per_lattice": 4, "per_cap": 2,
    },
    "gates": {
        "clearance_single_mm": 25, "clearance_wide_mm": 25, "clearance_double_mm": 38, "stile_mm": 42,
        "leaf_max_mm": {"single": 1100, "wide": 1700}, "clip_below_sheet_top_mm": 8, "notch_mm": [6, 10],
        "lattice_notch_mm": [10, 36], "screws_per_joint": 4, "hinge_screws": 4, "hinge_from_top_mm": 180,
        "hinge_from_bottom_mm": 200,
    },
    "retrofit": {"extension_overlap_mm": 50},
    "allowances": {},
    "components": {"concrete.bag": "MIX-20"},
}  # fmt: skip
MEASURE = {
    "schema": "measure-2",
    "label": "Back fence",
    "system": "flat-45",
    "defaults": {
        "height_mm": 1800,
        "form": "level",
        "layout": "even",
        "soil": "clay",
        "finishes": dict.fromkeys(("post", "rail", "sheet"), "bogmoss"),
    },
    "runs": [{"id": "A", "length_mm": 6300, "basis": "centres"}],
}
COST, NET, TOTAL = Decimal("626.00"), Decimal("772.78"), Decimal("850.06")
QUOTED = {"parties": [{"key": "ada", "name": "Ada Quill", "email": "ada@example.test", "chooses_options": True}]}


def today() -> str:
    """Return today where the business is."""
    return timezone.localdate(timezone=ZoneInfo(ASKED["time_zone"])).isoformat()


def component(sku: str) -> dict[str, Any]:
    """Return a component of ``PARTS`` as an API body."""
    role, length, _ = PARTS[sku]
    data: dict[str, Any] = {"sku": sku, "name": f"Part {sku}", "role": role, "length_mm": length}
    if role not in NO_FINISH:
        data["finish"] = FINISH["code"]
    if role == "concrete.bag":
        data |= {"sale_unit": "XBG", "bag_yield_m3": "0.01"}
    return data


def begun_empty(monkeypatch: pytest.MonkeyPatch) -> str:
    """Create a business with only its owner and its tax by the command. Return the output of the command."""
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{PASSWORD}\n"))
    out = io.StringIO()
    call_command("start_business", stdout=out, empty=True, password_stdin=True, **ASKED)
    return out.getvalue()


def priced(caller: Caller) -> dict[str, Any]:
    """Draft a quote for ``MEASURE`` by API and check its take-off and price. Return the revision."""
    counted = caller.post("take-offs", {"measure": MEASURE}, status=200)
    assert {row["role"]: row["total"] for row in counted["quantities"]} == {
        "post.square": "2", "post.channel": "6", "rail": "6", "sheet": "9", "cap.pair": "2", "cap.square": "2",
        "screw": "60", "concrete.bag": "0.118",
    }  # fmt: skip
    assert (counted["system"], counted["notices"]) == ("flat-45", [])
    customer = caller.post("customers", {"name": "Ada Quill", "email": "ada@example.test"})
    new = {"customer": customer["ref"], "new_site_address": {"address": "4 Reed Lane"}, "label": "Back fence"}
    job = caller.post("jobs", new)["ref"]
    kept = caller.post(f"jobs/{job}/measures", {"document": MEASURE})["ref"]
    draft = caller.post("quotes", {"job": job, "measure": kept, "setup": QUOTED})
    [line] = caller.get(f"revisions/{draft['ref']}/content")["builds"][0]["lines"]
    assert (Decimal(line["cost"]), Decimal(line["net"]), line["tax_rate"]) == (COST, NET, "10")
    return cast(dict[str, Any], draft)


def sign_in(client: Client, email: str = OWNER, password: str = PASSWORD) -> Client:
    """Through the sign-in page, with the password."""
    answer = client.post("/sign-in", {"username": email, "password": password})
    assert (answer.status_code, answer["Location"]) == (302, "/")
    return client
