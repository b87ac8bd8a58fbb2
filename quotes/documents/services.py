"""Requests, creates and stores documents, each only once."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone

from quotes.documents.document_kind import DocumentKind
from quotes.documents.kinds import KINDS
from quotes.documents.kinds.quote import QUOTE
from quotes.documents.models import Document, DocumentState
from quotes.quoting.models import Revision
from quotes.quoting.queries import content_and_choices
from shared.background.events import publish_event
from shared.models import Business


def make(document: Document) -> bytes:
    """Return the PDF of a document, from its revision's frozen content or its own. Each call gives the same bytes."""
    return KINDS[document.kind].make(document)


@transaction.atomic
def want_documents_at(event: str, revision: Revision) -> None:
    """Queue the documents that an event of a revision asks for."""
    content, choices = content_and_choices(revision)
    kinds = [kind for kind in KINDS.values() if kind.asked_at == event and kind.is_needed(content, choices)]
    want_documents(revision=revision, kinds=kinds)


@transaction.atomic
def want_documents(*, revision: Revision, kinds: Iterable[DocumentKind]) -> list[Document]:
    """Queue documents of a revision and return their rows: one for each party if it is the quote. Existing rows do not change."""
    rows = list[Document]()
    for kind in kinds:
        parties = [party.key for party in revision.parties.order_by("position")] if kind.per_party else [""]
        for party in parties:
            row, is_new = Document.objects.of(revision.business).get_or_create(
                revision=revision, kind=kind.code, party=party
            )
            rows.append(row)
            if is_new:
                publish_event("document.wanted", row.ref, business=revision.business)
    return rows


@transaction.atomic
def want_document(*, business: Business, kind: DocumentKind, subject: str, content: str) -> Document:
    """Queue a document without a revision and return its row with the values it is made from. An existing row does not change."""
    row, is_new = Document.objects.of(business).get_or_create(
        subject=subject, kind=kind.code, revision=None, defaults={"content": content}
    )
    if is_new:
        publish_event("document.wanted", row.ref, business=business)
    return row


def stored_document(*, revision: Revision, kind: DocumentKind, party: str = "") -> bytes:
    """Return the stored PDF of a revision or of one of its parties; create and store it first if it is missing."""
    row, _ = Document.objects.of(revision.business).get_or_create(revision=revision, kind=kind.code, party=party)
    if row.pdf is None:
        keep(document=row, pdf=make(row))
        row.refresh_from_db()
    if row.pdf is None:
        raise ValueError("what was kept has its bytes")
    return bytes(row.pdf)


def quotes_made(revision: Revision) -> dict[str, bytes]:
    """Return the finished quote PDFs of a revision, by the party's key."""
    rows = Document.objects.of(revision.business).filter(revision=revision, kind=QUOTE.code, state=DocumentState.READY)
    return {row.party: bytes(row.pdf) for row in rows if row.pdf is not None}


@transaction.atomic
def keep(*, document: Document, pdf: bytes) -> None:
    """Store a PDF and publish the event of its kind. A stored PDF does not change."""
    rows = Document.objects.of(document.business).select_related("business")
    row = rows.select_for_update(no_key=True, of=("self",)).get(pk=document.pk)
    if row.state == DocumentState.READY:
        return
    row.pdf, row.size, row.sha256 = pdf, len(pdf), hashlib.sha256(pdf).hexdigest()
    row.state, row.made_at = DocumentState.READY, timezone.now()
    row.save()
    publish_event(f"{row.kind}.made", row.ref, business=row.business)
