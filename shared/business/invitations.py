"""Asking somebody in by mail: who is new sets a password by a link; who is known here is only told."""

from __future__ import annotations

from email.utils import formataddr

from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.core.mail import EmailMessage
from django.db import transaction

from fencing.faults import Fault, Refused
from shared import audit, throttle
from shared.business import services
from shared.business.actors import Actor
from shared.business.models import Business, Member, Person
from shared.business.roles import Role
from shared.outbox import want

INVITED = "member.invited"
_A_DAY, _A_DAY_S = 100, 86_400


class InvitationTokens(PasswordResetTokenGenerator):
    """Signed, for ``PASSWORD_RESET_TIMEOUT`` seconds, and only until the person has a password: nothing is stored."""

    key_salt = "shared.business.invitations"

    def check_token(self, user: Person | None, token: str | None) -> bool:
        return user is not None and not user.has_usable_password() and super().check_token(user, token)


TOKENS = InvitationTokens()


@transaction.atomic
def invite(*, business: Business, email: str, name: str, role: Role, actor: Actor) -> Member:
    """A member who is written to. Whoever is one already but never set a password gets a new letter, and this role.

    Raises Refused for a member who signs in already, and after a hundred letters of one business in a day.
    """
    person, _ = Person.objects.get_or_create(
        email=email.strip().lower(), defaults={"name": name, "password": make_password(None)}
    )
    known = Member.objects.filter(business=business, person=person).first()
    if known is None or person.has_usable_password():
        member = services.add_member(business=business, person=person, role=role)
    else:
        member = known if known.role == role else services.change_role(member=known, role=role)
    send_letter(member=member, actor=actor)
    return member


@transaction.atomic
def send_letter(*, member: Member, actor: Actor) -> None:
    """Wants a letter to a member, and says in the audit trail who did."""
    standing = throttle.count(f"business:{member.business.ref}", policy="invitation", quota=_A_DAY, window_s=_A_DAY_S)
    if standing.exceeded:
        raise Refused([Fault("", "invitations.many", f"{_A_DAY} letters were sent today; please go on tomorrow.")])
    want(INVITED, member.ref, business=member.business)
    audit.record(member.business, actor, INVITED, f"member:{member.ref}", {"role": member.role})


def address_of(member: Member) -> str:
    """Where a new member sets a password; it never depends on the Host somebody asked by."""
    return f"{settings.PUBLIC_URL}/welcome/{member.ref}/{TOKENS.make_token(member.person)}"


def letter(member: Member) -> EmailMessage:
    """What a member is told: the link for who has no password yet, where to sign in for everybody else."""
    business, person = member.business, member.person
    if person.has_usable_password():
        what = f"Sign in as usual and choose {business.name}:\n\n{settings.PUBLIC_URL}/sign-in"
    else:
        days = settings.PASSWORD_RESET_TIMEOUT // _A_DAY_S
        what = (
            f"Set your password here, then you are in:\n\n{address_of(member)}\n\n"
            f"The link works once, within {days} days, and is yours alone: please do not pass it on. "
            "When it is over, ask for another. If you expected no such letter, leave it: nothing happens without you."
        )
    return EmailMessage(
        " ".join(f"You are {member.role} at {business.name} now".split())[:200],
        f"Dear {person},\n\n{business.name} works with Baywright and added you as {member.role}. {what}\n\n{business.name}\n",
        formataddr((" ".join(business.name.split()), settings.DEFAULT_FROM_EMAIL)),
        [person.email],
        reply_to=[business.email] if business.email else None,
    )
