"""Queries that every call makes: their SQL is written once, because writing it costs more than the database's answer."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cached_property
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connection
from django.db.models import QuerySet
from django.db.models.sql.compiler import SQLCompiler

_ANY = "any"


class CompiledQuery:
    """``Statement(lambda sku: Part.objects.filter(sku=sku).values_list(…))``: called with a value, gives its rows.

    The query has one parameter, a text. What the fields do to make a database's values Python's is done as always.
    """

    def __init__(self, query: Callable[[str], QuerySet[Any, Any]]) -> None:
        self._query = query

    def __call__(self, value: str) -> Iterable[list[Any]]:
        compiler, sql, converters = self._written
        with connection.cursor() as cursor:
            cursor.execute(sql, [value])
            rows = cursor.fetchall()
        data: Iterable[list[Any]] = compiler.apply_converters(rows, converters)
        return data

    @cached_property
    def _written(self) -> tuple[SQLCompiler, str, dict[int, Any]]:
        compiler = self._query(_ANY).query.get_compiler(DEFAULT_DB_ALIAS)
        sql, parameters = compiler.as_sql()
        if list(parameters) != [_ANY]:
            raise ValueError(f"one parameter is wanted, not {parameters}")
        return compiler, sql, compiler.get_converters([selected[0] for selected in compiler.select])
