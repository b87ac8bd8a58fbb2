"""Signed links: a token gives access as one party of one revision.

The token is never stored. It is an HMAC of the link's id and its content under the service's secret key, so that a
worker can write the e-mail again. The row stores only its SHA-256.
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
from shared.background.events import publish_event
from shared.business.actors import Actor
from shared.business.business_owned import new_ref
from shared.common.dates import local_day
from shared.common.problems import Problem
from shared.database import audit_log

AFTER_VALIDITY = timedelta(days=90)
"""Time after its last day in which a quote can still be read; responses end with the last day."""


class LostKeyError(RuntimeError):
    """Raised if a link was signed with a secret key that is no longer in the settings."""


def token_of(ref: str, content_sha256: str, key: str = "") -> str:
    """Return the token of a link, signed with ``key`` or the current key: 43 URL-safe characters.

    >>> len(token_of("a", "b")), token_of("a", "b") == token_of("a", "c")
    (43, False)
    """
    secret = (key or settings.SECRET_KEY).encode()
    mac = hmac.new(secret, f"signed link:{ref}:{content_sha256}".encode(), hashlib.sha256)
    return base64.urlsafe_b64encode(mac.digest()).decode().rstrip("=")


def hashed(token: str) -> str:
    """Return the stored digest of a token."""
    return hashlib.sha256(token.encode()).hexdigest()


def address_of(link: SignedLink) -> str:
    """Return the address of a link. It does not depend on the request's host and survives a change of the secret key."""
    for key in (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS):
        token = token_of(link.ref, link.content_sha256, key)
        if hashed(token) == link.token_sha256:
            return f"{settings.PUBLIC_URL}/q/{token}"
    raise LostKeyError(
        f"Link {link.ref} was signed with a key that is gone. Add that key to BAYWRIGHT_SECRET_KEY_FALLBACKS, or make a new link."
    )


def issue_links(*, revision: Revision, now: datetime) -> list[SignedLink]:
    """Create a link for every party of a sent revision."""
    return [_issue(party, revision, now) for party in revision.parties.order_by("position")]


@transaction.atomic
def reissue_link(*, party: Party, actor: Actor, now: datetime | None = None) -> SignedLink:
    """Create a new link for a party and revoke its earlier link."""
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
    """Return the address of a live link for passing it on; the audit log records the actor."""
    audit_log.record(link.business, actor, "link.shown", f"revision:{link.revision.ref}", {"party": link.party.key})
    return address_of(link)


@transaction.atomic
def revoke_link(*, link: SignedLink, actor: Actor, now: datetime | None = None) -> SignedLink:
    """Revoke a link; a second call keeps the first time."""
    live = SignedLink.objects.of(link.business).filter(pk=link.pk, revoked_at=None)
    if live.update(revoked_at=now or timezone.now()):
        detail = {"party": link.party.key}
        audit_log.record(link.business, actor, "link.revoked", f"revision:{link.revision.ref}", detail)
    link.refresh_from_db()
    return link


def revoke_links(*, revision: Revision, now: datetime) -> None:
    """Revoke every link to a revision."""
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
