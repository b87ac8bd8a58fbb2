"""Reader for cutting demands. A demand with errors is rejected as a whole, and every error is listed."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from fencing.cutting.plan_model import DEMAND_SCHEMA, KEEP_DEFAULT, Demand, StockLength
from fencing.model.faults import Fault, FaultList, InvalidDocument, show_value
from fencing.model.rounding import count_decimals
from fencing.reading.object_reader import DECIMAL_TEXT, ObjectReader
from fencing.reading.strict_json import check_values, read_json

DEMAND_KEYS = ("kerf_mm", "pieces", "stock", "schema")
STOCK_KEYS = (
    "length_mm",
    "price",
    "quantity_available",
    "trim_mm",
    "handling",
    "min_offcut_mm",
    "offcut_credit",
    "label",
)

LONGEST = 100_000
"""Maximum length of a bar [mm]: 100 m."""
MAX_PIECES = 1_000_000
MAX_BARS = 1_000_000_000
"""Maximum number of bars on hand of one stock row."""
MAX_ROWS = 20_000
MAX_LENGTHS = 1_000
"""Maximum number of different lengths in a demand."""
MAX_STOCK = 300
MAX_CELLS = 40_000_000
"""Maximum of different lengths times mm of the longest stock: keeps the tables of the search under 256 MB."""
MAX_PRICE_DIGITS = 9

Row = tuple[str, dict[str, Decimal], int | None, ObjectReader]


def read_demand(source: str | bytes) -> Demand:
    """Read a cutting demand from JSON text.

    Rule: ``cut-demand-2.json``: ``kerf_mm``, ``pieces`` as [length, count] pairs, ``stock`` with ``length_mm``, ``price`` as a
    decimal text and ``have`` (null or left out: as many as wanted); ``trim_mm``, ``handling``, ``min_offcut_mm`` and ``credit``
    may be added.
    Rows of equal length are merged.

    Args:
        source: the document, text or UTF-8 bytes, at most 2 MB.

    Returns:
        The demand, pieces longest first.

    Raises:
        Refused: every fault at once.

    Source: house rule.

    Example:
        >>> text = '{"kerf_mm": 3, "pieces": [[2238, 8]], "stock": [{"length_mm": 6000, "price": "31.20"}]}'
        >>> read_demand(text).pieces
        ((2238, 8),)
    """
    brackets = source.count(b"[" if isinstance(source, bytes) else "[")  # type: ignore[arg-type]
    _reject_flood(brackets - 2)
    return read_demand_document(read_json(source))


def read_demand_document(document: object) -> Demand:
    """Read a cutting demand from a parsed document."""
    pieces = document.get("pieces") if isinstance(document, Mapping) else None
    _reject_flood(len(pieces) if isinstance(pieces, list) else 0)
    faults = FaultList()
    table = ObjectReader(check_values(document), "", faults, DEMAND_KEYS)
    table.word("schema", (DEMAND_SCHEMA,), DEMAND_SCHEMA)
    kerf = table.whole("kerf_mm", 0, 100)
    merged = _read_pieces(table, faults)
    rows = _read_stock_rows(table, faults)
    faults.refuse()
    decimals = count_decimals(amount for _, money, _, _ in rows for amount in money.values())
    stock = tuple(_build_stock(row, decimals) for row in rows)
    faults.refuse()
    demand = Demand(kerf, merged, stock, decimals)
    _check_whole(demand, faults)
    faults.refuse()
    return demand


def _reject_flood(rows: int) -> None:
    """Reject a list with far too many rows before each row is read."""
    if rows > MAX_ROWS:
        text = f"{rows} rows of pieces; the maximum for one plan is {MAX_ROWS} rows and {MAX_LENGTHS} different lengths"
        raise InvalidDocument([Fault("/pieces", "range", text)])


def _read_pieces(table: ObjectReader, faults: FaultList) -> tuple[tuple[int, int], ...]:
    counts: dict[int, int] = {}
    for pointer, item in table.items("pieces", MAX_ROWS, 1):
        pair = item if isinstance(item, list) else []
        if len(pair) != 2 or not all(isinstance(value, int) and not isinstance(value, bool) for value in pair):
            faults.add(
                pointer, "type", f"{show_value(item)} is not a pair; enter [length_mm, count], both whole numbers"
            )
            continue
        length, count = pair
        if not 1 <= length <= LONGEST:
            faults.add(f"{pointer}/0", "range", f"{show_value(length)} is not a valid length; enter 1 to {LONGEST} mm")
        elif not 1 <= count <= MAX_PIECES:
            faults.add(f"{pointer}/1", "range", f"{show_value(count)} is not a valid count; enter 1 to {MAX_PIECES}")
        else:
            counts[length] = counts.get(length, 0) + count
    if sum(counts.values()) > MAX_PIECES:
        faults.add(
            "/pieces", "range", f"{sum(counts.values())} pieces in all; the maximum for one plan is {MAX_PIECES}"
        )
    if len(counts) > MAX_LENGTHS:
        faults.add("/pieces", "range", f"{len(counts)} different lengths; the maximum for one plan is {MAX_LENGTHS}")
    return tuple(sorted(counts.items(), reverse=True))


def _read_stock_rows(table: ObjectReader, faults: FaultList) -> list[Row]:
    rows: list[Row] = []
    for pointer, item in table.items("stock", MAX_STOCK, 1):
        row = ObjectReader(item, pointer, faults, STOCK_KEYS)
        length = row.whole("length_mm", 1, LONGEST)
        money = {"price": _read_money(row, "price")}
        money.update({key: _read_money(row, key) for key in ("handling", "offcut_credit") if key in row})
        have = (
            None
            if "quantity_available" not in row or row.raw("quantity_available") is None
            else row.whole("quantity_available", 0, MAX_BARS, unit="")
        )
        trim = row.whole("trim_mm", 0, LONGEST, 0)
        if row.good("length_mm", "trim_mm") and trim >= length:
            row.fault("trim_mm", "range", f"a trim of {trim} mm leaves nothing of {length} mm; reduce the trim")
        row.whole("min_offcut_mm", 1, LONGEST, KEEP_DEFAULT)
        if "label" in row:
            row.text("label", 80)
        if row.good("price", "handling", "offcut_credit"):
            _check_credit(row, money)
        rows.append((pointer, money, have, row))
    return rows


def _check_credit(row: ObjectReader, money: dict[str, Decimal]) -> None:
    spent = money["price"] + money.get("handling", Decimal(0))
    if money.get("offcut_credit", Decimal(0)) > spent:
        row.fault(
            "offcut_credit",
            "range",
            f"the credit for an offcut can't be higher than the cost of its bar ({spent}); enter 0 to {spent}",
        )


def _read_money(row: ObjectReader, key: str) -> Decimal:
    value = row.raw(key)
    if isinstance(value, str) and DECIMAL_TEXT.fullmatch(value):
        amount = Decimal(value)
        if amount >= 0 and len(amount.as_tuple().digits) <= MAX_PRICE_DIGITS:
            return amount
        reason = "is negative" if amount < 0 else "has too many digits"
        row.fault(key, "range", f"{show_value(value)} {reason}; enter 0 or more with at most {MAX_PRICE_DIGITS} digits")
    elif key in row:
        row.fault(
            key, "type", f'{show_value(value)} is not a price; enter a decimal number as text, for example "31.20"'
        )
    return Decimal(0)


def _build_stock(row: Row, decimals: int) -> StockLength:
    _, money, have, table = row
    units = {key: int(amount.scaleb(decimals)) for key, amount in money.items()}
    return StockLength(
        table.whole("length_mm", 1, LONGEST),
        units["price"],
        have,
        table.whole("trim_mm", 0, LONGEST, 0),
        units.get("handling", 0),
        table.whole("min_offcut_mm", 1, LONGEST, KEEP_DEFAULT),
        units.get("offcut_credit", 0),
        table.text("label", 80) if "label" in table else None,
    )


def _check_whole(demand: Demand, faults: FaultList) -> None:
    longest = max(stock.length for stock in demand.stock)
    if demand.kerf >= longest:
        faults.add(
            "/kerf_mm",
            "range",
            f"a kerf of {demand.kerf} mm is as wide as the longest stock, {longest} mm; enter a smaller kerf",
        )
    if len(demand.pieces) * (longest + demand.kerf) > MAX_CELLS:
        maximum = MAX_CELLS // (longest + demand.kerf)
        faults.add(
            "/pieces", "range", f"with stock of {longest} mm the maximum for one plan is {maximum} different lengths"
        )
    if max(stock.cost for stock in demand.stock) >= 10**12:
        faults.add("/stock", "range", "the prices together need too many digits; enter fewer decimals")


__all__ = ["InvalidDocument", "read_demand", "read_demand_document"]
