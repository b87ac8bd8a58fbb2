"""Accounting API: reports as files, and period locks."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.http import HttpResponse, StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.accounting.models import PeriodLock
from quotes.accounting.order_posting import catch_up, lock_period
from quotes.accounting.report_files import (
    MAX_XLSX_ROWS,
    TYPES,
    csv_blocks,
    file_blocks,
    json_blocks,
    ledger_csv,
    xlsx_file,
)
from quotes.accounting.reports import (
    GROUPS,
    QUOTE_GROUPS,
    DateRange,
    ReportTable,
    entry_table,
    ledger_entries,
    margins_table,
    quotes_table,
    totals_table,
)
from quotes.jobs.api_fields import DATE, shape
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.row_serializer import RowSerializer, same_names
from shared.api.serializers import StrictSerializer
from shared.business.roles import Scope
from shared.common.problems import Problem

SPAN = {"from": "First day, such as 2031-04-01.", "to": "Last day, included."}
LOCK = ("ref", "created_by", "created_at")
LOCKS = RowSerializer(same_names("locked_through", *LOCK))
LOCK_SCHEMA = shape(LOCK, locked_through=DATE)
_FILE = {(200, kind): OpenApiTypes.BINARY for kind in ("text/csv", "application/json")}


class _Report(Endpoint):
    """Base of the reports: entries of a date range as csv, xlsx or json."""

    scopes = {"GET": Scope.ACCOUNTING_READ}
    parameters = SPAN

    def span(self) -> DateRange:
        """Return the requested date range. Raise 400 if it is invalid."""
        first, last = (self._day(name) for name in SPAN)
        if last < first:
            raise _wrong("to", "Enter a date that is not before from.")
        return DateRange(first, last)

    def _day(self, name: str) -> date:
        try:
            return date.fromisoformat(self.request.query_params.get(name, "")[:10])
        except ValueError:
            raise _wrong(name, "Enter a date such as 2031-04-30.") from None

    def choice(self, name: str, usual: str, known: Iterable[str]) -> str:
        """Return a parameter with a fixed set of values. Raise 400 for another value."""
        word = self.request.query_params.get(name, usual)
        if word not in known:
            raise _wrong(name, f"Choose from: {', '.join(known)}.")
        return word

    def table(self, span: DateRange) -> ReportTable:
        """Return the table of the report."""
        raise NotImplementedError

    def report(self, request: Request, format: str) -> HttpResponse | StreamingHttpResponse:
        """Return the report as a streamed file."""
        if format not in TYPES:
            raise Problem("not-found", f"Choose a format: {', '.join(TYPES)}.")
        span = self.span()
        catch_up(self.business)
        table = self.table(span)
        if format == "xlsx":
            blocks: Any = file_blocks(xlsx_file(table))
        else:
            blocks = json_blocks(table) if format == "json" else self.csv(table, span)
        response = StreamingHttpResponse(blocks, content_type=TYPES[format])
        name = f"{table.name}-{span.first}-{span.last}.{format}"
        response["Content-Disposition"] = f'attachment; filename="{name}"'
        return response

    def csv(self, table: ReportTable, span: DateRange) -> Any:
        """Return blocks of CSV."""
        return csv_blocks(table)


class Ledger(_Report):
    """Ledger entries: orders by line and job, with later corrections."""

    def table(self, span: DateRange) -> ReportTable:
        return entry_table(self.business, span)

    def csv(self, table: ReportTable, span: DateRange) -> Any:
        return ledger_csv(self.business, span)

    @extend_schema(responses=_FILE, summary="Export the ledger")
    def get(self, request: Request, format: str) -> HttpResponse | StreamingHttpResponse:
        if format == "xlsx" and ledger_entries(self.business, self.span()).count() > MAX_XLSX_ROWS:
            raise Problem("too-large", f"A spreadsheet holds {MAX_XLSX_ROWS} rows. Use a shorter date range, or csv.")
        return self.report(request, format)


class OrderTotalsReport(_Report):
    """Order totals by period, supplier, job, account, or tax code and rate."""

    parameters = {**SPAN, "group_by": f"One of {', '.join(GROUPS)}."}

    def table(self, span: DateRange) -> ReportTable:
        return totals_table(self.business, span, self.choice("group_by", "period", GROUPS))

    @extend_schema(responses=_FILE, summary="Export order totals")
    def get(self, request: Request, format: str) -> HttpResponse | StreamingHttpResponse:
        return self.report(request, format)


class QuotesAndAcceptances(_Report):
    """Quotes and acceptances, as single entries or as sums by period or job."""

    parameters = {**SPAN, "group_by": f"One of {', '.join(QUOTE_GROUPS)}."}

    def table(self, span: DateRange) -> ReportTable:
        return quotes_table(self.business, span, self.choice("group_by", "quote", QUOTE_GROUPS))

    @extend_schema(responses=_FILE, summary="Export quotes and acceptances")
    def get(self, request: Request, format: str) -> HttpResponse | StreamingHttpResponse:
        return self.report(request, format)


class Margins(_Report):
    """Margins by job on the last day: sold, planned, ordered, received and as built."""

    def table(self, span: DateRange) -> ReportTable:
        return margins_table(self.business, span)

    @extend_schema(responses=_FILE, summary="Export margins")
    def get(self, request: Request, format: str) -> HttpResponse | StreamingHttpResponse:
        return self.report(request, format)


class PeriodLockIn(StrictSerializer):
    """``locked_through``: the last day of the period."""

    locked_through = serializers.DateField()


class PeriodLocks(Endpoint):
    """Period locks, newest first. POST locks all entries up to a day. A lock is final."""

    scopes = {"GET": Scope.ACCOUNTING_READ, "POST": Scope.ACCOUNTING_WRITE}
    idempotent = frozenset({"POST"})
    paged = True

    @extend_schema(responses={200: page_of(LOCK_SCHEMA)}, summary="List period locks")
    def get(self, request: Request) -> Response:
        return self.page(lambda: PeriodLock.objects.of(self.business), LOCKS, all_of=self.business)

    @extend_schema(request=PeriodLockIn, responses={201: LOCK_SCHEMA}, summary="Lock a period")
    def post(self, request: Request) -> Response:
        lock = lock_period(
            business=self.business, locked_through=self.validated_data(PeriodLockIn)["locked_through"], actor=self.actor
        )
        return self.one(LOCKS.of(lock), lock, status=201)


def _wrong(name: str, text: str) -> Problem:
    return Problem("invalid-parameter", errors=[{"parameter": name, "code": name, "detail": text}])
