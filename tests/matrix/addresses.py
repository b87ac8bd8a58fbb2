"""Every address of the API, read from the URL table, and whose thing its first parameter names."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from django.urls import URLPattern, URLResolver, get_resolver

from shared.api.endpoint import Endpoint

METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
_PARAMETER = re.compile(r"<(?:\w+:)?(\w+)>")

# the address up to its first parameter: what that names. An address that is not here fails the matrix.
HOLDERS = {
    "components/": "component",
    "customers/": "customer",
    "cutting-plans/": "cutplan",
    "deliveries/": "order",
    "documents/": "document",
    "fence-systems/": "fence system",
    "finishes/": "finish",
    "reservations/": "reservation",
    "imports/": "import",
    "jobs/": "job",
    "keys/": "key",
    "measures/": "measure",
    "members/": "member",
    "supplier-prices/": "offer",
    "orders/": "order",
    "price-rules/": "price rule",
    "questions/": "question",
    "quotes/": "quote",
    "revisions/": "revision",
    "stock/": "stock item",
    "supplier-terms/": "terms",
    "suppliers/": "supplier",
    "supply/keys/": "suppliers key",
    "supply/prices/": "offer",
    "supply/orders/": "order",
    "supply/webhooks/": "suppliers hook",
    "webhooks/": "hook",
}
# the same for addresses whose first parameter names nothing that belongs to a business
NOBODYS = {
    "accounting/ledger.": "csv",
    "accounting/margins.": "csv",
    "accounting/quotes-and-acceptances.": "csv",
    "accounting/order-totals.": "csv",
    "quote-links/": "0" * 43,
    "schemas/": "measure-2",
    "exports/": "components",
}
PLAIN = {
    "audit-entries", "accounting/period-locks", "business", "fence-systems/completeness", "components", "customers",
    "cutting-plans", "deliveries",
    "documents", "fence-systems", "finishes", "imports", "invitations", "jobs", "keys", "measures",
    "members", "openapi.json", "orders", "orders/for-jobs", "orders/plan", "price-rules", "questions", "reservations",
    "quotes", "revisions", "schemas", "stock", "supplier-prices", "supplier-terms", "suppliers", "supply/events", "supply/keys",
    "supply/prices/bulk", "supply/prices", "supply/orders", "supply/sandbox/orders", "supply/sandbox/reset",
    "supply/webhooks", "take-offs", "webhooks",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Case:
    """One method of one address."""

    address: str
    method: str
    endpoint: type[Endpoint]

    def __str__(self) -> str:
        return f"{self.method} {self.address}"

    @property
    def stem(self) -> str:
        """The address up to its first parameter."""
        return re.split(r"<", self.address)[0]

    @property
    def holder(self) -> str:
        """Return the kind of record that the first parameter names; empty if it has no business."""
        return HOLDERS.get(self.stem, "") if "<" in self.address else ""

    def path(self, ref: str, inner: dict[str, str]) -> str:
        """Return the address with its first parameter set to ``ref`` and the others to ``inner`` by name."""
        names = iter(_PARAMETER.findall(self.address))
        first = next(names, "")
        values = {**inner, first: ref or NOBODYS.get(self.stem, "")}
        return "/api/v1/" + _PARAMETER.sub(lambda found: values[found[1]], self.address)


def cases() -> list[Case]:
    """Every method of every address under /api/v1/."""
    return [
        Case(address, method, endpoint)
        for address, endpoint in _walk(get_resolver().url_patterns, "")
        for method in METHODS
        if hasattr(endpoint, method.lower())
    ]


def _walk(patterns: list[URLPattern | URLResolver], before: str) -> Iterator[tuple[str, type[Endpoint]]]:
    for pattern in patterns:
        address = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from _walk(pattern.url_patterns, address)
        elif address.startswith("api/v1/"):
            view = getattr(pattern.callback, "view_class", None) or getattr(pattern.callback, "cls", None)
            assert isinstance(view, type)
            assert issubclass(view, Endpoint), address
            yield address.removeprefix("api/v1/"), view
