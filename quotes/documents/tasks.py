"""Jobs of the documents: what is wanted when a quote moves on, and making it."""

from __future__ import annotations

from quotes.documents import services
from quotes.documents.models import Document, Kind, State
from quotes.documents.receipts import receipt_letter
from quotes.quoting.models import Answer, Revision
from shared.background import outgoing_mail
from shared.background.outbox import Finish, handles
from shared.models import Event


@handles("quote.sent")
def want_quotes(event: Event) -> None:
    services.want_documents(revision=_revision(event), kinds=(Kind.QUOTE,))


@handles("quote.accepted")
def want_pack(event: Event) -> None:
    revision = _revision(event)
    kinds = (Kind.ACCEPTANCE, Kind.SET_OUT, Kind.CUT_LIST, Kind.SAW_SHEET, Kind.CARE)
    annexes = (Kind.SCREENING,) if services.is_screened(revision) else ()
    services.want_documents(revision=revision, kinds=(*kinds, *annexes))


@handles("party.answered", slow=True)
def mail_receipt(event: Event) -> None:
    """Makes the acceptance record of a party that accepted, and mails it where the party has an address."""
    # unscoped: the event names the row and its business
    rows = Answer.anywhere.select_related("party__business", "revision__quote", "revision__business")
    answer = rows.filter(ref=event.subject, accepted=True).first()
    if answer is None:
        return
    pdf = services.kept(revision=answer.revision, kind=Kind.ACCEPTANCE, party=answer.party.key)
    if answer.party.email:
        outgoing_mail.send(event, "receipt", receipt_letter(answer, pdf))


@handles("document.wanted", slow=True)
def make(event: Event) -> Finish | None:
    # unscoped: the event names the row and its business
    document = Document.anywhere.select_related("revision", "business").get(ref=event.subject)
    if document.state == State.MADE:
        return None
    pdf = services.make(document)
    return lambda: services.keep(document=document, pdf=pdf)


def _revision(event: Event) -> Revision:
    # unscoped: the event names the row and its business
    return Revision.anywhere.select_related("business").get(ref=event.subject)
