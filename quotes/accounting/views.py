"""Books: reports as files, and locking a period."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from quotes.accounting.models import PeriodLock
from quotes.accounting.order_posting import catch_up, lock_period
from quotes.accounting.reports import (
    GROUPS,
    MARGIN_SUMS,
    DateRange,
    entries,
    margins_table,
    quotes_table,
    totals_of,
    totals_table,
)
from shared.business.roles import Scope
from shared.common.dates import today
from shared.common.problems import Problem
from shared.members.access import MemberRequest, require_scope
from shared.models import Business

WRONG_SPAN = "Enter a first day and a last day that is not before it."
REPORTS = (
    ("ledger", "Ledger", "Every entry: orders by line and job, and corrections."),
    ("order-totals", "Order totals", "By period, supplier, job, account or tax."),
    (
        "quotes-and-acceptances",
        "Quotes and acceptances",
        "Each step of a quote: sent, accepted, declined, superseded, cancelled or expired.",
    ),
    ("margins", "Margins", "Sold, planned, ordered and as built, job by job."),
)


@dataclass(frozen=True, slots=True)
class AmountSums:
    """A row of the totals: amounts before tax, of tax and including tax."""

    label: str
    net: Decimal
    tax: Decimal
    total: Decimal


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.ACCOUNTING_READ)
def accounting(request: MemberRequest) -> HttpResponse:
    """Show the reports of a date range. POST locks all entries up to a day. A lock is final."""
    fault, status = "", 200
    if request.method == "POST":
        if not request.actor.may(Scope.ACCOUNTING_WRITE):
            raise PermissionDenied
        try:
            lock_period(
                business=request.business,
                locked_through=date.fromisoformat(request.POST.get("locked_through", "")),
                actor=request.actor,
            )
        except ValueError:
            fault, status = "Enter a date.", 422
        except Problem as problem:
            fault, status = problem.detail, problem.status
        else:
            messages.success(request, "Period locked.")
            return redirect("accounting")
    span, bad = _span(request)
    if bad:
        status = 422
    catch_up(request.business)
    values = {
        "reports": REPORTS,
        "groups": list(GROUPS),
        "forms": ("CSV", "XLSX", "JSON"),
        "first": span.first,
        "last": span.last,
        "sums": _sums(request.business, span),
        "margins": _margins(request.business, span),
        "without_account": entries(request.business, span).filter(account="").count(),
        "currency": request.business.currency,
        "locale": request.business.locale,
        "locks": PeriodLock.objects.of(request.business).order_by("-locked_through")[:60],
        "fault": fault,
        "bad_span": bad,
        "may_set_accounts": request.actor.may(Scope.BUSINESS_WRITE),
        "may_lock": request.actor.may(Scope.ACCOUNTING_WRITE),
    }
    return render(request, "accounting/accounting.html", values, status=status)


def _span(request: MemberRequest) -> tuple[DateRange, str]:
    """Return the days asked for, or last month, and what is wrong with them."""
    last = today(request.business).replace(day=1) - timedelta(days=1)
    usual = DateRange(last.replace(day=1), last)
    if "from" not in request.GET and "to" not in request.GET:
        return usual, ""
    try:
        requested = DateRange(
            date.fromisoformat(request.GET.get("from", "")), date.fromisoformat(request.GET.get("to", ""))
        )
    except ValueError:
        return usual, WRONG_SPAN
    return (requested, "") if requested.first <= requested.last else (usual, WRONG_SPAN)


def _sums(business: Business, span: DateRange) -> list[AmountSums]:
    """Return the totals of the order and quote files of a span."""
    orders = totals_of(totals_table(business, span, "tax"))
    quotes = totals_of(quotes_table(business, span, "period"))
    return [
        AmountSums("Orders", orders["net"], orders["tax"], orders["gross"]),
        *(
            AmountSums(name.capitalize(), quotes[f"{name}_net"], quotes[f"{name}_tax"], quotes[f"{name}_total"])
            for name in ("quoted", "accepted")
        ),
    ]


def _margins(business: Business, span: DateRange) -> list[tuple[str, Decimal]]:
    """Return the totals of the margins file of a span, each with its label."""
    margins = totals_of(margins_table(business, span))
    return [(name.replace("_", " ").capitalize(), margins[name]) for name in MARGIN_SUMS]
