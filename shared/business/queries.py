"""Reading businesses, members and keys."""

from __future__ import annotations

from datetime import timedelta

from django.db.models import QuerySet
from django.utils import timezone

from shared.business.keys import digest, well_formed
from shared.business.models import ApiKey, Business, Member, Person

_LAST_USED_EVERY = timedelta(minutes=1)  # a write on every call would make each read a write


def businesses_of(person: Person) -> QuerySet[Business]:
    """The businesses a person is a member of, by name."""
    return Business.objects.filter(members__person=person).order_by("name", "id")


def member_of(person: Person, business: Business) -> Member | None:
    """A person's membership, if any."""
    return Member.objects.filter(person=person, business=business).first()


def live_key(key: str) -> ApiKey | None:
    """The stored key behind ``key``, unless it is unknown, revoked or expired. Notes when it was last used."""
    if not well_formed(key):
        return None
    stored = ApiKey.objects.select_related("business", "supplier_account").filter(sha256=digest(key)).first()
    now = timezone.now()
    if stored is None or stored.revoked_at or (stored.expires_at and stored.expires_at <= now):
        return None
    if stored.last_used_at is None or now - stored.last_used_at > _LAST_USED_EVERY:
        ApiKey.objects.filter(pk=stored.pk).update(last_used_at=now)
    return stored
