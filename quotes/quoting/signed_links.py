"""Signed links: whoever holds the token is that party of that revision, and of nothing else.

The token is never stored: it is an HMAC of the link's own id and of the content it stands for, under the service's secret, so the
mail can be written again by a worker; the row keeps its SHA-256 alone.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
from datetime import datetime, timedelta

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from quotes.quoting.models import Party, Revision, RevisionState, SignedLink
from shared.api.problems import Problem
from shared.background.outbox import publish_event
from shared.business.actors import Actor
from shared.business.business_owned import new_ref
from shared.common.dates import local_day
from shared.database import audit_log

AFTER_VALIDITY = timedelta(days=90)
"""How long after its last day a quote can still be read by its link; answering ends with its validity."""


class LostKeyError(RuntimeError):
    """A link was signed with a secret key that the settings no longer hold."""


def token_of(ref: str, content_sha256: str, key: str = "") -> str:
    """Return the token of a link, signed with the secret key of now or with another: 43 characters that are safe in an address.

    >>> len(token_of("a", "b")), token_of("a", "b") == token_of("a", "c")
    (43, False)
    """
    secret = (key or settings.SECRET_KEY).encode()
    mac = hmac.new(secret, f"signed link:{ref}:{content_sha256}".encode(), hashlib.sha256)
    return base64.urlsafe_b64encode(mac.digest()).decode().rstrip("=")


def hashed(token: str) -> str:
    """What is kept of a token."""
    return hashlib.sha256(token.encode()).hexdigest()


def address_of(link: SignedLink) -> str:
    """Return the address a party is sent: the same after a change of the secret key, whatever host a request names."""
    for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS):
        token = token_of(link.ref, link.content_sha256, key)
        if hashed(token) == link.token_sha256:
            return f"{settings.PUBLIC_URL}/q/{token}"
    raise LostKeyError(
        f"Link {link.ref} was signed with a key that is gone. Add that key to BAYWRIGHT_SECRET_KEY_FALLBACKS, or make a new link."
    )


def issue_links(*, revision: Revision, now: datetime) -> list[SignedLink]:
    """A link for every party of a revision that was just sent."""
    return [_issue(party, revision, now) for party in revision.parties.order_by("position")]


@transaction.atomic
def reissue_link(*, party: Party, actor: Actor, now: datetime | None = None) -> SignedLink:
    """A new link for a party; the one it had ends now."""
    now = now or timezone.now()
    revision = Revision.objects.of(party.business).select_for_update(no_key=True).get(pk=party.revision_id)
    if revision.state not in {RevisionState.SENT, RevisionState.ACCEPTED}:
        raise Problem(
            "conflict", f"This revision is {revision.state}. You can create links only for sent and accepted revisions."
        )
    SignedLink.objects.of(party.business).filter(party=party, revoked_at=None).update(revoked_at=now)
    link = _issue(party, revision, now)
    publish_event("link.issued", link.ref, business=party.business)
    audit_log.record(party.business, actor, "link.issued", f"revision:{revision.ref}", {"party": party.key})
    return link


@transaction.atomic
def show_link(*, link: SignedLink, actor: Actor) -> str:
    """Return the address of a live link, for whoever hands it over by other means; the audit trail says who saw it."""
    audit_log.record(link.business, actor, "link.shown", f"revision:{link.revision.ref}", {"party": link.party.key})
    return address_of(link)


@transaction.atomic
def revoke_link(*, link: SignedLink, actor: Actor, now: datetime | None = None) -> SignedLink:
    """End a link at once; ending it twice keeps the first time."""
    live = SignedLink.objects.of(link.business).filter(pk=link.pk, revoked_at=None)
    if live.update(revoked_at=now or timezone.now()):
        detail = {"party": link.party.key}
        audit_log.record(link.business, actor, "link.revoked", f"revision:{link.revision.ref}", detail)
    link.refresh_from_db()
    return link


def revoke_links(*, revision: Revision, now: datetime) -> None:
    """Ends every link to a revision."""
    SignedLink.objects.of(revision.business).filter(revision=revision, revoked_at=None).update(revoked_at=now)


def _issue(party: Party, revision: Revision, now: datetime) -> SignedLink:
    ref = new_ref()
    until = revision.valid_until or local_day(revision.business, now)
    end = datetime.combine(until, datetime.min.time(), tzinfo=now.tzinfo) + AFTER_VALIDITY
    return SignedLink.objects.of(revision.business).create(
        ref=ref,
        party=party,
        revision=revision,
        token_sha256=hashed(token_of(ref, revision.content_sha256)),
        content_sha256=revision.content_sha256,
        created_at=now,
        expires_at=end,
    )
