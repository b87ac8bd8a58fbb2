"""The rows of this app, gathered here because Django looks for them here."""

from __future__ import annotations

from quotes.orders.order_rows import MOVES, Answer, LineJob, OrderEvent, OrderLine, State, SupplierOrder
from quotes.orders.stock_rows import Hold, HoldState, ItemKind, StockItem, StockMove
from quotes.orders.traffic_rows import (
    Decision,
    Despatch,
    DespatchLine,
    GoodsReturn,
    LineReply,
    Receipt,
    ReceiptLine,
    Reply,
    Said,
)

__all__ = [
    "MOVES",
    "Answer",
    "Decision",
    "Despatch",
    "DespatchLine",
    "GoodsReturn",
    "Hold",
    "HoldState",
    "ItemKind",
    "LineJob",
    "LineReply",
    "OrderEvent",
    "OrderLine",
    "Receipt",
    "ReceiptLine",
    "Reply",
    "Said",
    "State",
    "StockItem",
    "StockMove",
    "SupplierOrder",
]
