"""A supplier's system by HTTP: it sees its own orders, answers them in JSON or UBL to the same effect, and never twice."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import openpyxl
import pypdf
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from catalogue.models import SupplierPrice
from quotes.integrations import order_spreadsheet
from quotes.integrations.messages.despatch_advice import UblDespatchAdvice, UblDespatchLine, write_despatch
from quotes.integrations.messages.order_response import (
    LineStatus,
    ResponseCode,
    ResponseLine,
    UblOrderResponse,
    write_response,
)
from quotes.integrations.order_formats import ubl_values
from quotes.integrations.ubl.xml import parse
from quotes.purchasing import services
from quotes.purchasing.models import SupplierOrder
from shared.business.actors import SYSTEM
from shared.business.roles import Scope
from shared.database.audit_log import AuditEntry, verify
from shared.members.services import issue_key
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.integrations.conftest import offers, post, post_xml
from tests.quotes.integrations.order_reader import read_order
from tests.quotes.integrations.totals_check import wrong_sums
from tests.quotes.purchasing.cast import component_of, drafted, now, placed, seller_of
from tests.quotes.quoting.cast import actor_of

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def order(yard: Business, cast: Cast) -> SupplierOrder:
    return placed(yard, account=cast.supplier)


def test_a_supplier_sees_its_orders_once_they_are_placed_and_nothing_of_the_jobs(
    yard: Business, cast: Cast, theirs: Client
) -> None:
    draft = drafted(yard, account=cast.supplier)
    assert theirs.get("/api/v1/supply/orders").json()["items"] == []
    assert theirs.get(f"/api/v1/supply/orders/{draft.ref}").status_code == 404
    services.place(order=draft, actor=actor_of(yard))
    [listed] = theirs.get("/api/v1/supply/orders?include=lines").json()["items"]
    assert [line["line"] for line in listed["lines"]] == [1, 2]
    data = theirs.get(f"/api/v1/supply/orders/{listed['ref']}").json()
    assert data["buyer"]["name"] == yard.name
    assert "receipts" not in data
    assert not {"jobs", "purchase_reason", "account"} & set(data["lines"][0])


def test_another_suppliers_order_is_not_there(
    cast: Cast, order: SupplierOrder, key_client: Callable[..., Client]
) -> None:
    other = key_client(supplier=cast.other_supplier)
    random = other.get("/api/v1/supply/orders/nowhere")
    theirs = other.get(f"/api/v1/supply/orders/{order.ref}")
    assert (theirs.status_code, random.status_code) == (404, 404)
    assert {**theirs.json(), "instance": ""} == {**random.json(), "instance": ""}
    post(other, f"supply/orders/{order.ref}/responses", {"number": "R", "code": "AP"}, 404)


def test_a_key_that_may_only_read_does_not_despatch(
    cast: Cast, order: SupplierOrder, key_client: Callable[..., Client]
) -> None:
    reader = key_client(Scope.SUPPLY_READ, supplier=cast.supplier)
    body = {"number": "D1", "lines": [{"line": 1, "quantity": "1"}]}
    assert post(reader, f"supply/orders/{order.ref}/despatches", body, 403)["scope"] == "supply:write"


def test_polling_alone_misses_nothing(yard: Business, cast: Cast, theirs: Client) -> None:
    orders = [placed(yard, account=cast.supplier) for _ in range(3)]
    seen = theirs.get("/api/v1/supply/orders?after_sequence=0&page_size=2").json()
    assert [item["number"] for item in seen["items"]] == ["O0001", "O0002"]
    services.cancel(order=orders[0], actor=actor_of(yard), reason="withdrawn")
    rest = theirs.get(f"/api/v1/supply/orders?after_sequence={seen['items'][-1]['change_sequence']}").json()
    assert [(item["number"], item["status"]) for item in rest["items"]] == [("O0003", "placed"), ("O0001", "cancelled")]
    assert theirs.get("/api/v1/supply/orders?after_sequence=-1").status_code == 400


def test_every_form_of_an_order_says_the_same_total(order: SupplierOrder, theirs: Client) -> None:
    address = f"/api/v1/supply/orders/{order.ref}"
    total = theirs.get(address).json()["total"]
    xml = read_order(theirs.get(address, headers={"Accept": "application/xml"}).content)
    assert wrong_sums(xml) == []
    rows = list(csv.DictReader(io.StringIO(theirs.get(f"{address}.csv").content.decode())))
    by_line = [row for row in rows if row["line"]]
    assert D(rows[-1]["net_amount"]) == D(total) == xml.payable
    assert sum(D(row["net_amount"]) for row in by_line) == xml.lines_total
    book: Any = openpyxl.load_workbook(io.BytesIO(theirs.get(f"{address}.xlsx").content)).active
    *_, last = book.iter_rows(values_only=True)
    assert D(str(last[order_spreadsheet.HEAD.index("net_amount")])) == D(total)
    pdf = theirs.get(address, headers={"Accept": "application/pdf"})
    assert pdf["Content-Type"] == "application/pdf"
    assert _words(pdf.content).count(f"{D(total):,.2f}") == 1
    assert theirs.get(f"{address}.docx").status_code == 404
    assert theirs.get(address, headers={"Accept": "image/png"}).status_code == 406


def test_an_order_that_was_refused_whole_has_its_lines_of_nothing_in_ubl(order: SupplierOrder, theirs: Client) -> None:
    post(theirs, f"supply/orders/{order.ref}/responses", {"number": "R1", "code": "RE", "note": "closed for good"})
    body = theirs.get(f"/api/v1/supply/orders/{order.ref}.xml").content
    parse(body, "Order")  # UBL 2.1: OrderLine from 1 to n
    data = read_order(body)
    assert (wrong_sums(data), data.payable, {line.quantity for line in data.lines}) == ([], D(0), {D(0)})


def _words(pdf: bytes) -> str:
    return " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)


def response(order: SupplierOrder, code: ResponseCode, *lines: ResponseLine) -> bytes:
    data = ubl_values(order)
    return write_response(
        UblOrderResponse("R1", date(2031, 5, 6), order.number, code, order.currency, data.buyer, data.seller, lines)
    )


def advice(order: SupplierOrder, *lines: UblDespatchLine) -> bytes:
    data = ubl_values(order)
    return write_despatch(UblDespatchAdvice("D1", date(2031, 5, 6), order.number, data.buyer, data.seller, lines))


def state(data: dict[str, Any]) -> dict[str, Any]:
    """Return the fields of an order without its identity and times."""
    own = {"ref", "number", "placed_at", "updated_at", "change_sequence", "responses", "despatches"}
    return {name: value for name, value in data.items() if name not in own}


def test_a_ubl_response_and_advice_do_what_json_does(yard: Business, cast: Cast, theirs: Client) -> None:
    one, other = placed(yard, account=cast.supplier), placed(yard, account=cast.supplier)
    lines = [
        {"line": 1, "action": "change", "quantity": "4", "promised_on": "2031-06-01", "reason": "six later"},
        {"line": 2, "action": "reject", "reason": "no longer made"},
    ]
    by_json = post(theirs, f"supply/orders/{one.ref}/responses", {"number": "R1", "code": "CA", "lines": lines})
    by_xml = post_xml(
        theirs,
        f"supply/orders/{other.ref}/responses",
        response(
            other,
            ResponseCode.CONDITIONAL,
            ResponseLine(
                "1", "1", LineStatus.CHANGED, "Rail", D(4), "C62", promised_on=date(2031, 6, 1), note="six later"
            ),
            ResponseLine("2", "2", LineStatus.REFUSED, "Screw", note="no longer made"),
        ),
    )
    assert state(by_json) == state(by_xml)
    assert by_json["response_status"] == "partly_accepted"
    docket = {"number": "D1", "lines": [{"line": 1, "quantity": "4", "outstanding_reason": "six later"}]}
    json_road = post(theirs, f"supply/orders/{one.ref}/despatches", docket)
    loaded = UblDespatchLine("1", "1", "Rail", D(4), "C62", outstanding=D(6), outstanding_reason="six later")
    xml_road = post_xml(theirs, f"supply/orders/{other.ref}/despatches", advice(other, loaded))
    assert state(json_road) == state(xml_road)
    assert json_road["lines"][0]["in_transit"] == "4"


def test_the_same_document_five_times_is_one(order: SupplierOrder, theirs: Client) -> None:
    body = advice(order, UblDespatchLine("1", "1", "Rail", D(4), "C62"))
    post_xml(theirs, f"supply/orders/{order.ref}/despatches", body)
    for _ in range(4):
        again = post_xml(theirs, f"supply/orders/{order.ref}/despatches", body, 200)
    assert (again["lines"][0]["in_transit"], len(again["despatches"])) == ("4", 1)


def test_a_document_about_another_order_line_or_currency_is_refused_by_rule(
    order: SupplierOrder, theirs: Client
) -> None:
    path = f"supply/orders/{order.ref}/responses"
    data = ubl_values(order)
    other = UblOrderResponse(
        "R1",
        date(2031, 5, 6),
        "O9999",
        ResponseCode.CONDITIONAL,
        "EUR",
        data.buyer,
        data.seller,
        (ResponseLine("1", "7", LineStatus.ACCEPTED, "Rail"),),
    )
    errors = post_xml(theirs, path, write_response(other), 422)["errors"]
    assert [error["code"] for error in errors] == ["order.other", "currency", "unknown"]
    with_lines = response(order, ResponseCode.ACCEPTED, ResponseLine("1", "1", LineStatus.ACCEPTED, "Rail"))
    assert post_xml(theirs, path, with_lines, 422)["errors"][0]["code"] == "PEPPOL-T76-R008"


@pytest.mark.parametrize(
    ("line", "pointer"),
    [
        (ResponseLine("1", "1", LineStatus.CHANGED, "Rail", D("0.00001"), "C62"), "#/lines/0/quantity"),
        (ResponseLine("1", "1", LineStatus.CHANGED, "Rail", D(-1), "C62"), "#/lines/0/quantity"),
        (ResponseLine("1", "1", LineStatus.CHANGED, "Rail", price=D("-0.01")), "#/lines/0/price"),
        (ResponseLine("1", "1", LineStatus.CHANGED, "Rail", price=D("1" * 40)), "#/lines/0/price"),
        (ResponseLine("1", "1", LineStatus.REFUSED, "Rail", note="x" * 501), "#/lines/0/reason"),
        (ResponseLine("1", "1", LineStatus.CHANGED, "Rail", D(4), "MTR"), "#/OrderLine/0/Quantity"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_document_is_held_to_the_bounds_of_json(
    order: SupplierOrder, theirs: Client, line: ResponseLine, pointer: str
) -> None:
    body = response(order, ResponseCode.CONDITIONAL, line)
    data = post_xml(theirs, f"supply/orders/{order.ref}/responses", body, 422)
    assert [error["pointer"] for error in data["errors"]] == [pointer]
    assert now(order).version == order.version


def test_a_docket_is_too_and_names_pieces_by_any_code_for_one(order: SupplierOrder, theirs: Client) -> None:
    path = f"supply/orders/{order.ref}/despatches"
    for quantity, unit, pointer in (
        (D("0.0001"), "C62", "#/lines/0/quantity"),
        (D(4), "KGM", "#/DespatchLine/0/DeliveredQuantity"),
        (D(0), "C62", "#/lines"),
    ):
        data = post_xml(theirs, path, advice(order, UblDespatchLine("1", "1", "Rail", quantity, unit)), 422)
        assert [error["pointer"] for error in data["errors"]] == [pointer]
    post_xml(theirs, path, advice(order, UblDespatchLine("1", "1", "Rail", D(4), "H87")))


@pytest.mark.parametrize(
    "body",
    [
        b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><x>&a;</x>',
        b"<x" + b"><x" * 300 + b">",
        b"not xml",
        b"",
        b'<Order xmlns="urn:other"/>',
    ],
)
def test_an_attack_by_xml_is_refused_and_changes_nothing(order: SupplierOrder, theirs: Client, body: bytes) -> None:
    post_xml(theirs, f"supply/orders/{order.ref}/responses", body, 422)
    assert now(order).version == order.version


def test_a_document_over_a_megabyte_is_refused_unread(order: SupplierOrder, theirs: Client) -> None:
    body = b"<x>" + b" " * 1_000_000 + b"</x>"
    post_xml(theirs, f"supply/orders/{order.ref}/responses", body, 413)
    post_xml(theirs, f"supply/orders/{order.ref}/despatches", body, 413)


def test_the_log_goes_on_after_the_event_one_knows(yard: Business, cast: Cast, theirs: Client) -> None:
    order = placed(yard, account=cast.supplier)
    [first] = theirs.get("/api/v1/supply/events").json()["items"]
    assert (first["type"], first["sequence"]) == ("order.placed", 2)
    assert first["details"]["total"] == theirs.get(f"/api/v1/supply/orders/{order.ref}").json()["total"]
    services.cancel(order=order, actor=actor_of(yard), reason="withdrawn")
    [second] = theirs.get(f"/api/v1/supply/events?after={first['ref']}").json()["items"]
    assert (second["type"], second["details"]["reason"]) == ("order.cancelled", "withdrawn")
    assert theirs.get("/api/v1/supply/events?after=nothing").status_code == 404


def test_who_lost_everything_catches_up_from_the_log_alone(yard: Business, cast: Cast, theirs: Client) -> None:
    order = placed(yard, account=cast.supplier)
    post(theirs, f"supply/orders/{order.ref}/despatches", {"number": "D1", "lines": [{"line": 1, "quantity": "4"}]})
    post(theirs, f"supply/orders/{order.ref}/despatches", {"number": "D2", "lines": [{"line": 1, "quantity": "6"}]})
    events = theirs.get("/api/v1/supply/events").json()["items"]
    sent = sum(D(event["details"]["lines"]["1"]) for event in events if event["type"] == "order.despatched")
    assert sent == D(theirs.get(f"/api/v1/supply/orders/{order.ref}").json()["lines"][0]["in_transit"])


def test_a_batch_of_prices_is_judged_one_by_one_and_a_dry_run_says_the_same(
    yard: Business, cast: Cast, theirs: Client
) -> None:
    seller_of(yard, component_of(yard, "rail"), cast.supplier)
    batch = {"prices": [*offers(yard, "1.25", "1,5"), {**offers(yard, "2.00", sku="nothing")[0]}]}
    before = SupplierPrice.objects.of(yard).count()
    dry = post(theirs, "supply/prices/bulk?dry_run=true", batch, 207)
    assert [item["status"] for item in dry["items"]] == [200, 422, 422]
    assert SupplierPrice.objects.of(yard).count() == before
    live = post(theirs, "supply/prices/bulk", batch, 207)
    assert [item["errors"] for item in live["items"]] == [item["errors"] for item in dry["items"]]
    assert live["items"][1]["errors"][0]["pointer"] == "#/prices/1/price"
    assert (live["stored_count"], SupplierPrice.objects.of(yard).count()) == (1, before + 1)


@pytest.mark.parametrize("way", ["", "?all_or_nothing=true", "?dry_run=true"])
def test_a_batch_whose_answer_was_lost_is_sent_again_and_is_unchanged(
    yard: Business, cast: Cast, theirs: Client, way: str
) -> None:
    seller_of(yard, component_of(yard, "rail"), cast.supplier)
    template = offers(yard, "1.25")[0]
    days = [(timezone.localdate() + timedelta(days=day)).isoformat() for day in range(3)]
    batch = {"prices": [{**template, "valid_from": day, "price_breaks": [["10", "1.2"]]} for day in days]}
    first = post(theirs, "supply/prices/bulk", batch, 207)
    assert [item["result"] for item in first["items"]] == ["stored"] * 3
    before, entries = SupplierPrice.objects.of(yard).count(), AuditEntry.objects.filter(business=yard).count()
    again = post(theirs, f"supply/prices/bulk{way}", batch, 207)
    assert [(item["status"], item["result"]) for item in again["items"]] == [(200, "unchanged")] * 3
    assert [item["ref"] for item in again["items"]] == [item["ref"] for item in first["items"]]
    assert (again["stored_count"], again["unchanged_count"]) == (0, 3)
    assert (SupplierPrice.objects.of(yard).count(), AuditEntry.objects.filter(business=yard).count()) == (
        before,
        entries,
    )
    another = {"prices": [{**batch["prices"][0], "price": "1.26"}]}
    data = post(theirs, f"supply/prices/bulk{way}", another, 207)
    assert data["items"][0]["errors"][0]["code"] == "valid_from.taken"


def test_all_or_nothing_stores_nothing_when_one_is_refused(yard: Business, cast: Cast, theirs: Client) -> None:
    seller_of(yard, component_of(yard, "rail"), cast.supplier)
    before = SupplierPrice.objects.of(yard).count()
    data = post(theirs, "supply/prices/bulk?all_or_nothing=true", {"prices": offers(yard, "1.25", "-1")}, 207)
    assert [item["status"] for item in data["items"]] == [424, 422]
    assert SupplierPrice.objects.of(yard).count() == before


def test_a_large_batch_takes_no_more_queries_than_a_small_one_and_each_price_its_entry(
    yard: Business, cast: Cast, theirs: Client
) -> None:
    seller_of(yard, component_of(yard, "rail"), cast.supplier)
    template = offers(yard, "1.25")[0]
    days = [(timezone.localdate() + timedelta(days=day)).isoformat() for day in range(1, 41)]
    many = [{**template, "valid_from": day} for day in days]

    def call_with(count: int, status: str) -> tuple[int, Any]:
        with CaptureQueriesContext(connection) as queries:
            data = post(theirs, f"supply/prices/bulk{status}", {"prices": many[:count]}, 207)
        return len(queries), data

    call_with(1, "?dry_run=true")  # which also notes when the key was used last
    assert call_with(1, "?dry_run=true")[0] == call_with(40, "?dry_run=true")[0]
    few, _ = call_with(1, "")
    more, data = call_with(40, "")
    assert few == more
    # the first was stored by the call before; the others give the queries of their audit entries
    assert [item["status"] for item in data["items"]] == [200, *[201] * 39]
    assert data["items"][0]["result"] == "unchanged"
    entries = AuditEntry.objects.filter(business=yard, action="offer.added")
    assert {entry.subject for entry in entries} >= {f"offer:{item['ref']}" for item in data["items"][1:]}
    assert list(verify(yard)) == []


def test_of_two_prices_from_the_same_day_in_a_batch_the_first_counts(
    yard: Business, cast: Cast, theirs: Client
) -> None:
    seller_of(yard, component_of(yard, "rail"), cast.supplier)
    one = offers(yard, "1.25")[0]
    ended = {**one, "valid_to": (timezone.localdate() - timedelta(days=1)).isoformat()}
    data = post(theirs, "supply/prices/bulk", {"prices": [ended, one, {**one, "price": "2"}, 7]}, 207)["items"]
    assert [(row["status"], [error["pointer"] for error in row["errors"]]) for row in data] == [
        (422, ["#/prices/0/valid_to"]),
        (201, []),
        (422, ["#/prices/2/valid_from"]),
        (422, ["#/prices/3"]),
    ]


@pytest.fixture
def trial(cast: Cast) -> Client:
    _, text = issue_key(
        name="trial",
        scopes=[Scope.SUPPLY_READ, Scope.SUPPLY_WRITE, Scope.SUPPLY_PRICES_WRITE, Scope.SUPPLY_PRICES_READ],
        supplier_account=cast.supplier,
        live=False,
        actor=SYSTEM,
    )
    return Client(headers={"Authorization": f"Bearer {text}"})


def test_a_test_key_sees_the_sandbox_and_a_live_key_never_does(
    order: SupplierOrder, trial: Client, theirs: Client
) -> None:
    made = post(trial, "supply/sandbox/orders")
    refs = {item["ref"] for item in trial.get("/api/v1/supply/orders").json()["items"]}
    assert made["ref"] in refs
    assert order.ref not in refs
    assert [item["ref"] for item in theirs.get("/api/v1/supply/orders").json()["items"]] == [order.ref]
    assert theirs.get(f"/api/v1/supply/orders/{made['ref']}").status_code == 404
    assert post(theirs, "supply/sandbox/orders", status=403)["code"] == "forbidden"


def test_a_test_key_reads_and_changes_no_real_price_and_a_live_key_no_price_of_the_sandbox(
    yard: Business, cast: Cast, trial: Client, theirs: Client
) -> None:
    real = seller_of(yard, component_of(yard, "rail"), cast.supplier)
    sandbox = post(trial, "supply/sandbox/orders")["business"]["ref"]
    for client, own, others in ((trial, sandbox, yard.ref), (theirs, yard.ref, sandbox)):
        seen = client.get("/api/v1/supply/prices?page_size=200").json()["items"]
        assert {item["business"] for item in seen} == {own}
        assert client.get(f"/api/v1/supply/prices?business={others}").json()["items"] == []
        sku = seen[0]["component"]
        body = {"business": others, "component": sku, "price": "0.01", "valid_from": "2999-01-01"}
        assert post(client, "supply/prices", body, 422)["errors"][0]["pointer"] == "#/business"
        post(client, "supply/prices", {**body, "business": own})
    offer = SupplierPrice.objects.of(yard).filter(supplier=real).latest("id")
    assert trial.get(f"/api/v1/supply/prices/{offer.ref}").status_code == 404
    change = trial.patch(
        f"/api/v1/supply/prices/{offer.ref}", {"price": "9.99"}, "application/json", headers={"If-Match": "*"}
    )
    assert change.status_code == 404


def test_the_whole_cycle_runs_in_the_sandbox_and_a_reset_begins_anew(trial: Client, mailoutbox: list[Any]) -> None:
    made = post(trial, "supply/sandbox/orders")
    ref = made["ref"]
    post(trial, f"supply/orders/{ref}/responses", {"number": "R1", "code": "AP"})
    lines = [{"line": line["line"], "quantity": line["quantity"]} for line in made["lines"]]
    assert post(trial, f"supply/orders/{ref}/despatches", {"number": "D1", "lines": lines})["status"] == "despatched"
    post(trial, "supply/sandbox/reset", status=200)
    states = [item["status"] for item in trial.get("/api/v1/supply/orders").json()["items"]]
    assert states.count("placed") == 2
    assert "despatched" not in states
    assert mailoutbox == []


def test_an_owner_lets_a_suppliers_system_in(yard: Business, owner_client: Client) -> None:
    supplier = seller_of(yard, component_of(yard, "rail"))
    order = placed(yard)
    answer = owner_client.post(
        f"/api/v1/suppliers/{supplier.ref}/keys",
        {"name": "till"},
        "application/json",
        headers={"Idempotency-Key": "k1"},
    )
    assert answer.status_code == 201
    machine = Client(headers={"Authorization": f"Bearer {answer.json()['secret']}"})
    assert [item["ref"] for item in machine.get("/api/v1/supply/orders").json()["items"]] == [order.ref]


def test_the_owner_downloads_an_order_too(order: SupplierOrder, owner_client: Client) -> None:
    xml = owner_client.get(f"/api/v1/orders/{order.ref}/document.xml")
    assert read_order(xml.content).id == order.number
