"""Background tasks of documents: queue them when a quote changes status, and create them."""

from __future__ import annotations

from quotes.documents import services
from quotes.documents.kinds.acceptance import ACCEPTANCE, receipt_letter
from quotes.documents.models import Document, DocumentState
from quotes.quoting.models import PartyResponse, Revision
from shared.background import outgoing_mail
from shared.background.outbox import Finish, on_event
from shared.models import Event


@on_event("quote.sent", name="documents.request_quote_papers")
def request_quote_papers(event: Event) -> None:
    services.want_documents_at("quote.sent", _revision(event))


@on_event("quote.accepted", name="documents.request_job_papers")
def request_job_papers(event: Event) -> None:
    services.want_documents_at("quote.accepted", _revision(event))


@on_event("party.answered", name="documents.mail_receipt", slow=True)
def mail_receipt(event: Event) -> None:
    """Create the acceptance record of a party that accepted, and e-mail it if the party has an address."""
    # unscoped: the event identifies the row and its business
    rows = PartyResponse.unscoped.select_related("party__business", "revision__quote", "revision__business")
    answer = rows.filter(ref=event.subject, accepted=True).first()
    if answer is None:
        return
    pdf = services.stored_document(revision=answer.revision, kind=ACCEPTANCE, party=answer.party.key)
    if answer.party.email:
        outgoing_mail.send(event, "receipt", receipt_letter(answer, pdf))


@on_event("document.wanted", name="documents.make_document", slow=True)
def make_document(event: Event) -> Finish | None:
    # unscoped: the event identifies the row and its business
    document = Document.unscoped.select_related("revision", "business").get(ref=event.subject)
    if document.state == DocumentState.READY:
        return None
    pdf = services.make(document)
    return lambda: services.keep(document=document, pdf=pdf)


def _revision(event: Event) -> Revision:
    # unscoped: the event identifies the row and its business
    return Revision.unscoped.select_related("business").get(ref=event.subject)
