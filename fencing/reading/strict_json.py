"""Strict JSON: the reader into plain values with exact numbers, and the writer of one canonical text for each document.

The values are ``dict``, ``list``, ``str``, ``bool``, ``None``, ``int``, and ``Decimal`` for numbers with a fraction. A whole
number is always an ``int``: ``18240.0`` and ``1824e1`` are both 18240, as in JSON Schema.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from json import JSONDecodeError
from typing import Any

from fencing.model.faults import Fault, FaultList, InvalidDocument, extend_pointer, show_value

MAX_BYTES = 2_000_000
MAX_DEPTH = 16
MAX_DIGITS = 15
"""Maximum digits of a number. Some programs can't read more digits exactly (RFC 8259 section 6)."""

SPOILT = re.compile("[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff\ufff9-\uffff\ud800-\udfff]")
"""Characters that a text must not contain: control, direction, line separators, lone surrogates, non-characters."""


@dataclass(frozen=True, slots=True)
class _Unusable:
    """A value that can't be used. It is replaced by a fault when its pointer is known."""

    code: str
    text: str


class _Twice(dict[str, Any]):
    """An object in which some keys occur more than once."""

    keys_twice: list[str]


def read_json(source: str | bytes) -> Any:
    """Read one JSON document strictly.

    Rule: RFC 8259 in UTF-8, at most 2 MB and 16 levels deep, numbers of at most 15 digits. Not allowed: a key twice, NaN,
    Infinity, a byte order mark, control or direction characters, lone surrogates.

    Args:
        source: the document, as text or as UTF-8 bytes.

    Returns:
        Plain values; numbers as ``int`` or ``Decimal``.

    Raises:
        InvalidDocument: every fault found, with its pointer.

    Source: RFC 8259; limits are house rules.

    Example:
        >>> read_json('{"length_mm": 18240.0, "levels": [[0, 1.25]]}')
        {'length_mm': 18240, 'levels': [[0, Decimal('1.25')]]}
        >>> read_json('{"pitch_mm": NaN}')
        Traceback (most recent call last):
        ...
        fencing.model.faults.InvalidDocument: /pitch_mm: NaN is not a number that can be measured; write a number
    """
    try:
        value = json.loads(
            _decode(source),
            parse_float=_read_number,
            parse_int=_read_number,
            parse_constant=_read_constant,
            object_pairs_hook=_read_object,
        )
    except JSONDecodeError as broken:
        raise _make_refusal("json.syntax", _describe_syntax(broken)) from None
    except RecursionError:
        raise _make_refusal("json.depth", f"lists and objects may be nested {MAX_DEPTH} deep, not thousands") from None
    return check_values(value)


def check_values(document: object) -> Any:
    """Return the same document with exact numbers, if every value is usable.

    The document may come from :func:`read_json` or from another parser. A ``float`` becomes the decimal that Python writes
    for it, and a whole number becomes an ``int``.

    Raises:
        InvalidDocument: every unusable value, with its pointer; numbers may have at most 15 digits [as written].

    Source: RFC 8259 section 6; limits are house rules.

    >>> check_values({"length_mm": 18240.0, "turn_deg": 7.5})
    {'length_mm': 18240, 'turn_deg': Decimal('7.5')}
    """
    faults = FaultList()
    value = _check_value(document, "", 1, faults)
    faults.refuse()
    return value


def _make_refusal(code: str, text: str) -> InvalidDocument:
    return InvalidDocument([Fault("", code, text)])


def _decode(source: str | bytes) -> str:
    if len(source) > MAX_BYTES:
        raise _make_refusal("json.size", f"a document may have {MAX_BYTES:,} bytes; this one has {len(source):,}")
    if isinstance(source, str):
        text = source
    elif b"\x00" in source[:4] or source[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise _make_refusal("json.encoding", "this is not UTF-8 text (UTF-16, or no text at all); save it as UTF-8")
    else:
        try:
            text = source.decode("utf-8")
        except UnicodeDecodeError as broken:
            text = f"byte {broken.start} is not UTF-8 text; save the document as UTF-8"
            raise _make_refusal("json.encoding", text) from None
    if text.startswith("\ufeff"):
        raise _make_refusal("json.encoding", "the document starts with a byte order mark; save it as UTF-8 without one")
    if not text.strip():
        raise _make_refusal("json.syntax", "the document is empty; a JSON object is expected")
    return text


def _describe_syntax(broken: JSONDecodeError) -> str:
    return f"not JSON at line {broken.lineno}, column {broken.colno}: {broken.msg[0].lower()}{broken.msg[1:]}"


def _read_number(text: str) -> object:
    unusable = _Unusable(
        "json.number", f"{show_value(text).strip(chr(39))} has too many digits; at most {MAX_DIGITS} are read"
    )
    if len(text) > 40:
        return unusable
    try:
        number = Decimal(text)
    except InvalidOperation:  # an exponent beyond what Decimal holds
        return unusable
    return unusable if _count_digits(number) > MAX_DIGITS else _make_exact(number)


def _count_digits(number: Decimal) -> int:
    """Digits needed to write the number out, before and after the point."""
    _, digits, exponent = number.as_tuple()
    if not isinstance(exponent, int):
        return MAX_DIGITS + 1
    if not number:
        return 1
    return max(len(digits) + max(exponent, 0), -exponent)


def _make_exact(number: Decimal) -> int | Decimal:
    return int(number) if number == number.to_integral_value() else number


def _read_constant(name: str) -> object:
    return _Unusable("json.number", f"{name} is not a number that can be measured; write a number")


def _read_object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    plain = dict(pairs)
    if len(plain) == len(pairs):
        return plain
    twice = _Twice(pairs)
    twice.keys_twice = [key for key, times in Counter(key for key, _ in pairs).items() if times > 1]
    return twice


def _check_value(value: object, pointer: str, depth: int, faults: FaultList) -> Any:
    if isinstance(value, dict | list | tuple):
        if depth > MAX_DEPTH:
            faults.add(pointer, "json.depth", f"lists and objects may be nested {MAX_DEPTH} deep")
            return None
        if isinstance(value, dict):
            return _check_object(value, pointer, depth, faults)
        return [_check_value(item, f"{pointer}/{index}", depth + 1, faults) for index, item in enumerate(value)]
    if isinstance(value, str):
        if SPOILT.search(value):
            faults.add(pointer, "json.character", _describe_character(value))
        return value
    return _check_scalar(value, pointer, faults)


def _check_object(value: dict[Any, Any], pointer: str, depth: int, faults: FaultList) -> dict[str, Any]:
    if isinstance(value, _Twice):
        for key in value.keys_twice:
            faults.add(
                extend_pointer(pointer, _make_safe(key)),
                "json.twice",
                f"the key {show_value(key)} occurs more than once; keep one",
            )
    members: dict[str, Any] = {}
    for key, member in value.items():
        name = key if isinstance(key, str) else str(key)
        if SPOILT.search(name):
            faults.add(extend_pointer(pointer, _make_safe(name)), "json.character", _describe_character(name))
        members[name] = _check_value(member, extend_pointer(pointer, _make_safe(name)), depth + 1, faults)
    return members


def _check_scalar(value: object, pointer: str, faults: FaultList) -> object:
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, _Unusable):
        faults.add(pointer, value.code, value.text)
        return None
    number = _convert_number(value)
    if isinstance(number, _Unusable):
        faults.add(pointer, number.code, number.text)
        return None
    return number


def _convert_number(value: object) -> object:
    if isinstance(value, int) and abs(value) < 10**MAX_DIGITS:
        return value
    if not isinstance(value, int | float | Decimal):
        return _Unusable("json.type", f"{show_value(value)} is not a JSON value")
    try:
        number = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
    except (InvalidOperation, ValueError):
        return _Unusable("json.number", f"{show_value(value)} is not a number that can be measured; write a number")
    if not number.is_finite():
        return _read_constant(str(value))
    many = _Unusable("json.number", f"{show_value(value)} has too many digits; at most {MAX_DIGITS} are read")
    return many if _count_digits(number) > MAX_DIGITS else _make_exact(number)


def _make_safe(key: str) -> str:
    """Return a key without characters that are unsafe on a terminal."""
    return SPOILT.sub("\ufffd", key)


def _describe_character(text: str) -> str:
    match = SPOILT.search(text)
    character = f"U+{ord(match.group()):04X}" if match else "a character"
    return f"{character} is not allowed in a text; use visible characters on one line"


def write_canonical(document: Any, *, exact: bool = False) -> str:
    """Return the canonical text of a document: members in alphabetical order, no spaces.

    Args:
        document: dicts, lists, texts, truth values, None, integers and decimals.
        exact: if true, decimals keep all their digits; otherwise ``1.50`` and ``1.5`` are the same number.

    Raises:
        TypeError: a document can't contain this value, for example a float.

    >>> document = {"b": Decimal("1.50"), "a": ["\u00e9", True, None, 3]}
    >>> write_canonical(document), write_canonical(document, exact=True)
    ('{"a":["\u00e9",true,null,3],"b":1.5}', '{"a":["\u00e9",true,null,3],"b":1.50}')
    """
    match document:
        case Decimal() if document.is_finite():
            return format(document if exact else document.normalize(), "f")
        case dict():
            keys = sorted(document)
            members = (
                f"{json.dumps(key, ensure_ascii=False)}:{write_canonical(document[key], exact=exact)}" for key in keys
            )
            return f"{{{','.join(members)}}}"
        case list() | tuple():
            return f"[{','.join(write_canonical(item, exact=exact) for item in document)}]"
        case str() | int() | None:
            return json.dumps(document, ensure_ascii=False)
        case _:
            raise TypeError(f"a document can't contain {type(document).__name__} {document!r}")


def digest(text: str) -> str:
    """Return the SHA-256 digest of a text, in hexadecimal [64 digits]. Source: FIPS 180-4, with its example "abc".

    >>> digest("abc")[:8]
    'ba7816bf'
    """
    return hashlib.sha256(text.encode()).hexdigest()
