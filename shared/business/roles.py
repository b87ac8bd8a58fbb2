"""Roles and their scopes, for the API, pages and commands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum


class MemberRole(StrEnum):
    """Role of a member in a business."""

    OWNER = "owner"
    ESTIMATOR = "estimator"
    CREW = "crew"
    BOOKKEEPER = "bookkeeper"


class Scope(StrEnum):
    """Permission. Roles and API keys are sets of scopes."""

    BUSINESS_READ = "business:read"  # name, address, terms
    BUSINESS_WRITE = "business:write"
    MEMBERS_READ = "members:read"
    MEMBERS_WRITE = "members:write"
    KEYS_READ = "keys:read"
    KEYS_WRITE = "keys:write"
    CATALOGUE_READ = "catalogue:read"  # components, fence systems, suppliers, offers
    CATALOGUE_WRITE = "catalogue:write"
    PRICES_READ = "prices:read"  # price rules, costs and margins
    PRICES_WRITE = "prices:write"
    JOBS_READ = "jobs:read"  # customers, sites, jobs and their time line
    JOBS_WRITE = "jobs:write"
    MEASURES_READ = "measures:read"  # stored measures and take-offs
    MEASURES_WRITE = "measures:write"
    QUOTES_READ = "quotes:read"
    QUOTES_WRITE = "quotes:write"
    SET_OUT_READ = "set-out:read"  # set-out sheets and cut lists, without prices
    AS_BUILT_WRITE = "as-built:write"
    DOCUMENTS_READ = "documents:read"
    DOCUMENTS_WRITE = "documents:write"
    ORDERS_READ = "orders:read"
    ORDERS_WRITE = "orders:write"
    DELIVERIES_READ = "deliveries:read"  # deliveries without prices
    DELIVERIES_WRITE = "deliveries:write"  # count a delivery
    STOCK_READ = "stock:read"
    STOCK_WRITE = "stock:write"
    WEBHOOKS_READ = "webhooks:read"
    WEBHOOKS_WRITE = "webhooks:write"
    ACCOUNTING_READ = "accounting:read"  # totals and exports
    ACCOUNTING_WRITE = "accounting:write"  # lock a period
    AUDIT_READ = "audit:read"
    SUPPLY_READ = "supply:read"  # a supplier: the orders sent to it
    SUPPLY_WRITE = "supply:write"  # a supplier: acknowledge, refuse, despatch, backorder
    SUPPLY_PRICES_READ = "supply-prices:read"  # a supplier: its own prices, packs, lead times
    SUPPLY_PRICES_WRITE = "supply-prices:write"


SUPPLIER_SCOPES = frozenset(
    {Scope.SUPPLY_READ, Scope.SUPPLY_WRITE, Scope.SUPPLY_PRICES_READ, Scope.SUPPLY_PRICES_WRITE}
)
BUSINESS_SCOPES = frozenset(Scope) - SUPPLIER_SCOPES
_BY_NAME = {scope.value: scope for scope in Scope}

GRANTS: dict[MemberRole, frozenset[Scope]] = {
    MemberRole.OWNER: BUSINESS_SCOPES,
    MemberRole.ESTIMATOR: BUSINESS_SCOPES
    - {
        Scope.BUSINESS_WRITE,
        Scope.MEMBERS_READ,
        Scope.MEMBERS_WRITE,
        Scope.KEYS_READ,
        Scope.KEYS_WRITE,
        Scope.PRICES_WRITE,
        Scope.ACCOUNTING_WRITE,
        Scope.AUDIT_READ,
        Scope.WEBHOOKS_WRITE,
    },
    MemberRole.CREW: frozenset(
        {
            Scope.BUSINESS_READ,
            Scope.JOBS_READ,
            Scope.SET_OUT_READ,
            Scope.AS_BUILT_WRITE,
            Scope.DELIVERIES_READ,
            Scope.DELIVERIES_WRITE,
        }
    ),
    MemberRole.BOOKKEEPER: frozenset(
        {
            Scope.BUSINESS_READ,
            Scope.JOBS_READ,
            Scope.QUOTES_READ,
            Scope.DOCUMENTS_READ,
            Scope.ORDERS_READ,
            Scope.DELIVERIES_READ,
            Scope.ACCOUNTING_READ,
            Scope.ACCOUNTING_WRITE,
        }
    ),
}


def granted(role: MemberRole | str) -> frozenset[Scope]:
    """Return the scopes of a role."""
    return GRANTS[MemberRole(role)]


def known_scopes(names: Iterable[str]) -> frozenset[Scope]:
    """Return stored names as scopes, without names that no longer exist."""
    return frozenset(_BY_NAME[name] for name in names if name in _BY_NAME)


AREAS: Mapping[str, str] = {
    "jobs": "jobs and customers", "measures": "measures and take-offs", "quotes": "quotes", "documents": "documents",
    "set-out": "set-out sheets without money", "as-built": "what was built", "orders": "orders", "stock": "stock",
    "catalogue": "components, suppliers and supplier prices", "prices": "price rules, costs and margins",
    "accounting": "accounting",
    "business": "the business's settings", "members": "members", "keys": "keys", "webhooks": "webhooks",
    "audit": "the audit log",
}  # fmt: skip


def scope_label(scope: str) -> str:
    """Return the label of a scope.

    >>> scope_label("jobs:read"), scope_label("as-built:write")
    ('See jobs and customers', 'Change what was built')
    """
    area, _, action = scope.partition(":")
    return f"{'See' if action == 'read' else 'Change'} {AREAS.get(area, area)}"


def scopes_label(scopes: Iterable[str]) -> str:
    """Return the label of several scopes: first what may be changed, then what may only be seen.

    >>> scopes_label(["jobs:read", "set-out:read", "as-built:write"])
    'Change what was built. See jobs and customers, set-out sheets without money.'
    >>> scopes_label(["jobs:read", "jobs:write"]), scopes_label(BUSINESS_SCOPES), scopes_label([])
    ('Change jobs and customers.', 'Everything.', 'Nothing.')
    """
    names = {str(scope) for scope in scopes}
    if names >= {scope.value for scope in BUSINESS_SCOPES}:
        return "Everything."
    changed = [area for area in AREAS if f"{area}:write" in names]
    seen = [area for area in AREAS if f"{area}:read" in names and area not in changed]
    return " ".join([*_sentence("Change", changed), *_sentence("See", seen)]) or "Nothing."


def _sentence(verb: str, areas: list[str]) -> list[str]:
    return [f"{verb} {', '.join(AREAS[area] for area in areas)}."] if areas else []
