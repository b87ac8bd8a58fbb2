"""Books: reports as files, and locking a period."""

from __future__ import annotations

from datetime import date, timedelta

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from quotes.books.models import PeriodLock
from quotes.books.posting import lock_period
from quotes.books.reports import GROUPS
from shared.business.doors import MemberRequest, needs
from shared.business.roles import Scope
from shared.dates import today
from shared.problems import Problem

REPORTS = (
    ("ledger", "Ledger", "Every entry: orders by line and job, and corrections."),
    ("totals", "Order totals", "By period, supplier, job, account or tax."),
    ("quotes", "Quoted and accepted", "What was offered and what became of it."),
    ("margins", "Margins", "Sold, planned, ordered and as built, job by job."),
)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Scope.BOOKS_READ)
def books(request: MemberRequest) -> HttpResponse:
    """Reports of a span of days; POST locks everything up to a day, for good."""
    fault, status = "", 200
    if request.method == "POST":
        if not request.actor.may(Scope.BOOKS_WRITE):
            raise PermissionDenied
        try:
            lock_period(
                business=request.business, until=date.fromisoformat(request.POST.get("until", "")), actor=request.actor
            )
        except ValueError:
            fault, status = "Say a day first.", 422
        except Problem as problem:
            fault, status = problem.detail, problem.status
        else:
            messages.success(request, "Locked, for good.")
            return redirect("books")
    last = today(request.business).replace(day=1) - timedelta(days=1)
    values = {
        "reports": REPORTS,
        "groups": list(GROUPS),
        "forms": ("CSV", "XLSX", "JSON"),
        "first": last.replace(day=1),
        "last": last,
        "locks": PeriodLock.objects.of(request.business).order_by("-until")[:60],
        "fault": fault,
        "may_lock": request.actor.may(Scope.BOOKS_WRITE),
    }
    return render(request, "books/books.html", values, status=status)
