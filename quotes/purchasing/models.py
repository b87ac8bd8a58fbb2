"""The rows of this app, gathered here because Django looks for them here."""

from __future__ import annotations

from quotes.purchasing.delivery_models import (
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
from quotes.purchasing.order_models import MOVES, Answer, LineJob, OrderEvent, OrderLine, State, SupplierOrder
from quotes.purchasing.stock_models import Hold, HoldState, ItemKind, StockItem, StockMove

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
