"""Rows that are answered as they are stored, without becoming Python's values on their way from the database to JSON."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from typing import Any

import orjson
from django.core.exceptions import EmptyResultSet
from django.db import connections, models
from django.db.models import QuerySet
from django.db.models.expressions import Col
from django.db.models.sql.compiler import SQLCompiler

_FLOAT_DIGITS = 15  # SQLite keeps decimals as floats: those with no more digits than this are exact

Column = tuple[Any, ...] | list[Any]
Reader = Callable[[Column, Any], Column]
"""A column as the driver gives it, and the connection it came by, to what JSON says."""


@dataclass(frozen=True, slots=True)
class Alike:
    """Queries that differ in nothing but ``parameters``: they share a ``name``, and their SQL is written once."""

    name: Hashable
    parameters: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class _Written:
    sql: str
    parameters: tuple[Any, ...]
    readers: list[Reader | None]


@dataclass(frozen=True)
class AsStored:
    """``AsStored({"component": "component__sku"})``: members of an answer, and the column that each of them tells.

    Days and JSON are passed on as the database gives them, decimals are written with the places of their column; all else
    is read as Django reads it.
    """

    members: Mapping[str, str]
    _kept: dict[Hashable, _Written] = field(default_factory=dict, init=False, repr=False, compare=False)

    def read(
        self, rows: QuerySet[Any, Any], *marks: str, alike: Alike | None = None
    ) -> tuple[list[dict[str, Any]], list[tuple[Any, ...]]]:
        """The rows' answers, and of each row the values of ``marks``. One query."""
        written = self._kept.get((rows.db, marks, alike.name)) if alike else None
        parameters = alike.parameters if alike else ()
        if written is None:
            try:
                written = _write(rows.values_list(*marks, *self.members.values()))
            except EmptyResultSet:
                return [], []
            if alike and written.parameters == parameters:  # otherwise they are not as alike as was said
                self._kept[rows.db, marks, alike.name] = written
            parameters = written.parameters
        connection = connections[rows.db]
        with connection.cursor() as cursor:
            cursor.execute(written.sql, parameters)
            found = cursor.fetchall()
        columns = [
            read(column, connection) if read else column
            for read, column in zip(written.readers, zip(*found, strict=True), strict=False)
        ]
        names = tuple(self.members)
        answers = [dict(zip(names, row, strict=True)) for row in zip(*columns[len(marks) :], strict=True)]
        return answers, list(zip(*columns[: len(marks)], strict=True))


def _write(rows: QuerySet[Any, Any]) -> _Written:
    compiler = rows.query.get_compiler(rows.db)
    sql, parameters = compiler.as_sql()
    return _Written(sql, tuple(parameters), [_reader(compiler, selected[0]) for selected in compiler.select])


def _reader(compiler: SQLCompiler, expression: Any) -> Reader | None:
    stored = expression.output_field
    if isinstance(expression, Col):
        match stored:
            case models.DateTimeField():
                pass
            case models.DateField():
                return None
            case models.DecimalField() if stored.max_digits <= _FLOAT_DIGITS:
                return _decimals(f".{stored.decimal_places}f")
            case models.JSONField() if stored.decoder is None:
                return _json
    converters = compiler.get_converters([expression])
    return _converted(*converters[0]) if converters else None


def _json(column: Column, connection: Any) -> Column:
    return [None if text is None else orjson.Fragment(text) for text in column]


def _decimals(places: str) -> Reader:
    return lambda column, connection: [None if number is None else format(number, places) for number in column]


def _converted(steps: list[Callable[..., Any]], expression: Any) -> Reader:
    def read(column: Column, connection: Any) -> Column:
        for step in steps:
            column = [step(value, expression, connection) for value in column]
        return column

    return read
