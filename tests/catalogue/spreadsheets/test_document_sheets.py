"""A fence system as a spreadsheet: member by member in and out, judged as a whole, refused at its row."""

from __future__ import annotations

import io
import json
import time
from collections.abc import Iterator
from decimal import Decimal
from importlib.resources import files
from typing import Any

import pytest
import xlsxwriter

from catalogue.models import FenceSystem, FenceSystemVersion
from catalogue.rules.codes import ImportKind
from catalogue.spreadsheets.export import csv_sheet, xlsx_sheet
from catalogue.spreadsheets.import_plan import ImportPlan
from catalogue.spreadsheets.import_rows import dry_run, save_import
from catalogue.spreadsheets.system_rows import MAX_MEMBERS, MAX_SYSTEMS, is_list
from fencing.model.faults import InvalidDocument
from fencing.reading.system import read_system
from shared.business.actors import Actor
from shared.business.models import Business
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
KIND = ImportKind.FENCE_SYSTEMS
HEAD = "system,member,value\n"


def planned(content: str | bytes, business: Business) -> ImportPlan:
    return dry_run(KIND, content.encode() if isinstance(content, str) else content, business)[1]


def import_file(content: str | bytes, business: Business, actor: Actor) -> None:
    sheet, found = dry_run(KIND, content.encode() if isinstance(content, str) else content, business)
    save_import(sheet, found, business, actor=actor)


def sheet_of(business: Business) -> str:
    return "".join(csv_sheet(KIND, business))


def document_of(business: Business) -> Any:
    return FenceSystemVersion.objects.of(business).order_by("-number")[0].document


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_a_business_without_any_gets_the_same_fence_system_from_a_file(
    stocked: Business, cast: Cast, olive: Actor, form: str
) -> None:
    content = sheet_of(stocked) if form == "csv" else xlsx_sheet(KIND, stocked)
    other = cast.strangers_business
    import_file(content, other, olive)
    assert read_system(document_of(other)) == read_system(document_of(stocked))
    assert FenceSystem.objects.of(other).get().is_default
    assert sheet_of(other) == sheet_of(stocked)


def test_a_changed_member_makes_the_next_version_and_the_same_file_again_none(stocked: Business, olive: Actor) -> None:
    before = document_of(stocked)
    content = HEAD + "corrugated-50,pitch_mm,2300\ncorrugated-50,posts/channel/stock_mm,1890 2490\n"
    found = planned(content, stocked)
    assert [(item.before["member"], item.values["value"]) for item in found.changed] == [
        ("pitch_mm", "2300"),
        ("posts/channel/stock_mm", "1890 2490"),
    ]
    import_file(content, stocked, olive)
    after = document_of(stocked)
    assert (after["pitch_mm"], after["posts"]["channel"]["stock_mm"]) == (2300, [1890, 2490])
    assert after["posts"]["square"] == before["posts"]["square"]
    import_file(content, stocked, olive)
    assert FenceSystemVersion.objects.of(stocked).count() == 2


def test_a_member_with_an_empty_value_is_taken_out_with_the_table_it_leaves_empty(
    stocked: Business, olive: Actor
) -> None:
    strength = [line.split(",")[1] for line in sheet_of(stocked).splitlines() if ",strength/" in line]
    content = HEAD + "".join(f"corrugated-50,{place},\n" for place in strength)
    import_file(content, stocked, olive)
    assert "strength" not in document_of(stocked)
    assert planned(content, stocked).unchanged == len(strength) == 7


def test_texts_numbers_flags_and_lists_are_what_the_document_wants(stocked: Business, olive: Actor) -> None:
    cells = {
        "components/screw": "12345",
        "rake_max_deg": "11,5",
        "lattice/raked": "TRUE",
        "lattice/heights_mm": "none",
        "label": "50",
    }
    import_file(HEAD.replace(",", ";") + "".join(f"corrugated-50;{place};{value}\n" for place, value in cells.items()),
          stocked, olive)  # fmt: skip
    document = document_of(stocked)
    assert document["components"]["screw"] == "12345"
    assert (document["rake_max_deg"], document["label"]) == ("11.5", "50")
    assert (document["lattice"]["raked"], document["lattice"]["heights_mm"]) == (True, [])
    assert read_system(document).rake_max == Decimal("11.5")


def test_numbers_and_flags_of_a_workbook_are_read_as_such(stocked: Business, olive: Actor) -> None:
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer)
    page = book.add_worksheet()
    rows = [
        ("system", "member", "value"),
        ("corrugated-50", "pitch_mm", 2280),
        ("corrugated-50", "lattice/raked", True),
    ]
    for number, row in enumerate(rows):
        page.write_row(number, 0, row)
    book.close()
    import_file(buffer.getvalue(), stocked, olive)
    assert (document_of(stocked)["pitch_mm"], document_of(stocked)["lattice"]["raked"]) == (2280, True)


@pytest.mark.parametrize(
    ("row", "column", "message"),
    [
        ("corrugated-50,pitch_mm,0", "value", "out of range"),
        ("corrugated-50,pitch_mm,2.26", "value", "is it in m? 2.26 m is 2260 mm"),
        ("corrugated-50,pich_mm,2260", "value", "did you mean pitch_mm?"),
        ("corrugated-50,posts/channel/stock_mm,1590 wide", "value", "whole number"),
        ("corrugated-50,pitch_mm/inner,3", "value", "single value"),
        ("corrugated-50,posts/round/face_mm,3", "value", "no key"),
        ("corrugated-50,pitch_mm,", "value", "missing"),
        ("corrugated-50,min_closing_bay_mm,2260", "value", "under the pitch"),
        ("corrugated-50,Pitch,2260", "member", "path of a member"),
        ("corrugated-50,../../x,1", "member", "path of a member"),
        ("corrugated-50,code,other", "member", "column system"),
        ("corrugated-50,pitch_mm,=2*1130", "value", "Formulas"),
        ("Ribbed 60,pitch_mm,2000", "system", "no spaces"),
        (",pitch_mm,2000", "system", "empty"),
        ("ribbed-60,pitch_mm,2000", "member", "posts: posts is missing"),
    ],
)
def test_a_member_that_can_not_be_is_refused_at_its_row_and_nothing_is_stored(
    stocked: Business, olive: Actor, row: str, column: str, message: str
) -> None:
    sheet, found = dry_run(KIND, f"{HEAD}corrugated-50,label,Renamed\n{row}\n".encode(), stocked)
    assert [(item.row, item.column) for item in found.refused if message in item.reason] == [(3, column)], found.refused
    with pytest.raises(InvalidDocument):
        save_import(sheet, found, stocked, actor=olive)
    assert FenceSystemVersion.objects.of(stocked).count() == 1


def test_a_file_of_too_many_systems_is_refused_without_reading_each(stocked: Business) -> None:
    found = planned(HEAD + "".join(f"s{number},pitch_mm,2000\n" for number in range(MAX_SYSTEMS + 1)), stocked)
    assert [(item.row, item.column) for item in found.refused] == [(2, "system")]


def test_a_file_of_nonsense_is_refused_in_bounded_time(stocked: Business) -> None:
    crowded = "".join(f"s,m{number},{number}\n" for number in range(MAX_MEMBERS + 1))
    assert [(item.row, item.column) for item in planned(HEAD + crowded, stocked).refused] == [(2, "system")]
    many = "".join(f"s{system},m{number},1\n" for system in range(MAX_SYSTEMS) for number in range(MAX_MEMBERS))
    start = time.process_time()
    assert len(planned(HEAD + many, stocked).refused) < 1000
    assert time.process_time() - start < 2


def arrays(schema: Any, name: str = "") -> Iterator[str]:
    if isinstance(schema, dict):
        if schema.get("type") == "array" or schema.get("$ref") == "#/$defs/stock":
            yield name
        for key, value in schema.items():
            yield from arrays(value, key if key not in {"properties", "then"} else name)


def test_every_list_of_the_document_is_a_list_in_the_sheet_and_nothing_else_is() -> None:
    schema = json.loads(files("fencing").joinpath("schema", "system-2.json").read_text())
    lists = set(arrays(schema["properties"])) | set(arrays(schema["$defs"]["post"]["properties"]))
    assert lists == {"stock_mm", "heights_mm", "notch_mm", "lattice_notch_mm"}
    assert all(is_list(name) for name in lists)
    assert not any(is_list(name) for name in schema["properties"])
