"""Invitations by e-mail. A membership is valid once the invited person has opened the link and accepted.

No other person can set the person's password. A person whose address is not confirmed sets it with the link, even if there is a
password already. A person with a confirmed account signs in and accepts.
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
from shared.background.events import publish_event
from shared.business.actors import Actor, member_actor
from shared.business.models import Business, Member, Person
from shared.business.roles import MemberRole
from shared.database import audit_log
from shared.members import services
from shared.web import rate_limit

INVITED = "member.invited"
_A_DAY, _A_DAY_S = 100, 86_400


class InvitationTokens(PasswordResetTokenGenerator):
    """Signed tokens of an invitation. They are valid for ``PASSWORD_RESET_TIMEOUT`` seconds, until it is accepted."""

    key_salt = "shared.invitations"  # not a path: invitations must stay valid when code moves

    def __init__(self, member: Member) -> None:
        super().__init__()
        self._member = member

    def make(self) -> str:
        """Return a token for the invited person."""
        return self.make_token(self._member.person)

    def check_token(self, user: Person | None, token: str | None) -> bool:
        """Return whether a token is valid and the invitation is open."""
        return user is not None and self._member.accepted_at is None and super().check_token(user, token)

    def _make_hash_value(self, user: Any, timestamp: int) -> str:
        return f"{self._member.pk} {user.pk} {user.email} {timestamp}"


@transaction.atomic
def invite(*, business: Business, email: str, name: str, role: MemberRole, actor: Actor) -> Member:
    """Invite a person by e-mail. A person who has not accepted yet gets another e-mail and the new role.

    Raises:
        InvalidDocument: if the person is a member, or the business has sent a hundred invitations today.
    """
    person, _ = Person.objects.get_or_create(
        email=email.strip().lower(), defaults={"name": name, "password": make_password(None)}
    )
    known = Member.objects.select_for_update(no_key=True).filter(business=business, person=person).first()
    if known is None or known.accepted_at is not None:
        member = services.add_member(business=business, person=person, role=role, actor=actor, action=INVITED)
        _publish_invitation(member)
    elif known.role != role:
        member = services.change_role(member=known, role=role, actor=actor, action=INVITED)
        _publish_invitation(member)
    else:
        member = known
        send_letter(member=member, actor=actor)
    return member


@transaction.atomic
def accept(*, member: Member) -> Member:
    """Accept an invitation. The caller checks that the person has the link and is signed in. A second call changes nothing.

    Raises:
        Member.DoesNotExist: if the invitation was removed.
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
    """Delete an invitation that its person declines. An accepted membership stays."""
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
    """Send an invited person another e-mail. Raise InvalidDocument for a member who has accepted."""
    if member.accepted_at is not None:
        raise InvalidDocument([Fault("", "member.already", "This person has joined already.")])
    _publish_invitation(member)
    audit_log.record(member.business, actor, INVITED, f"member:{member.ref}", {"role": member.role})


def _publish_invitation(member: Member) -> None:
    status = rate_limit.count(f"business:{member.business.ref}", policy="invitation", quota=_A_DAY, window_s=_A_DAY_S)
    if status.exceeded:
        raise InvalidDocument(
            [Fault("", "invitations.many", f"{_A_DAY} invitations were sent today. Continue tomorrow.")]
        )
    publish_event(INVITED, member.ref, business=member.business)


def address_of(member: Member) -> str:
    """Return the address for accepting an invitation. It does not depend on the Host header of a request."""
    return f"{settings.PUBLIC_URL}/welcome/{member.ref}/{InvitationTokens(member).make()}"


def letter(member: Member) -> EmailMessage:
    """Return the e-mail to an invited person, who sets a password or signs in and accepts."""
    business, person = member.business, member.person
    days = settings.PASSWORD_RESET_TIMEOUT // _A_DAY_S
    what = "Set your password here" if person.needs_password else "Sign in and accept here"
    return EmailMessage(
        " ".join(f"You are invited to {business.name} as {member.role}".split())[:200],
        f"Dear {person},\n\n{business.name} works with Baywright and invites you as {member.role}. {what}:\n\n"
        f"{address_of(member)}\n\n"
        f"The link works once, within {days} days, and is personal. Do not forward it. "
        "If it has expired, ask for another. If you did not expect this e-mail, ignore it: you join only if you accept."
        f"\n\n{business.name}\n",
        formataddr((" ".join(business.name.split()), settings.DEFAULT_FROM_EMAIL)),
        [person.email],
        reply_to=[business.email] if business.email else None,
    )
