"""A supplier without a system gets the order by mail, once; what was kept for a cancelled job is free again."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from typing import Any

import openpyxl
import pypdf
import pytest
from django.utils import timezone

from quotes.documents.models import Document
from quotes.jobs.services import move_job
from quotes.purchasing import services, stock_services
from quotes.purchasing.models import StockItem
from quotes.purchasing.tasks import release_cancelled_jobs
from shared.background import runner
from shared.models import Business, OutboxTask
from tests.quotes.purchasing.cast import agreed_job, component_of, drafted, now, placed
from tests.quotes.quoting.cast import actor_of

pytestmark = pytest.mark.django_db


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
