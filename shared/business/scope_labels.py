"""Labels of scopes for people."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from shared.business.roles import BUSINESS_SCOPES

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
