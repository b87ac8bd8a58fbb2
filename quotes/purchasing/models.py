"""Models of this app, imported here because Django looks for them here."""

from __future__ import annotations

from quotes.purchasing.delivery_models import (
    Decision,
    Despatch,
    DespatchLine,
    GoodsReceipt,
    GoodsReturn,
    LineAction,
    OrderResponse,
    OrderResponseLine,
    ReceiptLine,
)
from quotes.purchasing.order_models import (
    MOVES,
    LineJob,
    OrderEvent,
    OrderLine,
    OrderResponseStatus,
    OrderState,
    SupplierOrder,
)
from quotes.purchasing.stock_models import (
    ItemKind,
    MovementKind,
    Reservation,
    ReservationState,
    StockItem,
    StockMovement,
)

__all__ = [
    "MOVES",
    "Decision",
    "Despatch",
    "DespatchLine",
    "GoodsReceipt",
    "GoodsReturn",
    "ItemKind",
    "LineAction",
    "LineJob",
    "MovementKind",
    "OrderEvent",
    "OrderLine",
    "OrderResponse",
    "OrderResponseLine",
    "OrderResponseStatus",
    "OrderState",
    "ReceiptLine",
    "Reservation",
    "ReservationState",
    "StockItem",
    "StockMovement",
    "SupplierOrder",
]
