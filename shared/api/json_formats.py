"""Strict JSON parser and fast JSON renderer for Django REST framework."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import IO, Any, NoReturn

from django.conf import settings
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer

from shared.common.json_encoder import write_json
from shared.common.problems import Problem

_MAX_DEPTH = 64
_MAX_VALUES = 200_000  # four times as many as any endpoint accepts: a larger body is rejected before it is parsed
_MAX_DIGITS = 40  # characters of one number: a longer number is an attack or a mistake
_LONE_SURROGATE = re.compile("[\ud800-\udfff]")


def read_json(raw: bytes) -> Any:
    """Parse JSON, with exact decimals.

    Raises:
        Problem: 400 for text that parsers read differently: a byte order mark, an encoding other than UTF-8, duplicate
            keys, NaN, infinity, very large numbers, lone surrogates, and nesting deeper than 64 levels. 413 for a body
            with too many bytes or values.
    """
    if len(raw) > settings.BODY_MAX:
        raise Problem("too-large", f"A body may have {settings.BODY_MAX} bytes.")
    try:
        text = raw.decode("utf-8", errors="strict")
    except UnicodeDecodeError:
        raise Problem("malformed", "The body must be JSON in UTF-8.") from None
    _check_shape(text)
    try:
        value = json.loads(
            text, object_pairs_hook=_members, parse_constant=_constant, parse_float=_decimal, parse_int=_integer
        )
    except (json.JSONDecodeError, RecursionError) as fault:
        raise Problem("malformed", f"The body is not JSON: {fault}.") from None
    if "\\u" in text and _LONE_SURROGATE.search(json.dumps(value, ensure_ascii=False, default=str)):
        raise Problem("malformed", "The body contains a lone surrogate (half a character).")
    return value


def _check_shape(text: str) -> None:
    # remove strings first, so that their brackets are not counted; the pattern handles escaped quotes
    depth, bare = 0, re.sub(r'"(?:[^"\\]|\\.)*"', "", text, flags=re.DOTALL)
    if bare.count(",") >= _MAX_VALUES:
        raise Problem("too-large", f"A body may contain {_MAX_VALUES} values.")
    for bracket in re.findall(r"[\[\]{}]", bare):
        depth += 1 if bracket in "[{" else -1
        if depth > _MAX_DEPTH:
            raise Problem("malformed", f"JSON may be nested {_MAX_DEPTH} levels deep.")


def _members(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        seen: set[str] = set()
        double = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]  # add() returns None
        raise Problem("malformed", f"The field {double[:80]!r} occurs twice.")
    return members


def _constant(name: str) -> NoReturn:
    raise Problem("malformed", f"{name} is not a JSON number.")


def _decimal(digits: str) -> Decimal:
    number = Decimal(digits)
    if len(digits) > _MAX_DIGITS or abs(number.adjusted()) > _MAX_DIGITS:
        raise Problem("malformed", f"The number {digits[:20]} is too large or too long.")
    return number


def _integer(digits: str) -> int:
    if len(digits) > _MAX_DIGITS:
        raise Problem("malformed", f"The number {digits[:20]}… is too large or too long.")
    return int(digits)


def whole_body(stream: IO[Any], limit: int, parser_context: Mapping[str, Any] | None) -> bytes:
    """Return the body, cut one byte beyond the limit. Raise 400 if it is shorter than its Content-Length."""
    body: bytes = bytes(stream.read(limit + 1))
    request = (parser_context or {}).get("request")
    length = str(request.META.get("CONTENT_LENGTH") or "") if request is not None else ""
    if length.isdigit() and len(body) < min(int(length), limit + 1):
        raise Problem("malformed", f"The body ends after {len(body)} of {length} bytes.")
    return body


class StrictJsonParser(BaseParser):
    """Parser class for ``read_json``."""

    media_type = "application/json"

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        """Return the parsed body."""
        return read_json(whole_body(stream, settings.BODY_MAX, parser_context))


class JsonRenderer(BaseRenderer):
    """Renderer class for ``write_json``."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(
        self, data: Any, accepted_media_type: str | None = None, renderer_context: Mapping[str, Any] | None = None
    ) -> bytes:
        """Return the data as JSON; bytes are JSON already."""
        if isinstance(data, bytes):
            return bytes(data)
        return b"" if data is None else write_json(data)
