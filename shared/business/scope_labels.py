"""What somebody or a key may do, in words people read; codes are for machines."""

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


def scope_word(scope: str) -> str:
    """One scope in words.

    >>> scope_word("jobs:read"), scope_word("as-built:write")
    ('See jobs and customers', 'Change what was built')
    """
    area, _, deed = scope.partition(":")
    return f"{'See' if deed == 'read' else 'Change'} {AREAS.get(area, area)}"


def in_words(scopes: Iterable[str]) -> str:
    """All of them in a sentence: what may be changed, then what may only be seen.

    >>> in_words(["jobs:read", "set-out:read", "as-built:write"])
    'Change what was built. See jobs and customers, set-out sheets without money.'
    >>> in_words(["jobs:read", "jobs:write"]), in_words(BUSINESS_SCOPES), in_words([])
    ('Change jobs and customers.', 'Everything.', 'Nothing.')
    """
    named = {str(scope) for scope in scopes}
    if named >= {scope.value for scope in BUSINESS_SCOPES}:
        return "Everything."
    changed = [area for area in AREAS if f"{area}:write" in named]
    seen = [area for area in AREAS if f"{area}:read" in named and area not in changed]
    return " ".join([*_sentence("Change", changed), *_sentence("See", seen)]) or "Nothing."


def _sentence(verb: str, areas: list[str]) -> list[str]:
    return [f"{verb} {', '.join(AREAS[area] for area in areas)}."] if areas else []
