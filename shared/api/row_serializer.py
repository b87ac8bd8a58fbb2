"""Rows that are answered as they are stored, without becoming Python's values on their way from the database to JSON."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import repeat
from typing import Any

import orjson
from django.core.exceptions import EmptyResultSet
from django.db import connections, models
from django.db.models import Q, QuerySet
from django.db.models.expressions import Col, Combinable, Func
from django.db.models.sql.compiler import SQLCompiler

from shared.common.money import minor_digits

_FLOAT_DIGITS = 15  # SQLite keeps decimals as floats: those with no more digits than this are exact

Column = tuple[Any, ...] | list[Any]
Reader = Callable[[Column, Any], Column]
"""A column as the driver gives it, and the connection it came by, to what JSON says."""


@dataclass(frozen=True, slots=True)
class TrimmedDecimal:
    """A decimal without needless zeros, but with at least so many ``places``."""

    column: str | Combinable
    places: int = 0


@dataclass(frozen=True, slots=True)
class Money:
    """An amount with as many places as ``RowSerializer.places`` says for its row, and more only where it has more."""

    column: str


@dataclass(frozen=True, slots=True)
class MoneyPlaces:
    """How many places money has, by ``columns`` of its row."""

    columns: tuple[str, ...]
    of: Callable[..., int] = minor_digits


Telling = str | Combinable | Q | TrimmedDecimal | Money
"""What a member tells: a column by its name, an expression of columns, a decimal made short, or money."""
Members = Mapping[str, "Telling | Mapping[str, Telling]"]


Rows = QuerySet[Any, Any] | Callable[[], QuerySet[Any, Any]]
"""Rows, or what makes them where they are needed: a query whose SQL is kept is not made again."""


@dataclass(frozen=True, slots=True)
class SharedQuery:
    """Queries that differ in nothing but ``parameters``: they share a ``name``, and their SQL is written once."""

    name: Hashable
    parameters: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class _DecimalReader:
    """How a column of decimals is told when it is known with how many places at least."""

    read: Reader
    places: int | None
    floats: bool

    def told(self, column: Column, connection: Any, least: int) -> Column:
        """Texts without needless zeros."""
        together = _together(column, least, self.places or 0) if self.floats else None
        return together or _cut(self.read(column, connection), least, self.places)


@dataclass(frozen=True, slots=True)
class _CompiledSql:
    db: str
    sql: str
    parameters: tuple[Any, ...]
    readers: list[Reader | _DecimalReader | None]


@dataclass(frozen=True)
class RowSerializer:
    """``RowSerializer({"component": "component__sku"})``: members of an answer, and what each of them tells.

    A member that holds members is an object within the answer. Days are passed on as the database gives them, times in UTC,
    decimals are written with the places of their column; all else is read as Django reads it.
    """

    members: Members
    places: MoneyPlaces | None = None
    _kept: dict[Hashable, _CompiledSql] = field(default_factory=dict, init=False, repr=False, compare=False)

    def read(
        self, rows: Rows, *marks: str, alike: SharedQuery | None = None
    ) -> tuple[list[dict[str, Any]], list[tuple[Any, ...]]]:
        """The rows' answers, and of each row the values of ``marks``. One query."""
        try:
            written = self._written(rows, marks, alike)
        except EmptyResultSet:
            return [], []
        connection = connections[written.db]
        with connection.cursor() as cursor:
            cursor.execute(written.sql, written.parameters)
            found = cursor.fetchall()
        if not found:
            return [], []
        columns = [
            read(column, connection) if callable(read) else column
            for read, column in zip(written.readers, zip(*found, strict=True), strict=True)
        ]
        begin = len(marks)
        if self.places:
            begin += len(self.places.columns)
            by = list(zip(*columns[len(marks) : begin], strict=True))
            columns = self._stated(columns, by, written, self.places)
        return _answers(self.members, iter(columns[begin:])), list(zip(*columns[: len(marks)], strict=True))

    def _stated(
        self, columns: list[Column], rows: list[tuple[Any, ...]], written: _CompiledSql, places: MoneyPlaces
    ) -> list[Column]:
        """Money with the places of its row. Most lists are of one currency."""
        least, connection = {row: places.of(*row) for row in set(rows)}, connections[written.db]
        same = next(iter(least.values())) if len(set(least.values())) == 1 else None
        for place, (column, read) in enumerate(zip(columns, written.readers, strict=True)):
            if not isinstance(read, _DecimalReader):
                continue
            if same is not None:
                columns[place] = read.told(column, connection, same)
            else:
                texts = read.read(column, connection)
                columns[place] = [item and short(item, least[row]) for item, row in zip(texts, rows, strict=True)]
        return columns

    def _written(self, rows: Rows, marks: tuple[str, ...], alike: SharedQuery | None) -> _CompiledSql:
        if alike and (kept := self._kept.get((marks, alike.name))):
            return replace(kept, parameters=alike.parameters)
        by = self.places.columns if self.places else ()
        written = _write(rows() if callable(rows) else rows, [*marks, *by, *_flat(self.members)])
        if alike and written.parameters == alike.parameters:  # otherwise they are not as alike as was said
            self._kept[marks, alike.name] = written
        return written

    def of(self, row: models.Model) -> dict[str, Any]:
        """The answer of one row that was found already."""
        # unscoped: the row was found by its business already; this reads the same one
        found = type(row)._base_manager
        answers, _ = self.read(lambda: found.filter(pk=row.pk), alike=SharedQuery(("one", type(row)), (row.pk,)))
        return answers[0]


def same_names(*columns: str) -> dict[str, Telling]:
    """Members that are called like the columns that they tell."""
    return dict(zip(columns, columns, strict=True))


def short(number: str, places: int = 0) -> str:
    """The decimal number without needless zeros, but with at least so many ``places``.

    >>> short("12.5000"), short("12.0000"), short("12.5000", 2), short("12.5015", 2)
    ('12.5', '12', '12.50', '12.5015')
    """
    whole, _, part = number.partition(".")
    part = part.rstrip("0").ljust(places, "0")
    return f"{whole}.{part}" if part else whole


def _flat(members: Members) -> Iterator[Telling]:
    for data in members.values():
        if isinstance(data, Mapping):
            yield from _flat(data)
        else:
            yield data


def _answers(members: Members, columns: Iterator[Column]) -> list[dict[str, Any]]:
    parts = [_answers(data, columns) if isinstance(data, Mapping) else next(columns) for data in members.values()]
    names, rows = tuple(members), zip(*parts, strict=True)
    if len(names) == 2:  # objects within answers mostly: made three times as fast
        first, second = names
        return [{first: item, second: other} for item, other in rows]
    return list(map(dict, map(zip, repeat(names), rows)))


class _Undeclared(Func):
    """A column of which SQLite's driver does not know that it holds days or times, so that it leaves them the texts they are."""

    arity = 1
    template = "%(expressions)s"

    def as_sqlite(self, compiler: SQLCompiler, connection: Any, **options: Any) -> Any:
        """A plus sign changes nothing but this."""
        return self.as_sql(compiler, connection, template="+%(expressions)s", **options)


def _write(rows: QuerySet[Any, Any], asked: list[Telling]) -> _CompiledSql:
    columns: list[Any] = [item.column if isinstance(item, TrimmedDecimal | Money) else item for item in asked]
    query = rows.values_list(*columns).query
    query.select = tuple(
        _Undeclared(item) if isinstance(item.output_field, models.DateField) else item for item in query.select
    )
    compiler = query.get_compiler(rows.db)
    sql, parameters = compiler.as_sql()
    readers = [_reader(compiler, selected[0], item) for selected, item in zip(compiler.select, asked, strict=True)]
    return _CompiledSql(rows.db, sql, tuple(parameters), readers)


def _reader(compiler: SQLCompiler, expression: Any, told: Telling) -> Reader | _DecimalReader | None:
    stored, is_column = expression.output_field, isinstance(expression, Col | _Undeclared)
    converters = compiler.get_converters([expression])
    converted = _converted(*converters[0]) if converters else None
    match stored:
        case models.DateTimeField() if is_column:
            return _times if converted else None
        case models.DateField() if is_column:
            return None
        case models.JSONField() if is_column and stored.decoder is None:
            return _json
        case models.DecimalField():
            places = stored.decimal_places if is_column else None
            return _reader_for(
                _DecimalReader(_decimals(places, converted), places, bool(converted) and is_column), told
            )
    return converted


def _json(column: Column, connection: Any) -> Column:
    return [None if text is None else orjson.loads(text) for text in column]


def _times(column: Column, connection: Any) -> Column:
    """SQLite keeps times as texts in UTC: all at once, which takes a third of the time, where each row has one."""
    if None not in column:
        return f"{'Z|'.join(column).replace(' ', 'T')}Z".split("|")
    return [None if text is None else f"{text[:10]}T{text[11:]}Z" for text in column]


def _decimals(places: int | None, converted: Reader | None) -> Reader:
    """Decimals as texts, by Django's word where SQLite's floats may not be exact: long ones, and any that were reckoned."""
    written, exact = ("f", 0) if places is None else (f".{places}f", 10 ** (_FLOAT_DIGITS - places))

    def read(column: Column, connection: Any) -> Column:
        if converted and max(map(abs, filter(None, column)), default=0) >= exact:
            column = converted(column, connection)
        return [None if number is None else format(number, written) for number in column]

    return read


def _reader_for(exact: _DecimalReader, told: Telling) -> Reader | _DecimalReader:
    if isinstance(told, TrimmedDecimal):
        return lambda column, connection: exact.told(column, connection, told.places)
    return exact if isinstance(told, Money) else exact.read


def _together(column: Column, least: int, places: int) -> list[str] | None:
    """Floats of no more places than ``least``, written and looked at all at once: twice as fast as one by one.

    None where one has more, is too long to be exact, or is nothing.
    """
    longest = 10 ** (_FLOAT_DIGITS - places)
    if None in column or not -longest < min(column) <= max(column) < longest:
        return None
    texts = (f"%.{least}f " * len(column) % tuple(column)).split()
    return texts if list(map(float, texts)) == list(column) else None


def _cut(column: Column, least: int, places: int | None) -> Column:
    """Texts without needless zeros, of so many ``places`` each or None: the zeros that most end with are cut off at once."""
    if places is None or places <= least:
        return [item and short(item, least) for item in column]
    usual = "0" * (places - least) if least else "." + "0" * places
    cut = -len(usual)
    return [item and (item[:cut] if item.endswith(usual) else short(item, least)) for item in column]


def _converted(steps: list[Callable[..., Any]], expression: Any) -> Reader:
    def read(column: Column, connection: Any) -> Column:
        for step in steps:
            column = [step(value, expression, connection) for value in column]
        return column

    return read
