"""Actors: a person, a key, a supplier, a customer with a link, or the system."""

from __future__ import annotations

from dataclasses import dataclass, field

from shared.business.keys import TEST
from shared.business.models import ApiKey, Business, Member, SupplierAccount
from shared.business.roles import BUSINESS_SCOPES, Scope, granted, known_scopes


@dataclass(frozen=True, slots=True)
class Actor:
    """Actor of a request or task. ``kind`` is person, key, supplier, customer or system."""

    kind: str
    ref: str
    name: str
    scopes: frozenset[Scope] = field(default=frozenset())
    business: Business | None = None
    supplier_account: SupplierAccount | None = None
    test: bool = False
    """Set for a test key, which must never access real data."""

    def may(self, scope: Scope) -> bool:
        """Return whether this actor has a scope."""
        return scope in self.scopes


SYSTEM = Actor("system", "", "the system", BUSINESS_SCOPES)


def member_actor(member: Member) -> Actor:
    """Return the actor for a person in one of their businesses."""
    return Actor("person", member.person.ref, str(member.person), granted(member.role), member.business)


def key_actor(key: ApiKey) -> Actor:
    """Return the actor for a key of a business, or of a supplier without a business."""
    kind = "supplier" if key.supplier_account_id else "key"
    scopes, test = known_scopes(key.scopes), key.prefix.startswith(TEST)
    return Actor(kind, key.ref, key.name, scopes, key.business, key.supplier_account, test)
