"""Services for businesses, members and keys."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from fencing.model.faults import Fault, InvalidDocument
from shared.business.actors import SYSTEM, Actor
from shared.business.keys import SHOWN, digest, new_key
from shared.business.models import ApiKey, Business, Member, Person, SupplierAccount
from shared.business.roles import BUSINESS_SCOPES, SUPPLIER_SCOPES, MemberRole, Scope
from shared.database import audit_log


@transaction.atomic
def start_business(
    *, owner: Person, name: str, country: str, currency: str, accepted: bool = True, **details: Any
) -> Business:
    """Create a business with its owner. The owner's address is the address of the business until it is changed.

    With ``accepted`` the owner needs no invitation.
    """
    details.setdefault("email", owner.email)
    business = Business(name=name, country=country, currency=currency, **details)
    business.full_clean(exclude=["logo_png"])
    business.save()
    add_member(business=business, person=owner, role=MemberRole.OWNER, actor=SYSTEM, accepted=accepted)
    return business


@transaction.atomic
def add_business(*, business: Business, actor: Actor) -> Business:
    """Store a business without members, from the admin. Its owner is invited afterwards."""
    business.save()
    audit_log.record(business, actor, "business.added", f"business:{business.ref}", {"name": business.name})
    return business


@transaction.atomic
def change_business(*, business: Business, changes: Mapping[str, Any], actor: Actor) -> Business:
    """Change the details of a business. The audit entry contains the old and the new values."""
    before = {name: getattr(business, name) for name in changes}
    if changes.get("email", business.email) != business.email:
        business.mail_tested_at = None
    for name, value in changes.items():
        setattr(business, name, value)
    business.full_clean(exclude=["logo_png"])
    business.save()
    audit_log.record(
        business, actor, "business.changed", f"business:{business.ref}", {"before": before, "after": changes}
    )
    return business


def with_custom_texts(business: Business, changes: Mapping[str, str]) -> dict[str, str]:
    """Return the custom texts with changes. An empty text restores the standard text."""
    return {key: text for key, text in {**business.custom_texts, **changes}.items() if text}


@transaction.atomic
def add_member(
    *,
    business: Business,
    person: Person,
    role: MemberRole,
    actor: Actor,
    accepted: bool = False,
    action: str = "member.added",
) -> Member:
    """Give a person a role. It is valid once they accept it (``invitations.accept``), or at once with ``accepted``.

    Raises:
        InvalidDocument: if the person has a role already.
    """
    if Member.objects.filter(business=business, person=person).exists():
        raise InvalidDocument([Fault("/email", "member.already", "This person is a member already.")])
    accepted_at = timezone.now() if accepted else None
    member = Member.objects.create(business=business, person=person, role=role, accepted_at=accepted_at)
    audit_log.record(business, actor, action, f"member:{member.ref}", {"role": member.role})
    return member


@transaction.atomic
def demo_sign_in(*, business: Business, password: str) -> Person | None:
    """Return an owner of a business with a public password. Only for demonstrations.

    Return None if the owner has their own password, which is never replaced.
    """
    owners = Member.objects.filter(business=business, role=MemberRole.OWNER, accepted_at__isnull=False)
    owner = Person.objects.filter(memberships__in=owners).order_by("id").first()
    if owner is None:
        owner = Person.objects.create_user("owner@demo.test", name="Demo Owner")
        add_member(business=business, person=owner, role=MemberRole.OWNER, actor=SYSTEM, accepted=True)
    if owner.has_usable_password() and not owner.check_password(password):
        return None
    owner.set_password(password)
    owner.is_staff = owner.is_superuser = True  # the demonstration includes the admin
    owner.save()
    return owner


@transaction.atomic
def change_role(*, member: Member, role: MemberRole, actor: Actor, action: str = "member.role") -> Member:
    """Change the role of a member. The last owner stays owner."""
    if role is not MemberRole.OWNER:
        _keep_an_owner(member, "/role")
    member.role = role
    member.version += 1
    member.save(update_fields=["role", "version"])
    audit_log.record(member.business, actor, action, f"member:{member.ref}", {"role": member.role})
    return member


@transaction.atomic
def remove_member(*, member: Member, actor: Actor) -> None:
    """Remove a person from a business; the last owner stays."""
    _keep_an_owner(member, "")
    member.delete()
    audit_log.record(member.business, actor, "member.removed", f"member:{member.ref}")


@transaction.atomic
def issue_key(
    *,
    name: str,
    scopes: Iterable[Scope],
    actor: Actor,
    business: Business | None = None,
    supplier_account: SupplierAccount | None = None,
    expires_at: datetime | None = None,
    created_by: Person | None = None,
    live: bool = True,
) -> tuple[ApiKey, str]:
    """Create a key and return it with its secret, which is shown only once.

    A supplier's key belongs to no business, so the caller writes the audit entry.
    """
    requested = frozenset(scopes)
    allowed = BUSINESS_SCOPES if business else SUPPLIER_SCOPES
    if not requested or requested - allowed:
        raise InvalidDocument([Fault("/scopes", "scopes.unknown", f"Choose from: {', '.join(sorted(allowed))}.")])
    text = new_key(live=live)
    stored = ApiKey.objects.create(
        business=business,
        supplier_account=supplier_account,
        name=name,
        prefix=text[:SHOWN],
        sha256=digest(text),
        scopes=sorted(requested),
        expires_at=expires_at,
        created_by=created_by,
    )
    if business is not None:
        audit_log.record(business, actor, "key.issued", f"key:{stored.ref}", {"scopes": stored.scopes})
    return stored, text


def refuse_more_than_own(scopes: Iterable[Scope], actor: Actor) -> None:
    """Raise InvalidDocument for scopes that the actor does not have."""
    beyond = sorted(frozenset(scopes) - actor.scopes)
    if beyond:
        raise InvalidDocument(
            [Fault("/scopes", "scopes.beyond", f"You do not have these scopes: {', '.join(beyond)}.")]
        )


@transaction.atomic
def revoke_key(*, key: ApiKey, actor: Actor, business: Business | None = None) -> ApiKey:
    """Revoke a key at once. A second call keeps the first time. ``business`` revokes a supplier's key."""
    if key.revoked_at is None:
        key.revoked_at = timezone.now()
        key.save(update_fields=["revoked_at"])
        holder = key.business or business
        if holder is not None:
            audit_log.record(holder, actor, "key.revoked", f"key:{key.ref}")
    return key


def _keep_an_owner(member: Member, pointer: str) -> None:
    # lock all owners, so that two owners cannot remove each other at the same time
    owned = Member.objects.filter(business_id=member.business_id, role=MemberRole.OWNER, accepted_at__isnull=False)
    owners = list(owned.select_for_update(no_key=True))
    if [owner.pk for owner in owners] == [member.pk]:
        raise InvalidDocument([Fault(pointer, "owner.last", "A business keeps at least one owner.")])
