"""One of each thing that can be wrong with a file, sent as people send it: refused where it is wrong, soon, and whole."""

from __future__ import annotations

import io
import time
import zipfile
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import psutil
import pytest
import xlsxwriter
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from catalogue.models import Component, SupplierPrice
from shared.business.models import Business
from shared.database.audit_log import AuditEntry
from tests.catalogue.spreadsheets.test_sheets import ATTACKS, BOOK, packed
from tests.forms import squeeze

pytestmark = pytest.mark.django_db
Jobs = Callable[..., Any]
TOMORROW = (timezone.localdate() + timedelta(days=1)).isoformat()
OFFERS = "supplier,sku,price,valid_from"
PARTS = "sku,name,role,length_mm"
NOT_A_NUMBER = "Enter a number such as 1234.50"


def workbook(*rows: list[Any], formula_at: tuple[int, int] | None = None) -> bytes:
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer)
    page = book.add_worksheet()
    for number, row in enumerate(rows):
        page.write_row(number, 0, row)
    if formula_at:
        page.write_formula(*formula_at, "=1+1", None, 2)
    book.close()
    return buffer.getvalue()


def priced(price: str) -> str:
    return f"{OFFERS}\nostrel,HG-1,{price},{TOMORROW}\n"


HEAD = OFFERS.split(",")
ROW = ["ostrel", "HG-1", 3.0, TOMORROW]
# what is wrong: (kind, file, row, column, part of the reason)
ROWS: dict[str, tuple[str, str | bytes, int, str, str]] = {
    "a decimal comma where commas part columns": ("supplier_prices", priced('"3,50"'), 2, "price", NOT_A_NUMBER),
    "a currency sign before": ("supplier_prices", priced("$3.50"), 2, "price", NOT_A_NUMBER),
    "a currency sign after": ("supplier_prices", priced("3.50 €"), 2, "price", NOT_A_NUMBER),
    "a currency's code": ("supplier_prices", priced("NZD 3.50"), 2, "price", NOT_A_NUMBER),
    "thousands by commas": ("supplier_prices", priced('"1,234.50"'), 2, "price", NOT_A_NUMBER),
    "thousands by apostrophes": ("supplier_prices", priced("1'234.50"), 2, "price", NOT_A_NUMBER),
    "thousands by hard spaces": ("supplier_prices", priced("1\u00a0234.50"), 2, "price", NOT_A_NUMBER),
    "thousands by dots": ("supplier_prices", priced("@").replace(",", ";").replace("@", "1.234,50"), 2, "price", ""),
    "a number to be taken two ways": ("supplier_prices", priced("1.234").replace(",", ";"), 2, "price", "1234 or 1,2340"),
    "a break to be taken two ways": (
        "supplier_prices", f"{OFFERS},price_breaks\nostrel,HG-1,3,{TOMORROW},1.000:2\n".replace(",", ";"), 2,
        "price_breaks", "two ways",
    ),
    "seven decimals": ("supplier_prices", priced("3.1234567"), 2, "price", "At most 4 decimal places"),
    "seven decimals in a workbook": ("supplier_prices", workbook(HEAD, ["ostrel", "HG-1", 3.1234567, TOMORROW]), 2, "price", "4"),
    "Arabic digits": ("supplier_prices", priced("١٢"), 2, "price", NOT_A_NUMBER),
    "full width digits": ("supplier_prices", priced("１２"), 2, "price", NOT_A_NUMBER),
    "an exponent": ("supplier_prices", priced("1e3"), 2, "price", NOT_A_NUMBER),
    "words for a number": ("supplier_prices", priced("on request"), 2, "price", NOT_A_NUMBER),
    "no price": ("supplier_prices", priced(""), 2, "price", "must not be empty"),
    "infinity": ("supplier_prices", priced("Infinity"), 2, "price", NOT_A_NUMBER),
    "a price below nothing": ("supplier_prices", priced("-3.50"), 2, "price", "from 0"),
    "a price below nothing in a workbook": ("supplier_prices", workbook(HEAD, ["ostrel", "HG-1", -3, TOMORROW]), 2,
    "price", "from 0"),
    "a price beyond all": ("supplier_prices", priced("99999999999999"), 2, "price", "below 10000000000"),
    "a formula": ("supplier_prices", priced("=1+1"), 2, "price", "Formulas"),
    "a formula behind spaces": ("supplier_prices", priced("  =1+1"), 2, "price", "Formulas"),
    "a formula in wide letters": ("supplier_prices", priced("＝1+1"), 2, "price", "Formulas"),
    "a formula that reaches out": ("supplier_prices", priced('"=WEBSERVICE(""http://x"")"'), 2, "price", "Formulas"),
    "a formula in a workbook": ("supplier_prices", workbook(HEAD, ROW, formula_at=(1, 2)), 2, "price", "Formulas"),
    "a formula for a key in a workbook": ("supplier_prices", workbook(HEAD, ROW, formula_at=(1, 1)), 2, "sku", "Formulas"),
    "a day that is over": ("supplier_prices", priced("3").replace(TOMORROW, "2020-01-01"), 2, "valid_from", "in the past"),
    "a day as people write it": ("supplier_prices", priced("3").replace(TOMORROW, "31/12/2030"), 2, "valid_from", "2026-07-01"),
    "a day that is none": ("supplier_prices", priced("3").replace(TOMORROW, "2027-02-30"), 2, "valid_from", "2026-07-01"),
    "no day": ("supplier_prices", priced("3").replace(TOMORROW, ""), 2, "valid_from", "2026-07-01"),
    "an end before the beginning": (
        "supplier_prices", f"{OFFERS},valid_to\nostrel,HG-1,3,{TOMORROW},2020-01-01\n", 2, "valid_to", "before it begins",
    ),
    "a component that does not exist": ("supplier_prices", priced("3").replace("HG-1", "HG-9"), 2, "sku", "no component 'HG-9'"),
    "the same offer twice": ("supplier_prices", priced("3") + f"ostrel,HG-1,4,{TOMORROW}\n", 3, "valid_from", "same as in row 2"),
    "a sku twice": ("components", f"{PARTS}\nN1,New,latch,\nN1,New,latch,\n", 3, "sku", "same as in row 2"),
    "a sku twice but for spaces around": ("components", f"{PARTS}\nN1,New,latch,\n N1 ,New,latch,\n", 3, "sku", "row 2"),
    "a sku twice but for a space inside": ("components", f"{PARTS}\nN1,New,latch,\nN 1,New,latch,\n", 3, "sku", "row 2"),
    "a sku twice but for capitals": ("components", f"{PARTS}\nN1,New,latch,\nn1,New,latch,\n", 3, "sku", "row 2"),
    "a stored sku but for capitals": ("components", f"{PARTS}\nhg-1,New,latch,\n", 2, "sku", "one that is stored"),
    "no sku": ("components", f"{PARTS}\n,New,latch,\n", 2, "sku", "must not be empty"),
    "a check digit": ("components", "sku,name,role,gtin\nN1,New,latch,4006381333932\n", 2, "gtin", "check digit"),
    "a GTIN that lost its zero in a workbook": (
        "components", workbook(["sku", "name", "role", "gtin"], ["N1", "New", "latch", 36000291452]), 2, "gtin", "8, 12",
    ),
    "a unit of no list": ("components", "sku,name,role,sale_unit\nN1,New,latch,BG\n", 2, "sale_unit", "Recommendation 20"),
    "a length in metres": ("components", f"{PARTS}\nN1,New,rail,4.19\n", 2, "length_mm", "At most 0 decimal places"),
    "more cells than columns": ("components", f"{PARTS}\nN1,New,latch,,here\n", 2, "", "more cells than the header"),
    "NUL": ("components", workbook(["sku", "name", "role"], ["N1", "Ne_x0000_w", "moat"]), 2, "role", "Choose from"),
    "a role that is unknown": ("components", f"{PARTS}\nN1,New,moat,\n", 2, "role", "Choose from"),
}  # fmt: skip
ATTACKED = [name for name in ATTACKS if name not in ("eleven megabytes",)]
# what is wrong: (file, row, code, part of the reason)
FILES: dict[str, tuple[bytes, int | None, str, str]] = {
    "a column that is unknown": (b"sku,colour\nA,red\n", 1, "header", "unknown: colour"),
    "a column that is missing": (b"name,role\nA,latch\n", 1, "header", "missing: sku"),
    "a column twice": (b"sku,name,SKU\n", 1, "header", "twice: sku"),
    "no header": (b"N1,New,latch\nN2,New,latch\n", 1, "header", "unknown: n1"),
    "nothing": (b"", None, "empty", "no header"),
    "nothing but white": (b"\r\n  \r\n,,\r\n", None, "empty", "no header"),
    "nothing but a mark": (b"\xef\xbb\xbf", None, "empty", "no header"),
    "UTF-16 without its mark": ("sku,name\nA,B\n".encode("utf-16-le"), 1, "encoding", "UTF-8"),
    "UTF-32": ("sku,name\nA,B\n".encode("utf-32"), 1, "encoding", "UTF-8"),
    "a letter no encoding has": (b"sku,name\nA,B\nC,\x81\xff\n", 3, "encoding", "UTF-8"),
    "one line of ten megabytes": (b"sku,name\n" + b"x" * 9_900_000, 2, "line", "20000 characters"),
    "a header of ten megabytes": (b"sku," * 2_400_000, 1, "line", "20000 characters"),
    "a quote that never ends": (b'sku,name\nA,"B\n' + b"C,D\n" * 1000, None, "csv", ""),
    "a program": (b"MZ\x90\x00" + b"\x00" * 5000, None, "kind", "a program"),
    "a workbook of macros": (packed(**{**BOOK, "xl/vbaProject.bin": b"x"}), None, "macros", "without"),
}  # fmt: skip


def count_stored(business: Business) -> tuple[int, ...]:
    return (
        Component.objects.of(business).count(),
        SupplierPrice.objects.of(business).count(),
        AuditEntry.objects.filter(business=business).exclude(action="member.added").count(),
    )


def send(client: Client, content: bytes, query: str) -> Any:
    return client.post(f"/api/v1/imports?{query}", content, content_type="application/octet-stream")


@pytest.mark.parametrize("name", ROWS)
def test_a_bad_row_is_named_with_its_column_and_reason_and_keeps_the_whole_file_out(
    owner_client: Client, stocked: Business, django_capture_on_commit_callbacks: Jobs, name: str
) -> None:
    kind, text, row, column, message = ROWS[name]
    content, before = text if isinstance(text, bytes) else text.encode(), count_stored(stocked)
    data = send(owner_client, content, f"kind={kind}&dry_run=true").json()
    assert [(refusal["row"], refusal["column"]) for refusal in data["errors"]] == [(row, column)], data
    assert message in data["errors"][0]["reason"]
    with django_capture_on_commit_callbacks(execute=True):
        asked = send(owner_client, content, f"kind={kind}")
    done = owner_client.get(asked["Location"]).json()
    assert (done["status"], done["report"]["errors"]) == ("rejected", data["errors"])
    assert count_stored(stocked) == before


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_is_no_sheet_is_a_problem_that_names_its_line(
    owner_client: Client, business: Business, django_capture_on_commit_callbacks: Jobs, name: str
) -> None:
    content, row, code, message = FILES[name]
    tried = send(owner_client, content, "kind=components&dry_run=true")
    assert tried.status_code == 422, tried.content
    [fault] = tried.json()["errors"]
    assert row is None or fault["pointer"] == f"#/rows/{row}"
    assert (fault["code"], message in fault["detail"]) == (f"file.{code}", True), fault
    with django_capture_on_commit_callbacks(execute=True):
        asked = send(owner_client, content, "kind=components")
    if asked.status_code == 202:  # its header is one; what comes after is read by the job
        done = owner_client.get(asked["Location"]).json()
        data = done["report"]["errors"][0]
        assert (done["status"], data["reason"]) == ("rejected", fault["detail"])
        assert f"#/rows/{data['row']}" == fault["pointer"]
    else:
        assert asked.json()["errors"] == [fault]
    assert count_stored(business) == (0, 0, 0)


def test_the_page_names_the_row_too_before_and_after_a_file_was_taken_in(
    owner_client: Client, stocked: Business, django_capture_on_commit_callbacks: Jobs
) -> None:
    def sent(content: bytes, action: str) -> str:
        file = SimpleUploadedFile("prices.csv", content)
        with django_capture_on_commit_callbacks(execute=True):
            answer: Any = owner_client.post(
                "/prices/import", {"kind": "supplier_prices", "file": file, "do": action}, follow=True
            )
        return str(answer.content.decode())

    assert "Row 3: The characters can&#x27;t be read" in sent(b"supplier,sku\nA,B\nC,\x81\xff\n", "try")
    two = (priced("-3.50") + f"unknown,HG-1,3,{TOMORROW}\n").encode()
    tried = squeeze(sent(two, "try"))
    assert '<td>2</td><td data-head="Column">price</td>' in tried
    assert '<td>3</td><td data-head="Column">supplier</td>' in tried
    sent(two, "take")
    after = squeeze(owner_client.get("/prices/import").content.decode())
    assert "rejected: row 2, price: Enter a number from 0" in after
    assert "And 1 more." in after


@pytest.mark.parametrize("name", ATTACKED)
def test_an_attack_by_file_is_answered_within_two_seconds_and_in_little_memory(
    owner_client: Client, business: Business, name: str
) -> None:
    content = ATTACKS[name][0]
    process = psutil.Process()
    before, start = process.memory_info().rss, time.process_time()
    answer = send(owner_client, content, "kind=components&dry_run=true")
    assert answer.status_code in (200, 413, 422)
    if answer.status_code == 200:
        assert answer.json()["rejected"] > 0
    assert time.process_time() - start < 2
    assert process.memory_info().rss - before < 100_000_000


def test_a_hundred_megabytes_are_refused_before_they_are_read(owner_client: Client, business: Business) -> None:
    content = bytes(100_000_000)
    process = psutil.Process()
    before, start = process.memory_info().rss, time.process_time()
    answer = send(owner_client, content, "kind=components")
    assert (answer.status_code, answer["Content-Type"]) == (413, "application/problem+json")
    assert time.process_time() - start < 2
    assert process.memory_info().rss - before < 220_000_000  # the test's own client copies the body first


def test_a_member_that_lies_about_its_size_is_not_unpacked(owner_client: Client, business: Business) -> None:
    content = bytearray(packed(**{**BOOK, "xl/sharedStrings.xml": b"\x00" * 30_000_000}))
    with zipfile.ZipFile(io.BytesIO(bytes(content))) as archive:
        size = archive.getinfo("xl/sharedStrings.xml").file_size
    while (at := content.find(size.to_bytes(4, "little"))) >= 0:
        content[at : at + 4] = (100).to_bytes(4, "little")
    start = time.process_time()
    assert send(owner_client, bytes(content), "kind=components").status_code == 422
    assert time.process_time() - start < 2


@pytest.mark.parametrize(
    ("price", "separator", "value"),
    [
        ("3.50", ",", "3.5"),
        ("3,50", ";", "3.5"),
        ("3,505", ";", "3.505"),
        ("0.125", ";", "0.125"),
        ("12345.678", ";", "12345.678"),
        ("+3.50", ",", "3.5"),
        (" 3.50 ", "|", "3.5"),
        ("3,50", "\t", "3.5"),
        ("1.234", ",", "1.234"),
    ],
)
def test_a_number_that_can_be_taken_one_way_only_is_understood(
    owner_client: Client, stocked: Business, price: str, separator: str, value: str
) -> None:
    content = separator.join(HEAD) + "\n" + separator.join(["ostrel", "HG-1", price, TOMORROW]) + "\n"
    data = send(owner_client, content.encode(), "kind=supplier_prices&dry_run=true").json()
    assert data["rejected"] == 0, data
    assert Decimal(data["added_rows"][0]["price"]) == Decimal(value)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_letters_are_understood_in_the_encodings_that_people_s_programs_write(
    owner_client: Client, business: Business, encoding: str
) -> None:
    content = "sku;name;role\nV1;Verschluß für Türen;latch\n".encode(encoding)
    data = send(owner_client, content, "kind=components&dry_run=true").json()
    assert [row["name"] for row in data["added_rows"]] == ["Verschluß für Türen"]


def test_skus_that_differ_by_capitals_and_are_stored_so_still_go_out_and_in(
    business: Business, owner_client: Client
) -> None:
    for sku in ("N1", "n1"):
        Component.objects.of(business).create(sku=sku, name="Latch", role="latch")
    content = b"sku,name,role\nN1,Latch,latch\nn1,Latch,latch\n"
    data = send(owner_client, content, "kind=components&dry_run=true").json()
    assert (data["unchanged"], data["rejected"]) == (2, 0)
