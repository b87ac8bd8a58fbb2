"""Serializer that writes database values to JSON without converting them to Python objects."""

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
"""Converts a column from the driver, with its connection, to values for JSON."""


@dataclass(frozen=True, slots=True)
class TrimmedDecimal:
    """Decimal without trailing zeros, but with at least this number of ``places``."""

    column: str | Combinable
    places: int = 0


@dataclass(frozen=True, slots=True)
class Money:
    """Amount with the number of places that ``RowSerializer.places`` gives for its row, or more if it has more."""

    column: str


@dataclass(frozen=True, slots=True)
class MoneyPlaces:
    """Number of places of amounts, calculated from ``columns`` of the row."""

    columns: tuple[str, ...]
    of: Callable[..., int] = minor_digits


Source = str | Combinable | Q | TrimmedDecimal | Money
"""Source of a field: the name of a column, an expression, a trimmed decimal or an amount."""
Members = Mapping[str, "Source | Mapping[str, Source]"]


Rows = QuerySet[Any, Any] | Callable[[], QuerySet[Any, Any]]
"""Rows, or a function that makes them. It is not called if the SQL is already compiled."""


@dataclass(frozen=True, slots=True)
class SharedQuery:
    """Queries that differ only in their ``parameters``. They share a ``name``, and their SQL is compiled once."""

    name: Hashable
    parameters: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class _DecimalReader:
    """Reader of a decimal column, for a minimum number of places."""

    read: Reader
    places: int | None
    floats: bool

    def texts(self, column: Column, connection: Any, min_places: int) -> Column:
        """Return the numbers as texts without trailing zeros."""
        formatted = _format_floats(column, min_places, self.places or 0) if self.floats else None
        return formatted or _trim(self.read(column, connection), min_places, self.places)


@dataclass(frozen=True, slots=True)
class _CompiledSql:
    db: str
    sql: str
    parameters: tuple[Any, ...]
    readers: list[Reader | _DecimalReader | None]


@dataclass(frozen=True)
class RowSerializer:
    """Maps each JSON field of a response to a column or expression: ``RowSerializer({"component": "component__sku"})``.

    A mapping makes an object inside the response. Dates are passed on as the database returns them, times are in UTC, and
    decimals have the places of their column. Other values are converted by Django.
    """

    members: Members
    places: MoneyPlaces | None = None
    _compiled: dict[Hashable, _CompiledSql] = field(default_factory=dict, init=False, repr=False, compare=False)

    def read(
        self, rows: Rows, *keys: str, shared: SharedQuery | None = None
    ) -> tuple[list[dict[str, Any]], list[tuple[Any, ...]]]:
        """Return the JSON of the rows, and the values of the columns ``keys`` of each row. It makes one query."""
        try:
            query = self._compile(rows, keys, shared)
        except EmptyResultSet:
            return [], []
        connection = connections[query.db]
        with connection.cursor() as cursor:
            cursor.execute(query.sql, query.parameters)
            found = cursor.fetchall()
        if not found:
            return [], []
        columns = [
            read(column, connection) if callable(read) else column
            for read, column in zip(query.readers, zip(*found, strict=True), strict=True)
        ]
        start = len(keys)
        if self.places:
            start += len(self.places.columns)
            currencies = list(zip(*columns[len(keys) : start], strict=True))
            columns = self._format_money(columns, currencies, query, self.places)
        return _objects(self.members, iter(columns[start:])), list(zip(*columns[: len(keys)], strict=True))

    def _format_money(
        self, columns: list[Column], rows: list[tuple[Any, ...]], query: _CompiledSql, places: MoneyPlaces
    ) -> list[Column]:
        """Format amounts with the places of their rows. Most lists have one currency."""
        min_places, connection = {row: places.of(*row) for row in set(rows)}, connections[query.db]
        same = next(iter(min_places.values())) if len(set(min_places.values())) == 1 else None
        for index, (column, read) in enumerate(zip(columns, query.readers, strict=True)):
            if not isinstance(read, _DecimalReader):
                continue
            if same is not None:
                columns[index] = read.texts(column, connection, same)
            else:
                texts = read.read(column, connection)
                columns[index] = [item and short(item, min_places[row]) for item, row in zip(texts, rows, strict=True)]
        return columns

    def _compile(self, rows: Rows, keys: tuple[str, ...], shared: SharedQuery | None) -> _CompiledSql:
        if shared and (compiled := self._compiled.get((keys, shared.name))):
            return replace(compiled, parameters=shared.parameters)
        currency_columns = self.places.columns if self.places else ()
        query = _compile(rows() if callable(rows) else rows, [*keys, *currency_columns, *_flat(self.members)])
        if shared and query.parameters == shared.parameters:  # otherwise the queries differ in more than the parameters
            self._compiled[keys, shared.name] = query
        return query

    def of(self, row: models.Model) -> dict[str, Any]:
        """Return the JSON of one record."""
        # unscoped: the record was found by its business before; this reads the same record
        records = type(row)._base_manager
        objects, _ = self.read(lambda: records.filter(pk=row.pk), shared=SharedQuery(("one", type(row)), (row.pk,)))
        return objects[0]


def same_names(*columns: str) -> dict[str, Source]:
    """Return fields that have the same names as their columns."""
    return dict(zip(columns, columns, strict=True))


def short(number: str, places: int = 0) -> str:
    """Return a decimal number without trailing zeros, but with at least this number of ``places``.

    >>> short("12.5000"), short("12.0000"), short("12.5000", 2), short("12.5015", 2)
    ('12.5', '12', '12.50', '12.5015')
    """
    whole, _, part = number.partition(".")
    part = part.rstrip("0").ljust(places, "0")
    return f"{whole}.{part}" if part else whole


def _flat(members: Members) -> Iterator[Source]:
    for source in members.values():
        if isinstance(source, Mapping):
            yield from _flat(source)
        else:
            yield source


def _objects(members: Members, columns: Iterator[Column]) -> list[dict[str, Any]]:
    parts = [_objects(source, columns) if isinstance(source, Mapping) else next(columns) for source in members.values()]
    names, rows = tuple(members), zip(*parts, strict=True)
    if len(names) == 2:  # most inner objects have two fields: this is three times faster
        first, second = names
        return [{first: item, second: other} for item, other in rows]
    return list(map(dict, map(zip, repeat(names), rows)))


class _UntypedColumn(Func):
    """Column whose type SQLite's driver does not know, so that it returns dates and times as texts."""

    arity = 1
    template = "%(expressions)s"

    def as_sqlite(self, compiler: SQLCompiler, connection: Any, **options: Any) -> Any:
        """Add a plus sign, which removes the type and keeps the value."""
        return self.as_sql(compiler, connection, template="+%(expressions)s", **options)


def _compile(rows: QuerySet[Any, Any], sources: list[Source]) -> _CompiledSql:
    columns: list[Any] = [item.column if isinstance(item, TrimmedDecimal | Money) else item for item in sources]
    query = rows.values_list(*columns).query
    query.select = tuple(
        _UntypedColumn(item) if isinstance(item.output_field, models.DateField) else item for item in query.select
    )
    compiler = query.get_compiler(rows.db)
    sql, parameters = compiler.as_sql()
    readers = [_reader(compiler, selected[0], item) for selected, item in zip(compiler.select, sources, strict=True)]
    return _CompiledSql(rows.db, sql, tuple(parameters), readers)


def _reader(compiler: SQLCompiler, expression: Any, source: Source) -> Reader | _DecimalReader | None:
    stored, is_column = expression.output_field, isinstance(expression, Col | _UntypedColumn)
    converters = compiler.get_converters([expression])
    convert = _converter(*converters[0]) if converters else None
    match stored:
        case models.DateTimeField() if is_column:
            return _times if convert else None
        case models.DateField() if is_column:
            return None
        case models.JSONField() if is_column and stored.decoder is None:
            return _json
        case models.DecimalField():
            places = stored.decimal_places if is_column else None
            return _reader_for(_DecimalReader(_decimals(places, convert), places, bool(convert) and is_column), source)
    return convert


def _json(column: Column, connection: Any) -> Column:
    return [None if text is None else orjson.loads(text) for text in column]


def _times(column: Column, connection: Any) -> Column:
    """Return SQLite's times, which are texts in UTC. Without missing values all are converted at once, three times faster."""
    if None not in column:
        return f"{'Z|'.join(column).replace(' ', 'T')}Z".split("|")
    return [None if text is None else f"{text[:10]}T{text[11:]}Z" for text in column]


def _decimals(places: int | None, convert: Reader | None) -> Reader:
    """Return a reader of decimals as texts. Django converts long and calculated numbers, for which floats are not exact."""
    written, exact = ("f", 0) if places is None else (f".{places}f", 10 ** (_FLOAT_DIGITS - places))

    def read(column: Column, connection: Any) -> Column:
        if convert and max(map(abs, filter(None, column)), default=0) >= exact:
            column = convert(column, connection)
        return [None if number is None else format(number, written) for number in column]

    return read


def _reader_for(decimals: _DecimalReader, source: Source) -> Reader | _DecimalReader:
    if isinstance(source, TrimmedDecimal):
        return lambda column, connection: decimals.texts(column, connection, source.places)
    return decimals if isinstance(source, Money) else decimals.read


def _format_floats(column: Column, min_places: int, places: int) -> list[str] | None:
    """Format all floats of a column at once, which is twice as fast as one by one.

    Return None if a number has more than ``min_places`` places, is too long to be exact, or is missing.
    """
    longest = 10 ** (_FLOAT_DIGITS - places)
    if None in column or not -longest < min(column) <= max(column) < longest:
        return None
    texts = (f"%.{min_places}f " * len(column) % tuple(column)).split()
    return texts if list(map(float, texts)) == list(column) else None


def _trim(column: Column, min_places: int, places: int | None) -> Column:
    """Remove trailing zeros from texts with ``places`` places. Most texts end with the same zeros, which are cut at once."""
    if places is None or places <= min_places:
        return [item and short(item, min_places) for item in column]
    zeros = "0" * (places - min_places) if min_places else "." + "0" * places
    end = -len(zeros)
    return [item and (item[:end] if item.endswith(zeros) else short(item, min_places)) for item in column]


def _converter(steps: list[Callable[..., Any]], expression: Any) -> Reader:
    def read(column: Column, connection: Any) -> Column:
        for step in steps:
            column = [step(value, expression, connection) for value in column]
        return column

    return read
