"""Fence systems as a sheet: one row for each member of a system's document, judged and stored as whole documents.

A member is named by its place, as ``posts/channel/face_mm``; several lengths stand in one cell, ``1590 1890``. A member
left out of the file stays as it is; one with an empty value is removed from the document.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from copy import deepcopy
from typing import Any

from catalogue import services
from catalogue.models import FenceSystem, FenceSystemVersion
from catalogue.spreadsheets.columns import SpreadsheetColumn, Unreadable, from_float, plain, shown_number, text_column
from catalogue.spreadsheets.limits import SpreadsheetCell
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.system import SYSTEM_SCHEMA
from fencing.reading.system import KEYS, read_system
from shared.business.actors import Actor
from shared.business.models import Business

MAX_SYSTEMS = 50
MAX_MEMBERS = 300  # of one system; a document has about a hundred
_ENOUGH = 200  # errors are shown; further systems are checked when these are corrected
NONE = "none"
_PLACE = re.compile(r"[a-z][a-z0-9_.]{0,39}(/[a-z][a-z0-9_.]{0,39}){0,4}")
_LISTS = ("stock_mm", "heights_mm", "notch_mm")
_TEXTS = ("label", "components", "allowances")
_FROM_COLUMN = ("schema", "code")
_MAY_BE_EMPTY = ("components", "allowances")
_PLACES = 9
Key = tuple[Any, ...]
Found = list[tuple[int, str, str]]


def _member(cell: SpreadsheetCell, decimal_comma: bool) -> str:
    place = plain(cell.text)
    if not _PLACE.fullmatch(place):
        raise Unreadable("Enter the path of a member, such as pitch_mm or posts/channel/face_mm.")
    if place in _FROM_COLUMN:
        raise Unreadable("The column system states it.")
    return place


def _value(cell: SpreadsheetCell, decimal_comma: bool) -> str:
    if cell.number:
        return shown_number(from_float(cell.text, _PLACES))
    text = plain(cell.text)
    return text.replace(",", ".") if decimal_comma and re.fullmatch(r"-?\d+,\d+", text, re.ASCII) else text


SYSTEM = text_column(FenceSystem, "code", key=True, named="system")
MEMBER = SpreadsheetColumn("member", "member", _member, str, key=True)
VALUE = SpreadsheetColumn("value", "value", _value, str)


def is_list(place: str) -> bool:
    """Return whether a member holds several numbers."""
    return place.endswith(_LISTS)


def cell_text(value: Any) -> str:
    """Return a member's value as a cell."""
    if isinstance(value, list):
        return " ".join(str(item) for item in value) or NONE
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def _number(text: str) -> int | str:
    return int(text) if re.fullmatch(r"-?\d{1,9}", text, re.ASCII) else text


def parsed(place: str, text: str) -> Any:
    """Return the value of a cell for the document. Decimals stay texts, which a document accepts for numbers."""
    if place.split("/")[0] in _TEXTS:
        return text
    if is_list(place):
        return [] if text == NONE else [_number(item) for item in text.split()]
    flags = {"yes": True, "true": True, "no": False, "false": False}
    return flags.get(text.lower(), _number(text))


def flat(document: Mapping[str, Any], at: str = "") -> Iterator[tuple[str, str]]:
    """Place and value of every member."""
    for name, value in sorted(document.items()):
        if isinstance(value, Mapping):
            yield from flat(value, f"{at}{name}/")
        elif at or name not in _FROM_COLUMN:
            yield f"{at}{name}", cell_text(value)


def _order(place: str) -> tuple[int, str]:
    first = place.split("/")[0]
    return (KEYS.index(first) if first in KEYS else len(KEYS)), place


def changed(document: Mapping[str, Any], members: Mapping[str, str]) -> tuple[dict[str, Any], list[Fault]]:
    """Return the document with the members of the file, and the members that are not valid."""
    made: dict[str, Any] = {**{name: {} for name in _MAY_BE_EMPTY}, **deepcopy(dict(document))}
    faults = []
    for place, text in sorted(members.items()):
        try:
            _put(made, place.split("/"), parsed(place, text) if text else None)
        except TypeError:
            faults.append(Fault(f"/{place}", "member", "This is a single value, so nothing can stand in it."))
    return made, faults


def _put(table: dict[str, Any], names: list[str], value: Any) -> None:
    """Set a value at its path, or remove the member without a value, with tables that are then empty."""
    first, rest = names[0], names[1:]
    if rest:
        inner = dict(table.get(first, {})) if isinstance(table.get(first, {}), Mapping) else None
        if inner is None:
            raise TypeError(first)
        _put(inner, rest, value)
        table[first] = inner
        if not inner and first not in _MAY_BE_EMPTY:
            del table[first]
    elif value is None:
        table.pop(first, None)
    else:
        table[first] = value


class SystemDocuments:
    """The fence systems of a business, member by member."""

    def __init__(self, business: Business) -> None:
        self.business = business

    def _latest(self) -> dict[str, tuple[FenceSystem, Mapping[str, Any]]]:
        versions = FenceSystemVersion.objects.of(self.business).select_related("system")
        found = {version.system.code: (version.system, version.document) for version in versions.order_by("number")}
        return dict(sorted(found.items()))

    def rows(self) -> Iterator[tuple[int, Key]]:
        """Every member of every system's latest document, with the system's id."""
        for code, (system, document) in self._latest().items():
            for place, value in sorted(flat(document), key=lambda item: _order(item[0])):
                yield system.pk, (code, place, value)

    def _made(self, given: Mapping[Key, Mapping[str, Any]]) -> Iterator[tuple[str, dict[str, Any], list[Fault]]]:
        """Each system the file touches, with its document as it would be."""
        members: dict[str, dict[str, str]] = defaultdict(dict)
        for row in given.values():
            members[row["code"]][row["member"]] = row["value"]
        stored = self._latest()
        for code, data in sorted(members.items()):
            before = stored[code][1] if code in stored else {"schema": SYSTEM_SCHEMA, "code": code}
            yield (code, *changed(before, data))

    def faults(self, given: Mapping[Key, Mapping[str, Any]], lines: Mapping[Key, int]) -> Found:
        """Yield the errors of the new documents: row, column and reason."""
        own: dict[str, dict[str, int]] = defaultdict(dict)
        for (code, place), line in lines.items():
            own[code][place] = line
        found = _too_large(given, own)
        if found:
            return found
        for code, document, faults in self._made(given):
            if len(found) >= _ENOUGH:
                break
            try:
                read_system(document)
            except InvalidDocument as refused:
                faults = faults or list(refused.faults)
            found += [_placed(fault, own[code]) for fault in faults]
        return sorted(found)

    def write(self, given: Mapping[Key, Mapping[str, Any]], actor: Actor) -> None:
        """Save the next version of each system in the file."""
        codes = {code for code, _ in given}
        rows = (
            FenceSystem.objects.of(self.business).filter(code__in=codes).order_by("code").select_for_update(no_key=True)
        )
        systems = {row.code: row for row in rows}
        for code, document, _ in self._made(given):
            services.store_system(business=self.business, actor=actor, document=document, system=systems.get(code))


def _too_large(given: Mapping[Key, Mapping[str, Any]], own: Mapping[str, Mapping[str, int]]) -> Found:
    """Faults of size, which spare reading the rest; ``own`` are the lines of each system's members."""
    if len({code for code, _ in given}) > MAX_SYSTEMS:
        first = min(line for lines in own.values() for line in lines.values())
        return [(first, "system", f"A file may have {MAX_SYSTEMS} fence systems.")]
    text = f"A fence system has at most {MAX_MEMBERS} members."
    return [(min(lines.values()), "system", text) for lines in own.values() if len(lines) > MAX_MEMBERS]


def _placed(fault: Fault, own: Mapping[str, int]) -> tuple[int, str, str]:
    """Return a fault of a document at the row that causes it, or else at the system's first row."""
    names = fault.pointer.strip("/").split("/")
    for count in range(len(names), 0, -1):
        place = "/".join(names[:count])
        inside = [line for other, line in own.items() if other.startswith(f"{place}/") and count == len(names)]
        if place in own or inside:
            return own.get(place, min(inside, default=0)), "value", fault.text
    first = min(own.values())
    return first, "system" if names == ["code"] else "member", f"{'/'.join(names)}: {fault.text}"
