"""Views of accounting: reports as files, locked periods, and the account codes of the settings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from catalogue.queries import price_rules
from catalogue.rules.price_rule_lines import RuleKind
from quotes.accounting.models import PeriodLock
from quotes.accounting.order_posting import catch_up, lock_period
from quotes.accounting.reports import (
    GROUPS,
    MARGIN_SUMS,
    DateRange,
    ledger_entries,
    margins_table,
    quotes_table,
    totals_of,
    totals_table,
)
from shared.business.actors import Actor
from shared.business.models import ACCOUNTS, MAX_ACCOUNT, TAX, account, tax_account, with_accounts
from shared.business.roles import Scope
from shared.common.dates import today
from shared.common.problems import Problem
from shared.members import services
from shared.members.access import MemberRequest, require_scope
from shared.models import Business
from shared.web.forms import PageDateField, PageForm, PageTextField, entries
from shared.web.seen_version import acting_on

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
HINTS = {
    "goods": "For components without an account code of their own.",
    "labour": "For quote lines, if the price rules name no account.",
    "sales": "For all other quote lines, if the price rules name no account.",
}


@dataclass(frozen=True, slots=True)
class AmountSums:
    """A row of the totals: amounts before tax, of tax and including tax."""

    label: str
    net: Decimal
    tax: Decimal
    total: Decimal


class DateRangeForm(PageForm):
    """Form of the days of a report; last month to begin with."""

    use_required_attribute = True

    def __init__(self, business: Business, **options: Any) -> None:
        last = today(business).replace(day=1) - timedelta(days=1)
        self.usual = DateRange(last.replace(day=1), last)
        fields = {
            "from": PageDateField("From", required=True, initial=self.usual.first),
            "to": PageDateField("To (inclusive)", required=True, initial=self.usual.last),
        }
        super().__init__(fields=fields, **options)

    @property
    def span(self) -> DateRange:
        """Return the entered days, or last month if they are no range."""
        return DateRange(self.cleaned_data["from"], self.cleaned_data["to"]) if self.is_valid() else self.usual

    def clean(self) -> dict[str, Any]:
        """Return the days, in their order."""
        days = self.cleaned_data
        if days.keys() >= {"from", "to"} and days["from"] > days["to"]:
            self.add_error("to", "Enter a last day that is not before the first day.")
        return days


class LockForm(PageForm):
    """Form that locks a period."""

    use_required_attribute = True
    locked_through = PageDateField(
        "Last day to lock", required=True, error_messages={"required": "Enter a date.", "invalid": "Enter a date."}
    )


class AccountsForm(PageForm):
    """Form of the account codes: one for each purpose and for each tax code that has a price rule or an account."""

    def __init__(self, business: Business, **options: Any) -> None:
        rules = price_rules(business).filter(kind=RuleKind.TAX).values_list("applies_to", flat=True)
        self.codes = sorted({*rules, *business.accounts.get(TAX, {})})
        labels = {**ACCOUNTS, **{f"{TAX}.{code}": f"Tax, code {code}" for code in self.codes}}
        initial = {name: account(business, name) for name in ACCOUNTS}
        initial |= {f"{TAX}.{code}": tax_account(business, code) for code in self.codes}
        too_long = {"max_length": f"Enter at most {MAX_ACCOUNT} characters."}
        fields = {
            name: PageTextField(label, hint=HINTS.get(name, ""), max_length=MAX_ACCOUNT, error_messages=too_long)
            for name, label in labels.items()
        }
        super().__init__(fields=fields, initial=initial, **options)

    def save(self, business: Business, actor: Actor) -> None:
        """Store the account codes."""
        plain = {name: self.cleaned_data[name] for name in ACCOUNTS}
        by_code = {code: self.cleaned_data[f"{TAX}.{code}"] for code in self.codes}
        changes = {"accounts": with_accounts(business, {**plain, TAX: by_code})}
        services.change_business(business=business, changes=changes, actor=actor)


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.ACCOUNTING_READ)
def accounting(request: MemberRequest) -> HttpResponse:
    """Show the reports of a date range. POST locks all entries up to a day. A lock is final."""
    lock = LockForm(**entries(request))
    if request.method == "POST" and not request.actor.may(Scope.ACCOUNTING_WRITE):
        raise PermissionDenied
    if lock.is_valid():
        try:
            lock_period(business=request.business, actor=request.actor, **lock.cleaned_data)
        except Problem as problem:
            lock.refuse(problem)
        else:
            messages.success(request, "Period locked.")
            return redirect("accounting")
    asked = request.GET if {"from", "to"} & request.GET.keys() else None
    days = DateRangeForm(request.business, data=asked)
    totals = DateRangeForm(request.business, data=asked, auto_id="t-%s")
    totals.fields["group_by"] = PageTextField("By", "select", choices=((group, group) for group in GROUPS))
    catch_up(request.business)
    values = {
        "reports": REPORTS,
        "forms": ("CSV", "XLSX", "JSON"),
        "days": days,
        "totals": totals,
        "lock": lock,
        "span": days.span,
        "sums": _sums(request.business, days.span),
        "margins": _margins(request.business, days.span),
        "without_account": ledger_entries(request.business, days.span).filter(account="").count(),
        "currency": request.business.currency,
        "locale": request.business.locale,
        "locks": PeriodLock.objects.of(request.business).order_by("-locked_through")[:60],
        "may_set_accounts": request.actor.may(Scope.BUSINESS_WRITE),
        "may_lock": request.actor.may(Scope.ACCOUNTING_WRITE),
    }
    return render(request, "accounting/accounting.html", values, status=max(lock.status, days.status))


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


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.BUSINESS_WRITE)
def accounts(request: MemberRequest) -> HttpResponse:
    """Show and change the account codes."""
    form = AccountsForm(request.business, **entries(request))
    if form.is_valid():
        try:
            with acting_on(request, Business.objects.all(), request.business.ref, _account_facts) as business:
                form.save(business, request.actor)
        except Problem as refused:
            form.refuse(refused)
        else:
            messages.success(request, "Accounts saved. Orders placed from now on are entered on them.")
            return redirect("accounts")
    business = Business.objects.get(pk=request.business.pk)
    values = {"form": form, "business": business, "facts": _account_facts(business), "here": "accounts"}
    return render(request, "accounting/accounts.html", values, status=form.status)


def _account_facts(business: Business) -> dict[str, str]:
    """Return the stored account codes, by label."""
    return AccountsForm(business).facts()
