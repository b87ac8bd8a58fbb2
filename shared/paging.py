"""Pages by cursor: the next one starts after the last row seen, so rows that come and go move nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import urlencode

from django.core import signing
from django.db.models import Q, QuerySet
from rest_framework.request import Request
from rest_framework.response import Response

from shared.problems import Problem

PAGE = 50
PAGE_MAX = 200
_SALT = "baywright.cursor"


def page_size(request: Request) -> int:
    """As asked for, at most ``PAGE_MAX``."""
    asked = request.query_params.get("page_size", str(PAGE))
    if not (asked.isascii() and asked.isdigit() and 0 < len(asked) < 10 and int(asked) > 0):
        fault = {"parameter": "page_size", "code": "page_size", "detail": f"Say a whole number from 1 to {PAGE_MAX}."}
        raise Problem("bad-parameter", errors=[fault])
    return min(int(asked), PAGE_MAX)


def page(
    request: Request,
    rows: QuerySet[Any, Any],
    row: Callable[[Any], Mapping[str, Any]],
    *,
    holder: str,
    by: str = "-id",
) -> Response:
    """One page of ``rows`` in the order of ``by`` (an unchanging field, ``-`` for downwards; ties go by id).

    ``rows`` may be instances or ``.values(…)`` that include ``id`` and the field of ``by``. ``holder`` is whose
    list it is: a cursor of somebody else is refused, and it never widens what ``rows`` holds.
    """
    size, field, down = page_size(request), by.removeprefix("-"), by.startswith("-")
    seal = [holder, request.path, by]
    after = _opened(request.query_params.get("cursor", ""), seal)
    order = (by,) if field == "id" else (by, "-id" if down else "id")
    found = list((rows.filter(_beyond(field, down, after)) if after else rows).order_by(*order)[: size + 1])
    more = len(found) > size
    items = [row(one) for one in found[:size]]
    following = _address(request, signing.dumps([seal, _mark(found[size - 1], field)], salt=_SALT)) if more else None
    response = Response({"items": items, "next": following})
    if following:
        response["Link"] = f'<{following}>; rel="next"'
    return response


def _mark(row: Any, field: str) -> list[Any]:
    def read(name: str) -> Any:
        return row[name] if isinstance(row, Mapping) else getattr(row, name)

    value = read(field)
    return [value.isoformat() if hasattr(value, "isoformat") else value, read("id")]


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
        raise Problem("bad-cursor") from None
    if sealed != seal:
        raise Problem("bad-cursor")
    return list(after)


def _address(request: Request, cursor: str) -> str:
    query = {**request.query_params.dict(), "cursor": cursor}
    return request.build_absolute_uri(f"{request.path}?{urlencode(query)}")
