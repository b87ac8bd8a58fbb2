"""Import preview: rows added, changed, unchanged and rejected."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Count, Max

from catalogue.spreadsheets.columns import Unreadable
from catalogue.spreadsheets.file_reader import Spreadsheet
from catalogue.spreadsheets.limits import EMPTY, SheetRefusedError, SpreadsheetRow
from catalogue.spreadsheets.sheet_types import SheetType
from shared.business.models import Business
from shared.common.dates import today

_EVERY = 500  # rows between two reports of progress
Progress = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class RowError:
    """A cell or row that is rejected: ``row`` is its number in the file."""

    row: int
    column: str
    reason: str


@dataclass(frozen=True, slots=True)
class Change:
    """A stored row that would change: its id, and (before, after) by attribute."""

    row: int
    pk: int
    values: Mapping[str, Any]
    before: Mapping[str, Any]


@dataclass(slots=True)
class ImportPlan:
    """Everything a file would do. Nothing is done while there is any refusal."""

    added: list[Mapping[str, Any]] = field(default_factory=list)
    changed: list[Change] = field(default_factory=list)
    unchanged: int = 0
    refused: list[RowError] = field(default_factory=list)
    rows: int = 0
    fingerprint: tuple[int, str] = (0, "")

    def given(self, kind: SheetType) -> dict[tuple[Any, ...], Mapping[str, Any]]:
        """Return the records to write, by key."""
        rows = [*self.added, *({**item.before, **item.values} for item in self.changed)]
        return {kind.key(row): row for row in rows}


def fingerprint(kind: SheetType, business: Business) -> tuple[int, str]:
    """Return a mark that changes with every write of a data type: the number of records and the latest change."""
    data = kind.model.objects.of(business).aggregate(count=Count("pk"), last=Max("updated_at"))
    return data["count"], str(data["last"])


@dataclass(slots=True)
class _RowReader:
    """Reads rows one after another against what is stored."""

    kind: SheetType
    sheet: Spreadsheet
    stored: dict[tuple[Any, ...], tuple[int, tuple[Any, ...]]]
    past: bool
    day: date
    plan: ImportPlan = field(default_factory=ImportPlan)
    seen: dict[tuple[Any, ...], int] = field(default_factory=dict)
    similar_keys: dict[tuple[str, ...], str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.similar_keys = {_folded(key): "one that is stored" for key in self.stored}

    def take(self, row: SpreadsheetRow) -> None:
        """Add one row to the plan."""
        given, faults = self._given(row)
        if not faults:
            faults = self._place(row, given)
        self.plan.refused += [RowError(row.number, column, reason) for column, reason in faults]

    def _given(self, row: SpreadsheetRow) -> tuple[dict[str, Any], list[tuple[str, str]]]:
        """Return the values of the row, by attribute."""
        cells = dict(zip(self.sheet.columns, row.cells, strict=False))
        values: dict[str, Any] = {}
        faults = []
        for column in self.kind.columns:
            if column.name not in self.sheet.columns:
                continue
            try:
                values[column.attr] = column.value(cells.get(column.name, EMPTY), self.sheet.decimal_comma)
            except Unreadable as fault:
                faults.append((column.name, str(fault)))
        beyond = [cell for cell in row.cells[len(self.sheet.columns) :] if cell.text.strip()]
        return values, faults + ([("", "The row has more cells than the header.")] if beyond else [])

    def _place(self, row: SpreadsheetRow, given: dict[str, Any]) -> list[tuple[str, str]]:
        self.kind.settle(given)
        key = self.kind.key(given)
        named = next(column.name for column in reversed(self.kind.columns) if column.key)
        first = self.seen.setdefault(key, row.number)
        if first != row.number:
            return [(named, f"The same as in row {first}.")]
        old = self.stored.get(key)
        values, faults = ({}, []) if old else self._left_out()
        if old:
            values = dict(zip(self.kind.attrs, old[1], strict=True))
        values |= given
        faults = faults or self.kind.check(values)
        if faults:
            return faults
        if old:
            return self._change(row, values, *old)
        twin = self.similar_keys.setdefault(_folded(key), f"row {row.number}")
        if twin != f"row {row.number}":
            return [
                (named, f"Written as {twin}, but for spaces or capitals; write it the same, or give it another name.")
            ]
        return self._add(values)

    def _left_out(self) -> tuple[dict[str, Any], list[tuple[str, str]]]:
        """Return a new row's values for columns that the file lacks: the defaults, or faults if there is none."""
        values: dict[str, Any] = {}
        faults = []
        for column in self.kind.columns:
            if column.name in self.sheet.columns:
                continue
            try:
                values[column.attr] = column.value(EMPTY, self.sheet.decimal_comma)
            except Unreadable as fault:
                faults.append((column.name, str(fault)))
        return values, faults

    def judge_documents(self) -> None:
        """Reject rows that make a document invalid, each at its row."""
        if self.kind.documents is None or self.plan.refused:
            return
        found = self.kind.documents.faults(self.plan.given(self.kind), self.seen)
        self.plan.refused += [RowError(row, column, reason) for row, column, reason in found]

    def _add(self, values: dict[str, Any]) -> list[tuple[str, str]]:
        if self.kind.documents is not None and not values["value"]:
            self.plan.unchanged += 1  # a member that is not there is left out
            return []
        start = values.get("valid_from")
        if self.kind.dated and not self.past and isinstance(start, date) and start < self.day:
            return [("valid_from", "A price can't begin in the past.")]
        self.plan.added.append(values)
        return []

    def _change(
        self, row: SpreadsheetRow, values: dict[str, Any], pk: int, old: tuple[Any, ...]
    ) -> list[tuple[str, str]]:
        before = dict(zip(self.kind.attrs, old, strict=True))
        changed = {attr for attr in self.kind.attrs if before[attr] != values[attr]}
        if not changed:
            self.plan.unchanged += 1
            return []
        if self.kind.dated and before["valid_from"] < self.day:
            faults = _begun_faults({attr: values[attr] for attr in changed}, self.day)
            if faults:
                return faults
        self.plan.changed.append(Change(row.number, pk, {attr: values[attr] for attr in changed}, before))
        return []


def _begun_faults(changed: Mapping[str, Any], day: date) -> list[tuple[str, str]]:
    """Return the fields of a begun price that may not change: all but its end, and that not to a past day."""
    text = "This price has begun: give a new one from a later day."
    faults = [(attr, text) for attr in sorted(changed.keys() - {"valid_to"})]
    end = changed.get("valid_to")
    if end is not None and end < day:
        faults.append(("valid_to", "A price that has begun can't end in the past."))
    return faults


def _folded(key: tuple[Any, ...]) -> tuple[str, ...]:
    """Return a key without differences in case, spaces and wide letters."""
    return tuple("".join(unicodedata.normalize("NFKC", str(part)).casefold().split()) for part in key)


def _stored_rows(kind: SheetType, business: Business) -> dict[tuple[Any, ...], tuple[int, tuple[Any, ...]]]:
    found = {}
    for pk, row in stored_rows(kind, business, "pk"):
        found[kind.key(dict(zip(kind.attrs, row, strict=True)))] = (pk, row)
    return found


def stored_rows(kind: SheetType, business: Business, *by: str) -> Iterator[tuple[int, tuple[Any, ...]]]:
    """Id and values of every stored row, in the order of these columns."""
    if kind.documents is not None:
        yield from kind.documents.rows()
        return
    rows = kind.model.objects.of(business).order_by(*by).values_list("pk", *kind.attrs)
    for pk, *values in rows.iterator(chunk_size=2000):
        yield pk, tuple(values)


def check_header(kind: SheetType, sheet: Spreadsheet) -> None:
    """Refused unless every column is one of the kind's and those that make the key are there."""
    known = [column.name for column in kind.columns]
    unknown = [name for name in sheet.columns if name not in known]
    missing = [column.name for column in kind.columns if column.key and column.name not in sheet.columns]
    if unknown or missing:
        parts = [f"unknown: {', '.join(unknown)[:300]}"] if unknown else []
        parts += [f"missing: {', '.join(missing)}"] if missing else []
        raise SheetRefusedError("header", f"Columns {'; '.join(parts)}. Known are: {', '.join(known)}.", 1)


def plan(
    kind: SheetType, sheet: Spreadsheet, business: Business, *, past: bool = False, progress: Progress | None = None
) -> ImportPlan:
    """Compare a file with the stored records; ``past`` allows prices that began earlier, while a business is set up.

    A column that is not in the file keeps what a stored row has; a new row gets its default.
    """
    check_header(kind, sheet)
    before = fingerprint(kind, business)
    reader = _RowReader(kind, sheet, _stored_rows(kind, business), past, today(business))
    reader.plan.fingerprint = before
    for row in sheet.rows:
        reader.take(row)
        reader.plan.rows += 1
        if progress is not None and reader.plan.rows % _EVERY == 0:
            progress(reader.plan.rows)
    reader.judge_documents()
    return reader.plan
