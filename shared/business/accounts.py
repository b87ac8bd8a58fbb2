"""Account codes of a business: which account its ledger lines and quote lines are entered on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from shared.business.models import ACCOUNTS, MAX_ACCOUNT, Business

TAX: Final = "tax"
"""The member that holds an account for each tax code."""


def account(business: Business, purpose: str) -> str:
    """Return the account code for goods, delivery, labour or sales; empty where the business has entered none."""
    return str(business.accounts.get(purpose, ""))


def tax_account(business: Business, code: str) -> str:
    """Return the account code for a tax code; empty where the business has entered none."""
    return str(business.accounts.get(TAX, {}).get(code, ""))


def with_accounts(business: Business, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return the business's accounts with some of them changed; an empty code removes one."""
    plain = {**{name: account(business, name) for name in ACCOUNTS}, **{k: v for k, v in changes.items() if k != TAX}}
    by_code = {**business.accounts.get(TAX, {}), **changes.get(TAX, {})}
    return {
        **{name: code for name, code in plain.items() if code},
        TAX: {name: code for name, code in sorted(by_code.items()) if code},
    }


def account_faults(changes: Mapping[str, Any]) -> dict[str, str]:
    """Return what is wrong with typed account codes, by their names on the form."""
    typed = {
        **{k: v for k, v in changes.items() if k != TAX},
        **{f"tax.{k}": v for k, v in changes.get(TAX, {}).items()},
    }
    text = f"Enter at most {MAX_ACCOUNT} characters."
    return {name: text for name, code in typed.items() if len(code) > MAX_ACCOUNT}
