"""Tests of spreadsheets: read as programs write them, rejected if the content is wrong, imported whole or not at all."""

from __future__ import annotations

import io
import time
import zipfile
from datetime import timedelta
from decimal import Decimal

import psutil
import pytest
import xlsxwriter
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from catalogue.models import Component, Finish, PriceRule, Supplier, SupplierPrice
from catalogue.rules.codes import ImportKind
from catalogue.rules.hooks import Touched, open_quotes_requested
from catalogue.spreadsheets import csv_file, xlsx_file
from catalogue.spreadsheets.export import csv_sheet, xlsx_sheet
from catalogue.spreadsheets.file_reader import read_sheet
from catalogue.spreadsheets.import_plan import ImportPlan
from catalogue.spreadsheets.import_rows import dry_run, report, save_import
from catalogue.spreadsheets.limits import MAX_ROWS, SheetRefusedError
from fencing.model.faults import InvalidDocument
from shared.business.actors import Actor
from shared.business.models import Business
from shared.database.audit_log import AuditEntry
from tests.conftest import Cast

KINDS = list(ImportKind)
ROWS = {
    ImportKind.FINISHES: 3,
    ImportKind.COMPONENTS: 90,
    ImportKind.SUPPLIERS: 2,
    ImportKind.SUPPLIER_TERMS: 2,
    ImportKind.SUPPLIER_PRICES: 180,
    ImportKind.PRICE_RULES: 50,
    ImportKind.FENCE_SYSTEMS: 60,
}
HEAD = "sku,name,role,length_mm"


def tomorrow() -> str:
    return (timezone.localdate() + timedelta(days=1)).isoformat()


def planned(kind: ImportKind, content: str | bytes, business: Business) -> ImportPlan:
    return dry_run(kind, content.encode() if isinstance(content, str) else content, business)[1]


def refusals(found: ImportPlan) -> list[tuple[int, str]]:
    return [(item.row, item.column) for item in found.refused]


@pytest.mark.django_db
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_what_is_written_reads_back_as_it_was(stocked: Business, kind: ImportKind, form: str) -> None:
    content = "".join(csv_sheet(kind, stocked)).encode() if form == "csv" else xlsx_sheet(kind, stocked)
    found = planned(kind, content, stocked)
    assert (found.refused, found.added, found.changed) == ([], [], [])
    assert found.unchanged == found.rows >= ROWS[kind]


@pytest.mark.django_db
def test_texts_that_look_like_formulas_numbers_and_quotes_come_back_exactly(business: Business) -> None:
    texts = [
        '=HYPERLINK("x")',
        "+1",
        "-1+cmd",
        "@SUM(A1)",
        "＝1+1",
        "'quoted",
        "00123",
        'a;b,c"d',
        ";=1",
        "1e5",
        "héß 雨",
    ]
    for number, text in enumerate(texts):
        Component.objects.of(business).create(sku=f"S{number}", name=text, role="latch")
    for content in (
        "".join(csv_sheet(ImportKind.COMPONENTS, business)).encode(),
        xlsx_sheet(ImportKind.COMPONENTS, business),
    ):
        found = planned(ImportKind.COMPONENTS, content, business)
        assert (found.refused, found.changed, found.unchanged) == ([], [], len(texts))


words = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=30).filter(str.strip)


@given(st.lists(words, min_size=1, max_size=5))
def test_any_text_survives_csv_and_no_cell_begins_like_a_formula(texts: list[str]) -> None:
    table = [[(name, False) for name in "abcde"], [(text, False) for text in texts]]
    _head, row = csv_file.rows("".join(csv_file.csv_lines(iter(table))))
    assert [(cell.text, cell.formula) for cell in row.cells] == [(text, False) for text in texts]


def test_numbers_stay_numbers_in_a_file_even_negative_ones() -> None:
    assert "".join(csv_file.csv_lines(iter([[("-12.5", True), ("-12.5", False)]]))) == "-12.5,'-12.5\r\n"


def test_an_xlsx_file_holds_texts_as_texts_and_no_formula() -> None:
    content = xlsx_file.xlsx_bytes(iter([[("=1+1", False), ("12.5", True), ("http://x", False)]]), "prices")
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml").decode()
    assert "<f>" not in sheet
    assert "hyperlink" not in sheet
    cells = next(xlsx_file.rows(content)).cells
    assert [(cell.text, cell.number) for cell in cells] == [("=1+1", False), ("12.5", True), ("http://x", False)]


@pytest.mark.django_db
@pytest.mark.parametrize(
    "content",
    [
        f"{HEAD}\nR1,Rail,rail,3000\n".encode(),
        f"{HEAD}\r\nR1,Rail,rail,3000\r\n".encode("utf-8-sig"),
        f"{HEAD}\nR1,Rail,rail,3000\n".replace(",", ";").encode("cp1252"),
        f"{HEAD}\nR1,Rail,rail,3000\n".replace(",", "\t").encode("utf-16"),
        b"SKU,Name,Role,Length mm\nR1,Rail,rail,3000\n\n ,,\n",
    ],
    ids=["utf-8", "byte order mark", "semicolons", "utf-16 tabs", "header as people write it"],
)
def test_encodings_and_separators_are_found_out(business: Business, content: bytes) -> None:
    found = planned(ImportKind.COMPONENTS, content, business)
    assert found.refused == []
    assert [(row["sku"], row["length_mm"]) for row in found.added] == [("R1", 3000)]


@pytest.mark.django_db
def test_accented_letters_of_an_older_encoding_are_read(business: Business) -> None:
    found = planned(ImportKind.COMPONENTS, "sku;name;role\nL1;Verschlu\xdf;latch\n".encode("cp1252"), business)
    assert found.added[0]["name"] == "Verschluß"


def rule_sheet(amount: str, separator: str) -> str:
    cells = ["labour", "dig", amount, tomorrow()]
    return separator.join(["kind", "applies_to", "value", "valid_from"]) + "\n" + separator.join(cells) + "\n"


@pytest.mark.django_db
@pytest.mark.parametrize(("text", "value"), [("12,5", "12.5"), ("12.5", "12.5"), ("1200", "1200")])
def test_a_decimal_comma_is_read_where_commas_do_not_separate(business: Business, text: str, value: str) -> None:
    assert planned(ImportKind.PRICE_RULES, rule_sheet(text, ";"), business).added[0]["value"] == Decimal(value)


@pytest.mark.django_db
@pytest.mark.parametrize(
    "text", ["1.234,50", "1,234.50", "£3", "12 50", "1e3", "-1", "NaN", "1.1234567", "١٢", "99999999999"]
)
def test_a_number_that_can_be_taken_two_ways_or_none_is_refused_with_its_cell(business: Business, text: str) -> None:
    assert refusals(planned(ImportKind.PRICE_RULES, rule_sheet(text, ";"), business)) == [(2, "value")]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("R1,Rail,rail,3000", "sku"),  # the sku is there twice
        ("R2,Rail,moat,3000", "role"),
        ("R2,,rail,3000", "name"),
        ("R2,Rail,rail,", "length_mm"),
        ("R2,Rail,rail,-3", "length_mm"),
        ("R2,Rail,rail,3.5", "length_mm"),
        ("R2,=1+1,rail,3000", "name"),
        ("R2,@SUM(1),rail,3000", "name"),
        ("R2,Rail,rail,3000,more", ""),
    ],
)
def test_a_bad_row_is_refused_by_row_and_column_and_nothing_is_taken_in(
    business: Business, olive: Actor, row: str, column: str
) -> None:
    sheet, found = dry_run(ImportKind.COMPONENTS, f"{HEAD}\nR1,Rail,rail,3000\n{row}\n".encode(), business)
    assert refusals(found) == [(3, column)]
    with pytest.raises(InvalidDocument):
        save_import(sheet, found, business, actor=olive)
    assert not Component.objects.of(business).exists()
    assert not AuditEntry.objects.filter(business=business).exclude(action="member.added").exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("cells", "column"),
    [
        ("ostrel,HG-1,3.00,2020-01-01,", "valid_from"),
        ("ostrel,HG-1,-3.00,{tomorrow},", "price"),
        ("unknown,HG-1,3.00,{tomorrow},", "supplier"),
        ("ostrel,NOPE,3.00,{tomorrow},", "sku"),
        ("ostrel,HG-1,3.00,31.12.2030,", "valid_from"),
        ("ostrel,HG-1,3.00,{tomorrow},10=2", "price_breaks"),
        ("ostrel,HG-1,17.00,2024-01-01,", "price"),
    ],
    ids=["past", "negative", "supplier", "component", "date", "price_breaks", "begun"],
)
def test_an_offer_that_can_not_be_is_refused_by_its_cell(stocked: Business, cells: str, column: str) -> None:
    content = f"supplier,sku,price,valid_from,price_breaks\n{cells.format(tomorrow=tomorrow())}\n"
    assert refusals(planned(ImportKind.SUPPLIER_PRICES, content, stocked)) == [(2, column)]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("kind", "content", "column"),
    [
        (ImportKind.FINISHES, "code,name,drawing_colour\nmoss,Moss,green\n", "drawing_colour"),
        (ImportKind.FINISHES, "code,name,active\nmoss,Moss,perhaps\n", "active"),
        (ImportKind.FINISHES, "code,name\nMoss Green,Moss\n", "code"),
        (ImportKind.SUPPLIERS, "code,name,email\nreed,Reed,no-address\n", "email"),
        (ImportKind.SUPPLIERS, "code,name,country\nreed,Reed,nz\n", "country"),
        (ImportKind.SUPPLIERS, "code,name,gln\nreed,Reed,7300010000002\n", "gln"),
        (ImportKind.SUPPLIER_TERMS, "supplier,valid_from,lead_time_days\nnobody,{tomorrow},3\n", "supplier"),
        (ImportKind.SUPPLIER_TERMS, "supplier,valid_from,delivery_fees\nostrel,{tomorrow},10:5\n", "delivery_fees"),
        (ImportKind.SUPPLIER_TERMS, "supplier,valid_from\nostrel,2023-01-01\n", "valid_from"),
        (ImportKind.SUPPLIER_TERMS, "supplier,valid_from,lead_time_days\nostrel,2024-01-01,9\n", "lead_time_days"),
    ],
    ids=["drawing_colour", "flag", "code", "e-mail", "country", "check digit", "supplier", "bands", "past", "begun"],
)
def test_a_finish_supplier_or_terms_that_can_not_be_is_refused_by_its_cell(
    stocked: Business, kind: ImportKind, content: str, column: str
) -> None:
    assert refusals(planned(kind, content.format(tomorrow=tomorrow()), stocked)) == [(2, column)]


@pytest.mark.django_db
def test_suppliers_and_their_terms_come_in_by_file(stocked: Business, olive: Actor) -> None:
    for kind, content in (
        (ImportKind.SUPPLIERS, 'code,name,address,preferred\nreed,Reed Yard,"1 Reed Lane\nTern Bay",yes\n'),
        (
            ImportKind.SUPPLIER_TERMS,
            f"supplier,valid_from,minimum_order,delivery_fees\nreed,{tomorrow()},80,0:35 500:0\n",
        ),
    ):
        sheet, found = dry_run(kind, content.encode(), stocked)
        save_import(sheet, found, stocked, actor=olive)
    reed = Supplier.objects.of(stocked).get(code="reed")
    assert (reed.address, reed.preferred, reed.active) == ("1 Reed Lane\nTern Bay", True, True)
    assert reed.terms.get().delivery_fees == [["0", "35"], ["500", "0"]]


@pytest.mark.django_db
def test_a_dry_run_tells_before_and_after_and_its_effect_and_writes_nothing(stocked: Business) -> None:
    before = (SupplierPrice.objects.of(stocked).count(), AuditEntry.objects.count())
    asked = list[Touched]()

    def effect(sender: object, business: Business, touched: Touched, **_: object) -> list[dict[str, str]]:
        asked.append(touched)
        return [{"quote": "Q-7", "effect": "+1.20"}]

    open_quotes_requested.connect(effect)
    try:
        content = f"supplier,sku,price,valid_from\nostrel,HG-1,17.00,{tomorrow()}\n".encode()
        data = report(*dry_run(ImportKind.SUPPLIER_PRICES, content, stocked), stocked)
    finally:
        open_quotes_requested.disconnect(effect)
    assert (data["added"], data["changed"], data["rejected"]) == (1, 0, 0)
    assert data["open_quotes"] == [{"quote": "Q-7", "effect": "+1.20"}]
    assert asked == [{"HG-1": Decimal("17.00")}]
    assert (SupplierPrice.objects.of(stocked).count(), AuditEntry.objects.count()) == before


@pytest.mark.django_db
def test_a_sheet_is_taken_in_with_who_did_it_and_each_change(stocked: Business, olive: Actor) -> None:
    content = "".join(csv_sheet(ImportKind.COMPONENTS, stocked)).replace("Gate hinge", "Gate hinge zinc")
    content += "NEW-1,New,latch" + "," * 12
    sheet, found = dry_run(ImportKind.COMPONENTS, content.encode(), stocked)
    save_import(sheet, found, stocked, actor=olive, file_name="prices.csv")
    assert Component.objects.of(stocked).get(sku="HG-1").name == "Gate hinge zinc"
    assert Component.objects.of(stocked).get(sku="HG-1").version == 2
    assert Component.objects.of(stocked).filter(sku="NEW-1").exists()
    data = AuditEntry.objects.filter(business=stocked, actor_name="Olive").order_by("number")
    assert [entry.action for entry in data] == ["import.applied", "import.changed_rows", "import.added_rows"]
    assert "Gate hinge zinc" in data[1].detail


@pytest.mark.django_db
def test_a_column_that_is_left_out_stays_as_it_is_stored(stocked: Business) -> None:
    before = Component.objects.of(stocked).get(sku="CB-25")
    found = planned(ImportKind.COMPONENTS, "sku,name\nCB-25,Concrete\n", stocked)
    assert [(item.pk, dict(item.values)) for item in found.changed] == [(before.pk, {"name": "Concrete"})]


@pytest.mark.django_db
def test_a_new_row_needs_every_column_that_has_no_default(stocked: Business) -> None:
    assert refusals(planned(ImportKind.COMPONENTS, "sku,name\nNEW,Something\n", stocked)) == [(2, "role")]


@pytest.mark.django_db
def test_a_sheet_of_another_business_refers_to_nothing_here(stocked: Business, cast: Cast) -> None:
    content = "".join(csv_sheet(ImportKind.SUPPLIER_PRICES, stocked))
    found = planned(ImportKind.SUPPLIER_PRICES, content, cast.strangers_business)
    assert found.added == []
    assert {item.column for item in found.refused} >= {"supplier", "sku"}


def packed(**parts: bytes) -> bytes:
    """A zip archive with an XLSX's obligatory names."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in {"[Content_Types].xml": b"<x/>", "xl/workbook.xml": b"<x/>", **parts}.items():
            archive.writestr(name, content)
    return buffer.getvalue()


NAMESPACE = b'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
BOOK = {
    "xl/workbook.xml": b"<workbook "
    + NAMESPACE
    + b' xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">'
    b'<sheets><sheet name="a" sheetId="1" r:id="r1"/></sheets></workbook>',
    "xl/_rels/workbook.xml.rels": b'<R><Relationship Id="r1" Target="worksheets/sheet1.xml"/></R>',
}


def booked(cells: bytes) -> bytes:
    sheet = b"<worksheet " + NAMESPACE + b"><sheetData>" + cells + b"</sheetData></worksheet>"
    return packed(**{**BOOK, "xl/worksheets/sheet1.xml": sheet})


ATTACKS = {
    "a program": (b"MZ\x90\x00" + b"\x00" * 100, "kind"),
    "an old workbook": (b"\xd0\xcf\x11\xe0" + b"\x00" * 100, "kind"),
    "a PDF": (b"%PDF-1.7", "kind"),
    "eleven megabytes": (b"a," * 5_500_000, "too-large"),
    "one line of ten megabytes": (b"sku,name\n" + b"x" * 9_000_000, "line"),
    "bytes without sense": (b"sku,name\n\x00\x01\x02", "encoding"),
    "a letter no encoding has": (b"sku,name\nA,\x81\xff\n", "encoding"),
    "nothing": (b"", "empty"),
    "a broken quote": (b'sku,name\n"A,B\n', "csv"),
    "a million rows": (b"sku,name\n" + b"a,b\n" * 1_000_000, "rows"),
    "a hundred columns": (b",".join(b"c%d" % number for number in range(100)) + b"\n", "columns"),
    "a zip of other things": (packed(**{"[Content_Types].xml": b"x"})[:-30], "xlsx"),
    "a bomb": (packed(**{**BOOK, "xl/sharedStrings.xml": b"\x00" * 60_000_000}), "bomb"),
    "a thousand members": (packed(**{f"x{number}": b"" for number in range(1000)}), "bomb"),
    "macros": (packed(**{**BOOK, "xl/vbaProject.bin": b"x"}), "macros"),
    "a path out": (packed(**{**BOOK, "../../etc/x": b"x"}), "macros"),
    "a document type": (packed(**{**BOOK, "xl/workbook.xml": b"<!DOCTYPE x [<!ENTITY a 'b'>]><x>&a;</x>"}), "xlsx"),
    "cells without end": (booked(b"<row>" + b"<c/>" * 150_000 + b"</row>"), "columns"),
    "rows without end": (booked(b"<row/>" * 60_000), "rows"),
    "nested without end": (booked(b"<a>" * 300_000), "xlsx"),
    "a column far out": (booked(b'<row><c r="XFD1"/></row>'), "columns"),
}  # fmt: skip


@pytest.mark.parametrize("name", ATTACKS)
def test_what_is_no_price_list_is_refused_quickly_and_in_little_memory(name: str) -> None:
    content, code = ATTACKS[name]
    process = psutil.Process()
    before, start = process.memory_info().rss, time.process_time()
    with pytest.raises(SheetRefusedError) as refused:
        for _ in read_sheet(content).rows:
            pass
    assert refused.value.code == code
    assert time.process_time() - start < 2
    assert process.memory_info().rss - before < 100_000_000


def xlsx(*rows: list[object]) -> bytes:
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer)
    page = book.add_worksheet()
    for number, row in enumerate(rows):
        for column, value in enumerate(row):
            page.write(number, column, value)
    book.close()
    return buffer.getvalue()


@pytest.mark.django_db
def test_a_formula_in_a_workbook_is_refused_by_its_cell(business: Business) -> None:
    content = xlsx(["sku", "name", "role"], ["A", "=1+1", "latch"])
    assert refusals(planned(ImportKind.COMPONENTS, content, business)) == [(2, "name")]


@pytest.mark.django_db
def test_numbers_and_dates_of_a_workbook_are_what_they_were_meant_to_be(business: Business) -> None:
    # 46388 is 2027-01-01 counted from 1899-12-30; 0.1 + 0.2 is stored as 0.30000000000000004
    content = xlsx(["kind", "applies_to", "value", "valid_from"], ["labour", "dig", 0.1 + 0.2, 46388])
    found = planned(ImportKind.PRICE_RULES, content, business)
    assert found.refused == []
    assert (found.added[0]["value"], str(found.added[0]["valid_from"])) == (Decimal("0.3"), "2027-01-01")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("content", "message"),
    [(b"sku,colour\nA,red\n", "unknown: colour"), (b"label\nA\n", "missing: sku"), (b"sku,sku\n", "twice")],
)
def test_a_header_that_is_not_ours_is_refused(business: Business, content: bytes, message: str) -> None:
    with pytest.raises(SheetRefusedError, match=message):
        planned(ImportKind.COMPONENTS, content, business)


@pytest.mark.django_db
@pytest.mark.slow
def test_twenty_thousand_rows_are_taken_in_in_time_with_progress(business: Business, olive: Actor) -> None:
    Finish.objects.of(business).create(code="saltmarl", name="Saltmarl")
    rows = "\n".join(
        f"SKU-{number},Rail {number},rail,saltmarl,{2000 + number % 3000},C62,5,1.25" for number in range(20_000)
    )
    content = f"sku,name,role,finish,length_mm,sale_unit,pack_size,mass_kg\n{rows}\n".encode()
    data = list[int]()
    process = psutil.Process()
    before, start = process.memory_info().rss, time.process_time()
    sheet, found = dry_run(ImportKind.COMPONENTS, content, business, progress=data.append)
    save_import(sheet, found, business, actor=olive)
    assert time.process_time() - start < 20
    assert process.memory_info().rss - before < 200_000_000
    assert Component.objects.of(business).count() == 20_000
    assert data == list(range(500, 20_001, 500))
    assert PriceRule.objects.of(business).count() == 0


def test_a_csv_file_of_too_many_rows_is_refused_before_any_is_read() -> None:
    # a name that spans lines is one row; so is the header, which is beside the 50,000
    allowed = 'sku,name\r\n"a\nb",c\r\n' + "a,b\r\n" * (MAX_ROWS - 1) + "\r\n" * 9
    assert sum(1 for _ in read_sheet(allowed.encode()).rows) == MAX_ROWS
    with pytest.raises(SheetRefusedError, match="50000 rows") as refused:
        read_sheet((allowed + "a,b\r\n").encode())  # its rows are not asked for
    assert refused.value.row == allowed.count("\n") + 1
