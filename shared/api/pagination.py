"""Pages by cursor: the next one starts after the last row seen, so rows that come and go move nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from django.core import signing
from django.db.models import Q, QuerySet
from rest_framework.request import Request
from rest_framework.response import Response

from shared.api.problems import Problem
from shared.api.row_serializer import Rows, RowSerializer, SharedQuery

Telling = Callable[[Any], Mapping[str, Any]] | RowSerializer
PAGE = 50
PAGE_MAX = 200
_SALT = "baywright.cursor"


def page_size(request: Request) -> int:
    """As asked for, at most ``PAGE_MAX``."""
    asked = request.query_params.get("page_size", str(PAGE))
    if not (asked.isascii() and asked.isdigit() and 0 < len(asked) < 10 and int(asked) > 0):
        fault = {"parameter": "page_size", "code": "page_size", "detail": f"Say a whole number from 1 to {PAGE_MAX}."}
        raise Problem("invalid-parameter", errors=[fault])
    return min(int(asked), PAGE_MAX)


def page(
    request: Request,
    rows: Rows,
    row: Telling,
    *,
    holder: str,
    by: str = "-id",
    alike: SharedQuery | None = None,
) -> Response:
    """One page of ``rows`` in the order of ``by`` (an unchanging field, ``-`` for downwards; ties go by id).

    ``rows`` may be instances or ``.values(…)`` that include ``id`` and the field of ``by``; to ``row`` one of them becomes
    its answer, unless it is an ``RowSerializer``, which reads them itself. ``holder`` is whose list it is: a cursor of somebody
    else is refused, and it never widens what ``rows`` holds. ``alike`` says that ``rows`` differ from those of others in
    its parameters alone, and in this order: then their SQL is written once.
    """
    size, field, down = page_size(request), by.removeprefix("-"), by.startswith("-")
    seal = [holder, request.path, by]
    after = _opened(request.query_params.get("cursor", ""), seal)
    order = (by,) if field == "id" else (by, "-id" if down else "id")

    def wanted() -> QuerySet[Any, Any]:
        found = rows() if callable(rows) else rows
        return (found.filter(_beyond(field, down, after)) if after else found).order_by(*order)[: size + 1]

    items, last = _serialize_page(wanted, row, size, field, _alike(alike, by, size, after))
    following = _address(request, signing.dumps([seal, last], salt=_SALT)) if last else None
    response = Response({"items": items, "next": following})
    if following:
        response["Link"] = f'<{following}>; rel="next"'
    return response


def _serialize_page(
    rows: Callable[[], QuerySet[Any, Any]], row: Telling, size: int, field: str, alike: SharedQuery | None
) -> tuple[Sequence[Mapping[str, Any]], list[Any]]:
    """The answers of a page, and the mark of its last row if there are more after it."""
    if isinstance(row, RowSerializer):
        answers, marks = row.read(rows, *dict.fromkeys((field, "id")), alike=alike)
        return answers[:size], _mark(marks[size - 1][0], marks[size - 1][-1]) if len(marks) > size else []
    found = list(rows())
    return [row(item) for item in found[:size]], _mark_of(found[size - 1], field) if len(found) > size else []


def _alike(rows: SharedQuery | None, by: str, size: int, after: list[Any] | None) -> SharedQuery | None:
    """What pages of rows that are alike share, in the order of their ids."""
    if rows is None or by not in ("id", "-id"):
        return None
    beyond = (after[1],) if after else ()
    return SharedQuery((rows.name, by, size, after is not None), (*rows.parameters, *beyond))


def _mark_of(row: Any, field: str) -> list[Any]:
    if isinstance(row, Mapping):
        return _mark(row[field], row["id"])
    return _mark(getattr(row, field), row.id)


def _mark(value: Any, row_id: int) -> list[Any]:
    return [value.isoformat() if hasattr(value, "isoformat") else value, row_id]


def _beyond(field: str, down: bool, after: list[Any]) -> Q:
    value, last_id = after
    step = "lt" if down else "gt"
    if field == "id":
        return Q(**{f"id__{step}": last_id})
    return Q(**{f"{field}__{step}": value}) | Q(**{field: value, f"id__{step}": last_id})


def _opened(cursor: str, seal: list[str]) -> list[Any] | None:
    if not cursor:
        return None
    try:
        sealed, after = signing.loads(cursor, salt=_SALT)
    except (signing.BadSignature, ValueError, TypeError):
        raise Problem("invalid-cursor") from None
    if sealed != seal:
        raise Problem("invalid-cursor")
    return list(after)


def _address(request: Request, cursor: str) -> str:
    query = {**request.query_params.dict(), "cursor": cursor}
    return request.build_absolute_uri(f"{request.path}?{urlencode(query)}")
