"""Settings: the account codes that ledger lines and quote lines are entered on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from catalogue.queries import price_rules
from catalogue.rules.price_rule_lines import RuleKind
from shared.business.accounts import TAX, account, account_faults, tax_account, with_accounts
from shared.business.models import ACCOUNTS, MAX_ACCOUNT
from shared.business.roles import Scope
from shared.common.form_fields import FormField
from shared.common.problems import Problem
from shared.members import services
from shared.members.access import MemberRequest, require_scope
from shared.models import Business
from shared.web.seen_version import acting_on, field_facts

HINTS = {
    "goods": "For components without an account code of their own.",
    "labour": "For quote lines, if the price rules name no account.",
    "sales": "For all other quote lines, if the price rules name no account.",
}


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.BUSINESS_WRITE)
def accounts(request: MemberRequest) -> HttpResponse:
    """Show and change the account codes."""
    codes = _tax_codes(request.business)
    typed = _entered_accounts(request, codes) if request.method == "POST" else None
    faults, status = account_faults(typed) if typed else {}, 422
    if typed and not faults:
        try:
            _save(request, typed)
        except Problem as refused:
            faults, status = {"": refused.detail}, refused.status
        else:
            messages.success(request, "Accounts saved. Orders placed from now on are entered on them.")
            return redirect("accounts")
    business = Business.objects.get(pk=request.business.pk)
    values = {"boxes": _boxes(business, codes, typed, faults), "is_wrong": bool(faults), "here": "accounts"}
    values |= {"business": business, "facts": _facts(business), "notice": faults.get("", "")}
    return render(request, "accounting/accounts.html", values, status=status if faults else 200)


def _save(request: MemberRequest, typed: Mapping[str, Any]) -> None:
    with acting_on(request, Business.objects.all(), request.business.ref, _facts) as business:
        changes = {"accounts": with_accounts(business, typed)}
        services.change_business(business=business, changes=changes, actor=request.actor)


def _facts(business: Business) -> dict[str, str]:
    """Return the stored account codes, by label."""
    return field_facts(_boxes(business, _tax_codes(business), None, {}))


def _tax_codes(business: Business) -> list[str]:
    """Return the tax codes of the price rules and those that have an account."""
    rules = price_rules(business).filter(kind=RuleKind.TAX).values_list("applies_to", flat=True)
    return sorted({*rules, *business.accounts.get(TAX, {})})


def _entered_accounts(request: MemberRequest, codes: list[str]) -> dict[str, Any]:
    plain = {name: request.POST.get(name, "").strip() for name in ACCOUNTS}
    return {**plain, TAX: {code: request.POST.get(f"tax.{code}", "").strip() for code in codes}}


def _boxes(
    business: Business, codes: list[str], typed: Mapping[str, Any] | None, faults: Mapping[str, str]
) -> list[FormField]:
    plain = [
        FormField(
            name,
            label,
            typed[name] if typed else account(business, name),
            fault=faults.get(name, ""),
            hint=HINTS.get(name, ""),
            most=MAX_ACCOUNT,
        )
        for name, label in ACCOUNTS.items()
    ]
    by_code = [
        FormField(
            f"tax.{code}",
            f"Tax, code {code}",
            typed[TAX][code] if typed else tax_account(business, code),
            fault=faults.get(f"tax.{code}", ""),
            most=MAX_ACCOUNT,
        )
        for code in codes
    ]
    return plain + by_code
