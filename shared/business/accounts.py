"""Account codes of a business, for its ledger lines and quote lines."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from shared.business.models import ACCOUNTS, Business

TAX: Final = "tax"
"""Field with the account codes of tax codes."""


def account(business: Business, purpose: str) -> str:
    """Return the account code for goods, delivery, labour or sales; empty if there is none."""
    return str(business.accounts.get(purpose, ""))


def tax_account(business: Business, code: str) -> str:
    """Return the account code for a tax code; empty if there is none."""
    return str(business.accounts.get(TAX, {}).get(code, ""))


def with_accounts(business: Business, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Return the business's accounts with some of them changed; an empty code removes one."""
    plain = {**{name: account(business, name) for name in ACCOUNTS}, **{k: v for k, v in changes.items() if k != TAX}}
    by_code = {**business.accounts.get(TAX, {}), **changes.get(TAX, {})}
    return {
        **{name: code for name, code in plain.items() if code},
        TAX: {name: code for name, code in sorted(by_code.items()) if code},
    }
