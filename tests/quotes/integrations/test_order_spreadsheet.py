"""The order list: the way a yard picks, packs beside loose pieces, what is cut to length, what the load weighs."""

from __future__ import annotations

import csv
import io
from datetime import date
from decimal import Decimal
from typing import Any

import openpyxl
import pypdf
import pytest

from catalogue.queries import components
from fencing.model.roles import RANK
from quotes.integrations.order_spreadsheet import HEAD, order_csv, order_xlsx
from quotes.purchasing import services
from quotes.purchasing.draft_orders import order_for
from quotes.purchasing.models import OrderLine, SupplierOrder
from quotes.purchasing.order_lists import order_pdf
from shared.models import Business
from tests.quotes.purchasing.cast import agreed_job
from tests.quotes.quoting.cast import actor_of

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def order(yard: Business) -> SupplierOrder:
    """A fence's largest order, every component with a mass, to be delivered within a week."""
    components(yard).update(mass_kg=D("1.25"))
    orders = order_for(jobs=[agreed_job(yard, 12000, 7200)], actor=actor_of(yard), deliver_by=date(2031, 5, 9))
    found = max(orders, key=lambda item: OrderLine.objects.of(yard).filter(order=item).count())
    SupplierOrder.objects.of(yard).filter(pk=found.pk).update(deliver_from=date(2031, 5, 2))
    found.refresh_from_db()
    return services.place(order=found, actor=actor_of(yard), allow_below_minimum=True)


def rows_of(order: SupplierOrder) -> tuple[list[dict[str, str]], list[dict[str, str]]]:
    """Rows of lines, and the sums."""
    rows = list(csv.DictReader(io.StringIO(order_csv(order).decode(), newline="")))
    return [row for row in rows if row["line"]], [row for row in rows if not row["line"]]


def test_lines_stand_by_role_then_the_longest_then_by_finish(order: SupplierOrder) -> None:
    rows, _ = rows_of(order)
    keys = [(RANK[row["role"]], -int(row["length_mm"] or 0), row["finish"]) for row in rows]
    assert keys == sorted(keys)
    assert len({row["role"] for row in rows}) > 3
    assert {(row["deliver_from"], row["deliver_by"]) for row in rows} == {("2031-05-02", "2031-05-09")}
    assert {row["deliver_to"] for row in rows} == {"4 Reed Lane, Tern Bay"}


def test_packs_and_loose_pieces_make_the_quantity_and_masses_the_load(order: SupplierOrder) -> None:
    rows, sums = rows_of(order)
    for row in rows:
        assert D(row["packs"]) * D(row["pack_size"]) + D(row["loose_quantity"]) == D(row["quantity"])
        assert D(row["packs"]) == int(D(row["packs"]))
        assert D(row["mass_kg"]) == D(row["quantity"]) * D("1.25")
    assert any(D(row["pack_size"]) > 1 for row in rows)
    assert D(sums[-1]["mass_kg"]) == sum(D(row["mass_kg"]) for row in rows)
    assert D(sums[-1]["net_amount"]) == order.total


def test_what_is_cut_to_length_is_counted_in_pieces(order: SupplierOrder) -> None:
    line = OrderLine.objects.of(order.business).filter(order=order, role="rail").first()
    assert line is not None
    OrderLine.objects.of(order.business).filter(pk=line.pk).update(
        unit="MTR",
        length_mm=2238,
        pack=1,
        quantity=D("17.904"),
        outstanding=D("17.904"),
        purchase_reason=["8 made to 2238 mm"],
    )
    [row] = [row for row in rows_of(order)[0] if row["line"] == str(line.position)]
    assert (row["cut_pieces"], row["length_mm"], row["unit"]) == ("8", "2238", "MTR")
    pages = pypdf.PdfReader(io.BytesIO(order_pdf(order))).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "8 made to 2238 mm" in text
    for part in ("2 May 2031 to 9 May 2031", "kg", "4 Reed Lane"):
        assert part in text


def test_what_was_cancelled_is_not_picked_and_not_lifted(order: SupplierOrder) -> None:
    rows, sums = rows_of(order)
    services.cancel_outstanding(order=order, actor=actor_of(order.business), positions=[1], reason="enough")
    order.refresh_from_db()
    fewer, less = rows_of(order)
    assert [row["line"] for row in fewer] == [row["line"] for row in rows if row["line"] != "1"]
    [gone] = [row for row in rows if row["line"] == "1"]
    assert D(less[-1]["mass_kg"]) == D(sums[-1]["mass_kg"]) - D(gone["mass_kg"])
    assert D(less[-1]["net_amount"]) == order.total


def test_the_workbook_says_the_same_under_a_heading_for_each_role(order: SupplierOrder) -> None:
    component = OrderLine.objects.of(order.business).filter(order=order)[0]
    OrderLine.objects.of(order.business).filter(pk=component.pk).update(label="=HYPERLINK(1)")
    book: Any = openpyxl.load_workbook(io.BytesIO(order_xlsx(order))).active
    table = [list(row) for row in book.iter_rows(values_only=True)]
    head = table.index(list(HEAD))
    top = {row[0]: row[2] for row in table[:head]}
    assert top["When"] == "2 May 2031 to 9 May 2031"
    assert top["Load"].endswith(" kg")
    lines = [row for row in table[head + 1 :] if row[1]]
    rows, _ = rows_of(order)
    for line, row in zip(lines, rows, strict=True):
        data = dict(zip(HEAD, line, strict=True))
        assert (str(data["line"]), data["role"], D(str(data["net_amount"]))) == (
            row["line"],
            row["role"],
            D(row["net_amount"]),
        )
        assert data["description"] == row["description"].removeprefix("'")
    headings = [row[2] for row in table[head + 1 :] if row[0] is None]
    assert len(headings) == len({row["role"] for row in rows})
    assert {cell.data_type for row in book.iter_rows(min_row=head + 2) for cell in row} <= {"n", "s", "d"}
    assert order_xlsx(order) == order_xlsx(order)
