"""The bookkeeper's side: reports as files, and locking a period."""

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
    entries,
    entry_table,
    margins_table,
    quotes_table,
    totals_table,
)
from quotes.jobs.api_fields import DATE, shape
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.problems import Problem
from shared.api.row_serializer import RowSerializer, same_names
from shared.api.serializers import StrictSerializer
from shared.business.roles import Scope

SPAN = {"from": "The first day, such as 2031-04-01.", "to": "The last day, included."}
LOCK = ("ref", "who", "created_at")
LOCKS = RowSerializer(same_names("until", *LOCK))
LOCK_SCHEMA = shape(LOCK, until=DATE)
_FILE = {(200, kind): OpenApiTypes.BINARY for kind in ("text/csv", "application/json")}


class _Report(Endpoint):
    """A report of a span of days as csv, xlsx or json. What was placed or changed until now is in it."""

    scopes = {"GET": Scope.ACCOUNTING_READ}
    parameters = SPAN

    def span(self) -> DateRange:
        """The days asked for, or 400."""
        first, last = (self._day(name) for name in SPAN)
        if last < first:
            raise _wrong("to", "Not before from.")
        return DateRange(first, last)

    def _day(self, name: str) -> date:
        try:
            return date.fromisoformat(self.request.query_params.get(name, "")[:10])
        except ValueError:
            raise _wrong(name, "A day such as 2031-04-30 is wanted.") from None

    def chosen(self, name: str, usual: str, known: Iterable[str]) -> str:
        """A parameter that is one of some words, or 400."""
        word = self.request.query_params.get(name, usual)
        if word not in known:
            raise _wrong(name, f"Choose from: {', '.join(known)}.")
        return word

    def table(self, span: DateRange) -> ReportTable:
        """What is reported."""
        raise NotImplementedError

    def answer(self, request: Request, form: str) -> HttpResponse | StreamingHttpResponse:
        """The report as a file, streamed."""
        if form not in TYPES:
            raise Problem("not-found", f"A report comes as {', '.join(TYPES)}.")
        span = self.span()
        catch_up(self.business)
        table = self.table(span)
        if form == "xlsx":
            blocks: Any = file_blocks(xlsx_file(table))
        else:
            blocks = json_blocks(table) if form == "json" else self.csv(table, span)
        response = StreamingHttpResponse(blocks, content_type=TYPES[form])
        name = f"{table.name}-{span.first}-{span.last}.{form}"
        response["Content-Disposition"] = f'attachment; filename="{name}"'
        return response

    def csv(self, table: ReportTable, span: DateRange) -> Any:
        """Blocks of CSV."""
        return csv_blocks(table)


class Ledger(_Report):
    """Every entry of the ledger: orders by line and job, corrections where something changed later."""

    def table(self, span: DateRange) -> ReportTable:
        return entry_table(self.business, span)

    def csv(self, table: ReportTable, span: DateRange) -> Any:
        return ledger_csv(self.business, span)

    @extend_schema(responses=_FILE, summary="The ledger")
    def get(self, request: Request, form: str) -> HttpResponse | StreamingHttpResponse:
        if form == "xlsx" and entries(self.business, self.span()).count() > MAX_XLSX_ROWS:
            raise Problem("too-large", f"A sheet holds {MAX_XLSX_ROWS} rows; ask for a shorter span, or for csv.")
        return self.answer(request, form)


class OrderTotalsReport(_Report):
    """Order totals by period, supplier, job, account, or tax code and rate."""

    parameters = {**SPAN, "by": f"One of {', '.join(GROUPS)}."}

    def table(self, span: DateRange) -> ReportTable:
        return totals_table(self.business, span, self.chosen("by", "period", GROUPS))

    @extend_schema(responses=_FILE, summary="Order totals")
    def get(self, request: Request, form: str) -> HttpResponse | StreamingHttpResponse:
        return self.answer(request, form)


class Quoted(_Report):
    """What was quoted and what was accepted, one by one or summed by period or job."""

    parameters = {**SPAN, "by": f"One of {', '.join(QUOTE_GROUPS)}."}

    def table(self, span: DateRange) -> ReportTable:
        return quotes_table(self.business, span, self.chosen("by", "quote", QUOTE_GROUPS))

    @extend_schema(responses=_FILE, summary="Quoted and accepted")
    def get(self, request: Request, form: str) -> HttpResponse | StreamingHttpResponse:
        return self.answer(request, form)


class Margins(_Report):
    """Sold, planned, ordered, received and as built, job by job, as the books stood on the last day."""

    def table(self, span: DateRange) -> ReportTable:
        return margins_table(self.business, span)

    @extend_schema(responses=_FILE, summary="Margins")
    def get(self, request: Request, form: str) -> HttpResponse | StreamingHttpResponse:
        return self.answer(request, form)


class LockIn(StrictSerializer):
    """``until``: the last day of the period."""

    until = serializers.DateField()


class Locks(Endpoint):
    """Locked periods, from the newest. POST locks everything up to a day, for good."""

    scopes = {"GET": Scope.ACCOUNTING_READ, "POST": Scope.ACCOUNTING_WRITE}
    idempotent = frozenset({"POST"})
    paged = True

    @extend_schema(responses={200: page_of(LOCK_SCHEMA)}, summary="Locked periods")
    def get(self, request: Request) -> Response:
        return self.page(lambda: PeriodLock.objects.of(self.business), LOCKS, all_of=self.business)

    @extend_schema(request=LockIn, responses={201: LOCK_SCHEMA}, summary="Lock a period")
    def post(self, request: Request) -> Response:
        lock = lock_period(business=self.business, until=self.validated_data(LockIn)["until"], actor=self.actor)
        return self.one(LOCKS.of(lock), lock, status=201)


def _wrong(name: str, text: str) -> Problem:
    return Problem("invalid-parameter", errors=[{"parameter": name, "code": name, "detail": text}])
