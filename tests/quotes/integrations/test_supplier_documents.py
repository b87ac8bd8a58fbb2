"""Replies and dockets go out as valid UBL and state what was received; an order goes out by mail, once."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import openpyxl
import pypdf
import pytest
from django.test import Client
from django.utils import timezone
from lxml import etree

from quotes.documents.models import Document
from quotes.integrations.messages.despatch_advice import read_despatch
from quotes.integrations.messages.order_response import read_response
from quotes.integrations.ubl.xml import SCHEMAS
from quotes.jobs.services import move_job
from quotes.purchasing import services, stock_services
from quotes.purchasing.models import StockItem, SupplierOrder
from quotes.purchasing.tasks import release_cancelled_jobs
from shared.background import runner
from shared.models import Business, OutboxTask
from tests.conftest import Cast
from tests.quotes.integrations.conftest import post, post_xml
from tests.quotes.purchasing.cast import agreed_job, component_of, drafted, now, placed
from tests.quotes.quoting.cast import actor_of

pytestmark = pytest.mark.django_db


D = Decimal
SAID = [
    {"line": 1, "action": "change", "quantity": "4", "promised_on": "2031-06-01", "reason": "six  later"},
    {"line": 2, "action": "change", "price": "2.605", "reason": "steel & <zinc>"},
]


@pytest.fixture
def order(yard: Business, cast: Cast) -> SupplierOrder:
    return placed(yard, account=cast.supplier)


def valid(body: bytes, name: str) -> bytes:
    """Judged by the OASIS schema itself, not by the reader."""
    etree.XMLSchema(etree.parse(str(SCHEMAS / f"UBL-{name}-2.1.xsd"))).assertValid(etree.fromstring(body))
    return body


@pytest.mark.parametrize("path", ["supply/orders", "orders"])
def test_a_reply_goes_out_as_it_came_in_to_both_sides(
    order: SupplierOrder, theirs: Client, owner_client: Client, path: str
) -> None:
    asked = {"number": "R1", "code": "CA", "note": "see lines", "lines": SAID}
    [data] = post(theirs, f"supply/orders/{order.ref}/responses", asked)["responses"]
    client = theirs if path.startswith("supply") else owner_client
    answer = client.get(f"/api/v1/{path}/{order.ref}/responses/{data['ref']}.xml")
    # a row's own number tells how many there are in all businesses: only the public ref is shown
    assert f"{order.number}-response-{data['ref']}.xml" in answer["Content-Disposition"]
    response = read_response(valid(answer.content, "OrderResponse"))
    assert (response.id, response.order, response.code.value, response.note) == ("R1", order.number, "CA", "see lines")
    first, second = response.lines
    assert (first.status.value, first.quantity, str(first.promised_on), first.note) == (
        "3",
        D(4),
        "2031-06-01",
        "six later",
    )
    assert (second.price, second.note) == (D("2.605"), "steel & <zinc>")


@pytest.mark.parametrize(("code", "state"), [("AB", "placed"), ("AP", "acknowledged"), ("RE", "cancelled")])
def test_a_reply_to_the_whole_carries_no_lines_and_is_known_when_it_comes_back(
    order: SupplierOrder, theirs: Client, code: str, state: str
) -> None:
    path = f"supply/orders/{order.ref}/responses"
    made = post(theirs, path, {"number": "R1", "code": code})
    body = theirs.get(f"/api/v1/{path}/{made['responses'][0]['ref']}.xml").content
    response = read_response(valid(body, "OrderResponse"))
    assert (response.code.value, response.lines, made["status"]) == (code, (), state)
    # the same reply once more, as a document: nothing happens twice
    assert len(post_xml(theirs, path, body, 200)["responses"]) == 1


def test_a_docket_goes_out_with_what_is_still_to_come_and_is_known_when_it_comes_back(
    order: SupplierOrder, theirs: Client, owner_client: Client
) -> None:
    path = f"supply/orders/{order.ref}/despatches"
    lines = [{"line": 1, "quantity": "4", "outstanding_reason": "six later"}, {"line": 2, "quantity": "100"}]
    made = post(
        theirs, path, {"number": "D1", "despatched_on": "2031-05-06", "arrives_on": "2031-05-07", "lines": lines}
    )
    ref = made["despatches"][0]["ref"]
    body = theirs.get(f"/api/v1/{path}/{ref}.xml").content
    assert owner_client.get(f"/api/v1/orders/{order.ref}/despatches/{ref}.xml").content == body
    advice = read_despatch(valid(body, "DespatchAdvice"))
    first, second = advice.lines
    assert (first.quantity, first.outstanding, first.outstanding_reason) == (D(4), D(6), "six later")
    assert (second.quantity, second.outstanding) == (D(100), None)
    assert all(line.seller_sku for line in advice.lines)
    again = post_xml(theirs, path, body, 200)
    assert (len(again["despatches"]), again["lines"][0]["in_transit"]) == (1, "4")


def test_another_orders_documents_are_not_there(
    yard: Business, cast: Cast, order: SupplierOrder, theirs: Client, key_client: Callable[..., Any]
) -> None:
    made = post(theirs, f"supply/orders/{order.ref}/responses", {"number": "R1", "code": "AB"})["responses"][0]["ref"]
    second = placed(yard, account=cast.supplier)
    assert theirs.get(f"/api/v1/supply/orders/{second.ref}/responses/{made}.xml").status_code == 404
    stranger = key_client(supplier=cast.other_supplier)
    assert stranger.get(f"/api/v1/supply/orders/{order.ref}/responses/{made}.xml").status_code == 404


def run_due() -> None:
    """Everything that is due now, as the sweep does."""
    for pk in list(OutboxTask.objects.filter(state="queued", due_at__lte=timezone.now()).values_list("pk", flat=True)):
        runner.run(pk)


def test_the_order_is_mailed_once_with_a_list_to_read_and_one_to_load(yard: Business, mailoutbox: list[Any]) -> None:
    supplier = drafted(yard).supplier
    supplier.email = "yard@example.test"
    supplier.save()
    order = placed(yard)
    for _ in range(3):  # the list is made, then mailed, then mailed no more
        run_due()
        OutboxTask.objects.filter(handler="integrations.mail_order").update(state="queued", leased_until=None)
    [mail] = [item for item in mailoutbox if item.to == ["yard@example.test"]]
    (pdf_name, pdf, _), (csv_name, table, _), (xlsx_name, book, _) = mail.attachments
    assert (pdf_name, csv_name, xlsx_name) == tuple(f"{order.number}.{form}" for form in ("pdf", "csv", "xlsx"))
    assert pdf == Document.objects.of(yard).get(subject=order.ref).pdf
    assert openpyxl.load_workbook(io.BytesIO(book)).sheetnames == [order.number]
    assert order.number in pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
    text = table if isinstance(table, str) else table.decode()
    assert Decimal(list(csv.DictReader(io.StringIO(text)))[-1]["net_amount"]) == order.total
    assert now(order).mailed_at is not None


def test_an_order_changed_before_its_list_was_made_is_mailed_as_it_stands(
    yard: Business, mailoutbox: list[Any]
) -> None:
    supplier = drafted(yard).supplier
    supplier.email = "yard@example.test"
    supplier.save()
    order = placed(yard)
    services.cancel_outstanding(order=order, actor=actor_of(yard), positions=[1], reason="found ten in the yard")
    for _ in range(2):
        run_due()
    [mail] = mailoutbox
    (_, pdf, _), (_, table, _), _ = mail.attachments
    rows = list(csv.DictReader(io.StringIO(table if isinstance(table, str) else table.decode())))
    assert [row["line"] for row in rows if row["line"]] == ["2"]
    data = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)
    assert f"{Decimal(rows[-1]['net_amount']):,.2f}" in data


def test_an_order_cancelled_before_its_list_was_made_is_not_mailed(yard: Business, mailoutbox: list[Any]) -> None:
    supplier = drafted(yard).supplier
    supplier.email = "yard@example.test"
    supplier.save()
    services.cancel(order=placed(yard), actor=actor_of(yard), reason="withdrawn")
    for _ in range(2):
        run_due()
    assert mailoutbox == []


def test_what_was_kept_for_a_cancelled_job_is_free_again(yard: Business) -> None:
    job, actor = agreed_job(yard), actor_of(yard)
    item = stock_services.add_stock(
        component=component_of(yard, "rail"), quantity=Decimal(3), actor=actor, reason="spare"
    )
    stock_services.reserve_item(item=item, job=job, quantity=Decimal(2), actor=actor)
    release_cancelled_jobs()
    assert StockItem.objects.of(yard).get().reserved == 2
    move_job(job=job, to="cancelled", actor=actor)
    assert StockItem.objects.of(yard).get().reserved == 0
    # kept in the very moment of the cancelling: the routine finds it
    stock_services.reserve_item(item=item, job=job, quantity=Decimal(1), actor=actor)
    release_cancelled_jobs()
    assert StockItem.objects.of(yard).get().reserved == 0
