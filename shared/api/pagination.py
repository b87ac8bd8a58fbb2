"""Pagination by cursor: the next page starts after the last row, so that new and deleted rows shift nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from django.core import signing
from django.db.models import Q, QuerySet
from rest_framework.request import Request
from rest_framework.response import Response

from shared.api.row_serializer import Rows, RowSerializer, SharedQuery
from shared.common.problems import Problem

ItemSerializer = Callable[[Any], Mapping[str, Any]] | RowSerializer
DEFAULT_PAGE_SIZE = 50
MAX_PAGE_SIZE = 200
_SALT = "baywright.cursor"


def page_size(request: Request) -> int:
    """Return the requested page size, at most ``MAX_PAGE_SIZE``."""
    text = request.query_params.get("page_size", str(DEFAULT_PAGE_SIZE))
    if not (text.isascii() and text.isdigit() and 0 < len(text) < 10 and int(text) > 0):
        error = {
            "parameter": "page_size",
            "code": "page_size",
            "detail": f"Enter a whole number from 1 to {MAX_PAGE_SIZE}.",
        }
        raise Problem("invalid-parameter", errors=[error])
    return min(int(text), MAX_PAGE_SIZE)


def page(
    request: Request,
    rows: Rows,
    serializer: ItemSerializer,
    *,
    holder: str,
    by: str = "-id",
    shared: SharedQuery | None = None,
) -> Response:
    """Return one page of rows.

    Args:
        rows: model instances, or ``.values(…)`` with ``id`` and the field of ``by``.
        serializer: makes the JSON of one row; a ``RowSerializer`` reads the rows itself.
        holder: the caller. A cursor of another caller is rejected; a cursor never adds rows.
        by: a field that never changes, with ``-`` for descending order. Rows with the same value are ordered by id.
        shared: set if the SQL differs from that of other calls only in these parameters. It is then compiled once.
    """
    size, field, down = page_size(request), by.removeprefix("-"), by.startswith("-")
    seal = [holder, request.path, by]
    after = _read_cursor(request.query_params.get("cursor", ""), seal)
    order = (by,) if field == "id" else (by, "-id" if down else "id")

    def page_rows() -> QuerySet[Any, Any]:
        query = rows() if callable(rows) else rows
        return (query.filter(_after(field, down, after)) if after else query).order_by(*order)[: size + 1]

    items, last = _serialize_page(page_rows, serializer, size, field, _shared_page(shared, by, size, after))
    following = None
    if last:
        query = {**request.query_params.dict(), "cursor": signing.dumps([seal, last], salt=_SALT)}
        following = request.build_absolute_uri(f"{request.path}?{urlencode(query)}")
    response = Response({"items": items, "next": following})
    if following:
        response["Link"] = f'<{following}>; rel="next"'
    return response


def _serialize_page(
    rows: Callable[[], QuerySet[Any, Any]],
    serializer: ItemSerializer,
    size: int,
    field: str,
    shared: SharedQuery | None,
) -> tuple[Sequence[Mapping[str, Any]], list[Any]]:
    """Return the JSON of a page, and the position of its last row if there are more rows."""
    if isinstance(serializer, RowSerializer):
        items, keys = serializer.read(rows, *dict.fromkeys((field, "id")), shared=shared)
        return items[:size], _position(keys[size - 1][0], keys[size - 1][-1]) if len(keys) > size else []
    found = list(rows())
    last = _position_of(found[size - 1], field) if len(found) > size else []
    return [serializer(item) for item in found[:size]], last


def _shared_page(query: SharedQuery | None, by: str, size: int, after: list[Any] | None) -> SharedQuery | None:
    """Return the shared query of pages with the same order and size; None if the rows are not ordered by id."""
    if query is None or by not in ("id", "-id"):
        return None
    last_id = (after[1],) if after else ()
    return SharedQuery((query.name, by, size, after is not None), (*query.parameters, *last_id))


def _position_of(row: Any, field: str) -> list[Any]:
    if isinstance(row, Mapping):
        return _position(row[field], row["id"])
    return _position(getattr(row, field), row.id)


def _position(value: Any, row_id: int) -> list[Any]:
    return [value.isoformat() if hasattr(value, "isoformat") else value, row_id]


def _after(field: str, down: bool, after: list[Any]) -> Q:
    value, last_id = after
    lookup = "lt" if down else "gt"
    if field == "id":
        return Q(**{f"id__{lookup}": last_id})
    return Q(**{f"{field}__{lookup}": value}) | Q(**{field: value, f"id__{lookup}": last_id})


def _read_cursor(cursor: str, seal: list[str]) -> list[Any] | None:
    if not cursor:
        return None
    try:
        sealed, after = signing.loads(cursor, salt=_SALT)
    except (signing.BadSignature, ValueError, TypeError):
        raise Problem("invalid-cursor") from None
    if sealed != seal:
        raise Problem("invalid-cursor")
    return list(after)
