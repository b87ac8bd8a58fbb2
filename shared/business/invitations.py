"""Invitations by mail. A membership counts once the invited person has opened the mailed link and accepted.

No other person ever types their password: a person whose address was never proved sets it by the link, whatever password
was there before; a person with a proved account signs in as that account and accepts.
"""

from __future__ import annotations

from email.utils import formataddr
from typing import Any

from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import timezone

from fencing.model.faults import Fault, InvalidDocument
from shared.background.outbox import publish_event
from shared.business import services
from shared.business.actors import Actor, member_actor
from shared.business.models import Business, Member, Person
from shared.business.roles import MemberRole
from shared.database import audit_log
from shared.web import rate_limit

INVITED = "member.invited"
_A_DAY, _A_DAY_S = 100, 86_400


class InvitationTokens(PasswordResetTokenGenerator):
    """Signed tokens of one invitation, for ``PASSWORD_RESET_TIMEOUT`` seconds and until it is accepted: none is stored."""

    key_salt = "shared.business.invitations"

    def __init__(self, member: Member) -> None:
        super().__init__()
        self._member = member

    def make(self) -> str:
        """Return a token for the invited person."""
        return self.make_token(self._member.person)

    def check_token(self, user: Person | None, token: str | None) -> bool:
        return user is not None and self._member.accepted_at is None and super().check_token(user, token)

    def _make_hash_value(self, user: Any, timestamp: int) -> str:
        return f"{self._member.pk} {user.pk} {user.email} {timestamp}"


@transaction.atomic
def invite(*, business: Business, email: str, name: str, role: MemberRole, actor: Actor) -> Member:
    """Invite a person by mail. An invited person who has not accepted gets another letter, and this role.

    Raises Refused for a person who is a member, and after a hundred letters of one business in a day.
    """
    person, _ = Person.objects.get_or_create(
        email=email.strip().lower(), defaults={"name": name, "password": make_password(None)}
    )
    known = Member.objects.select_for_update(no_key=True).filter(business=business, person=person).first()
    if known is None or known.accepted_at is not None:
        member = services.add_member(business=business, person=person, role=role, actor=actor, action=INVITED)
        _want_letter(member)
    elif known.role != role:
        member = services.change_role(member=known, role=role, actor=actor, action=INVITED)
        _want_letter(member)
    else:
        member = known
        send_letter(member=member, actor=actor)
    return member


@transaction.atomic
def accept(*, member: Member) -> Member:
    """Make a membership count. The caller has checked that the invited person holds the mailed link and is signed in.

    Accepting twice changes nothing. Raises Member.DoesNotExist for an invitation that was removed in the meantime.
    """
    row = (
        Member.objects.select_for_update(no_key=True, of=("self",))
        .select_related("person", "business")
        .get(pk=member.pk)
    )
    now = timezone.now()
    Person.objects.filter(pk=row.person_id, email_proved_at=None).update(email_proved_at=now)
    if row.accepted_at is None:
        row.accepted_at = now
        row.version += 1
        row.save(update_fields=["accepted_at", "version"])
        audit_log.record(row.business, member_actor(row), "member.joined", f"member:{row.ref}")
    return row


@transaction.atomic
def decline(*, member: Member) -> None:
    """Delete an invitation, as its person wishes; a membership that was accepted stays."""
    row = (
        Member.objects.select_for_update(no_key=True, of=("self",))
        .select_related("person", "business")
        .get(pk=member.pk)
    )
    if row.accepted_at is None:
        row.delete()
        audit_log.record(row.business, member_actor(row), "member.declined", f"member:{member.ref}")


@transaction.atomic
def send_letter(*, member: Member, actor: Actor) -> None:
    """Send an invited person another letter. Raises Refused for a member who has accepted."""
    if member.accepted_at is not None:
        raise InvalidDocument([Fault("", "member.already", "This person has joined already.")])
    _want_letter(member)
    audit_log.record(member.business, actor, INVITED, f"member:{member.ref}", {"role": member.role})


def _want_letter(member: Member) -> None:
    standing = rate_limit.count(f"business:{member.business.ref}", policy="invitation", quota=_A_DAY, window_s=_A_DAY_S)
    if standing.exceeded:
        raise InvalidDocument(
            [Fault("", "invitations.many", f"{_A_DAY} letters were sent today; please go on tomorrow.")]
        )
    publish_event(INVITED, member.ref, business=member.business)


def address_of(member: Member) -> str:
    """Return the address where an invited person accepts; it never depends on the Host of a request."""
    return f"{settings.PUBLIC_URL}/welcome/{member.ref}/{InvitationTokens(member).make()}"


def letter(member: Member) -> EmailMessage:
    """Return the letter to an invited person: a new password is set by the link, who has one signs in and accepts."""
    business, person = member.business, member.person
    days = settings.PASSWORD_RESET_TIMEOUT // _A_DAY_S
    what = "Set your password here" if person.needs_password else "Sign in and accept here"
    return EmailMessage(
        " ".join(f"You are invited to {business.name} as {member.role}".split())[:200],
        f"Dear {person},\n\n{business.name} works with Baywright and invites you as {member.role}. {what}:\n\n"
        f"{address_of(member)}\n\n"
        f"The link works once, within {days} days, and is yours alone: please do not pass it on. "
        "If it has expired, ask for another. If you did not expect this letter, ignore it: you join only if you accept."
        f"\n\n{business.name}\n",
        formataddr((" ".join(business.name.split()), settings.DEFAULT_FROM_EMAIL)),
        [person.email],
        reply_to=[business.email] if business.email else None,
    )
