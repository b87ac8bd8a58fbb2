"""Queries whose SQL is compiled once and reused, because compiling takes longer than running them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cached_property
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connection
from django.db.models import QuerySet
from django.db.models.sql.compiler import SQLCompiler

_ANY = "any"


class CompiledQuery:
    """Query with one text parameter: ``CompiledQuery(lambda sku: Part.objects.filter(sku=sku).values_list(…))``.

    Call it with a value to get the rows. Values are converted by the fields as usual.
    """

    def __init__(self, query: Callable[[str], QuerySet[Any, Any]]) -> None:
        self._query = query

    def __call__(self, value: str) -> Iterable[list[Any]]:
        compiler, sql, converters = self._compiled
        with connection.cursor() as cursor:
            cursor.execute(sql, [value])
            rows = cursor.fetchall()
        converted: Iterable[list[Any]] = compiler.apply_converters(rows, converters)
        return converted

    @cached_property
    def _compiled(self) -> tuple[SQLCompiler, str, dict[int, Any]]:
        compiler = self._query(_ANY).query.get_compiler(DEFAULT_DB_ALIAS)
        sql, parameters = compiler.as_sql()
        if list(parameters) != [_ANY]:
            raise ValueError(f"the query must have one parameter, not {parameters}")
        return compiler, sql, compiler.get_converters([selected[0] for selected in compiler.select])
