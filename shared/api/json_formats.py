"""JSON in, strictly, and JSON out, as Django REST framework comes by it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import IO, Any, NoReturn

from django.conf import settings
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer

from shared.api.json_encoder import write_json
from shared.api.problems import Problem

_DEPTH_MAX = 64
_VALUES_MAX = (
    200_000  # four times the most that anything here takes, so that nobody is busied with what is refused anyway
)
_NUMBER_MAX = 40  # characters of one number: more is an attack or a mistake
_LONE_SURROGATE = re.compile("[\ud800-\udfff]")


def read_json(raw: bytes) -> Any:
    """What ``raw`` says, with decimals exact.

    Refuses (400) what parsers disagree about: a byte order mark, any encoding but UTF-8, double keys, NaN and
    infinities, numbers out of all proportion, half characters, and nesting over 64 levels; and (413) more values than
    anything here takes.
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
        raise Problem("malformed", "The body holds half a character (a lone surrogate).")
    return value


def _check_shape(text: str) -> None:
    # brackets inside strings are taken out first; a string's escapes can't hide its end from this pattern
    depth, bare = 0, re.sub(r'"(?:[^"\\]|\\.)*"', "", text, flags=re.DOTALL)
    if bare.count(",") >= _VALUES_MAX:
        raise Problem("too-large", f"A body may hold {_VALUES_MAX} values.")
    for bracket in re.findall(r"[\[\]{}]", bare):
        depth += 1 if bracket in "[{" else -1
        if depth > _DEPTH_MAX:
            raise Problem("malformed", f"JSON may be nested {_DEPTH_MAX} levels deep.")


def _members(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        seen: set[str] = set()
        double = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]  # add() says nothing, which is false
        raise Problem("malformed", f"The member {double[:80]!r} is there twice.")
    return members


def _constant(name: str) -> NoReturn:
    raise Problem("malformed", f"{name} is not a JSON number.")


def _decimal(digits: str) -> Decimal:
    number = Decimal(digits)
    if len(digits) > _NUMBER_MAX or abs(number.adjusted()) > _NUMBER_MAX:
        raise Problem("malformed", f"The number {digits[:20]} is out of all proportion.")
    return number


def _integer(digits: str) -> int:
    if len(digits) > _NUMBER_MAX:
        raise Problem("malformed", f"The number {digits[:20]}… is out of all proportion.")
    return int(digits)


def whole_body(stream: IO[Any], most: int, parser_context: Mapping[str, Any] | None) -> bytes:
    """The body, cut off one byte beyond ``most``. Refused (400) when less came than its Content-Length says."""
    body: bytes = bytes(stream.read(most + 1))
    request = (parser_context or {}).get("request")
    data = str(request.META.get("CONTENT_LENGTH") or "") if request is not None else ""
    if data.isdigit() and len(body) < min(int(data), most + 1):
        raise Problem("malformed", f"The body ends after {len(body)} of {data} bytes.")
    return body


class StrictJsonParser(BaseParser):
    """DRF's door to ``read_json``."""

    media_type = "application/json"

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        return read_json(whole_body(stream, settings.BODY_MAX, parser_context))


class JsonRenderer(BaseRenderer):
    """DRF's door to ``write_json``."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        if isinstance(data, bytes):  # written already
            return bytes(data)
        return b"" if data is None else write_json(data)
