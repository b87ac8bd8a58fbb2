"""Picking list of an order: by role, length and finish, with packs, loose pieces, cut pieces and masses."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from decimal import Decimal

from fencing.model.roles import ROLES
from quotes.purchasing.api_fields import amount, number
from quotes.purchasing.models import OrderLine, SupplierOrder
from quotes.purchasing.order_totals import due, taxes
from quotes.purchasing.queries import line_mass, load_of, order_sheet, picked
from shared.spreadsheets import Cell, Workbook, cell

HEAD = (
    "order", "line", "role", "length_mm", "finish", "sku", "supplier_sku", "description", "quantity", "unit", "pack_size",
    "packs", "loose_quantity", "cut_pieces", "mass_kg", "price", "net_amount", "tax_code", "tax_rate", "deliver_to",
    "deliver_from", "deliver_by",
)  # fmt: skip
WIDTHS = (9, 5, 16, 10, 12, 16, 16, 40, 10, 6, 8, 8, 8, 10, 10, 10, 12, 9, 9, 30, 12, 12)


def order_csv(order: SupplierOrder) -> bytes:
    """Return the list as CSV (RFC 4180, UTF-8): a row for each line, then goods, delivery, tax for each rate, total and load.

    If goods were returned for credit, the credits and the total after them follow.
    """
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(HEAD)
    lines = picked(order)
    writer.writerows([cell(value) for value in row] for row in [*(_line(order, line) for line in lines), *_sums(order)])
    return text.getvalue().encode()


def order_xlsx(order: SupplierOrder) -> bytes:
    """Return the list as a workbook: address, dates and load on top, then the lines by role, then the sums."""
    file, sheet = io.BytesIO(), order_sheet(order, priced=False)
    book = Workbook(file, order.number, WIDTHS)
    for name, value in (
        (sheet["heading"], sheet["supplier"]),
        ("For", sheet["job"]),
        ("Deliver to", sheet["deliver_to"]),
        ("When", sheet["deliver_when"]),
        ("Load", sheet["load"]),
        *(("Note", text) for text in sheet["cautions"]),
    ):
        book.add([name, None, value], bold=name == sheet["heading"])
    book.add([])
    book.add(HEAD, bold=True)
    before = ""
    for line in picked(order):
        if line.role != before:
            book.add([None, None, ROLES[line.role].plural.capitalize()], bold=True)
        before = line.role
        book.add(_line(order, line))
    for row in _sums(order):
        book.add(row, bold=True)
    book.close()
    return file.getvalue()


def _line(order: SupplierOrder, line: OrderLine) -> list[Cell]:
    quantity = due(line)
    packs, loose = divmod(quantity, line.pack)
    # sold by the metre and made to a length: the number of pieces
    cut = line.length_mm and line.unit == "MTR" and int(quantity * 1000 / line.length_mm)
    mass = line_mass(line)
    return [
        order.number,
        line.position,
        line.role,
        line.length_mm,
        line.finish,
        line.sku,
        line.supplier_sku,
        line.label,
        Decimal(number(quantity)),
        line.unit,
        Decimal(number(line.pack)),
        Decimal(number(packs)),
        Decimal(number(loose)),
        cut or None,
        None if mass is None else Decimal(number(mass)),
        Decimal(amount(line.price, order.currency)),
        Decimal(amount(line.net, order.currency)),
        line.tax_code,
        Decimal(number(line.tax_rate)),
        ", ".join(order.deliver_to[name] for name in ("address", "postcode", "city") if order.deliver_to.get(name)),
        order.deliver_from,
        order.deliver_by,
    ]


def _sums(order: SupplierOrder) -> Iterator[list[Cell]]:
    yield _sum(order, "Goods", order.goods)
    if order.delivery_fee:
        yield _sum(order, "Delivery", order.delivery_fee)
    lines = picked(order)
    for row in taxes(order, lines):
        yield _sum(order, f"Tax {row.category} {number(row.rate)} %", row.tax)
    total = _sum(order, "Total", order.total)
    total[HEAD.index("mass_kg")] = Decimal(number(load_of(lines)))
    yield total
    if order.total_after_credits != order.total:
        yield _sum(order, "Credits, tax included", order.total_after_credits - order.total)
        yield _sum(order, "Total after credits", order.total_after_credits)


def _sum(order: SupplierOrder, text: str, value: Decimal) -> list[Cell]:
    row: list[Cell] = [None] * len(HEAD)
    row[0], row[HEAD.index("description")] = order.number, text
    row[HEAD.index("net_amount")] = Decimal(amount(value, order.currency))
    return row
