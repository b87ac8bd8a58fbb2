"""E-mail to a party after it accepted: its acceptance record as text and as a PDF."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django.core.mail import EmailMessage

from quotes.documents.quote_sheet import accepted_by, quote_values
from quotes.jobs.document_text import parsed
from quotes.quoting.emails import signature, to_party
from quotes.quoting.models import PartyResponse
from quotes.quoting.party_documents import party_document
from quotes.quoting.totals import read_choices


def receipt_letter(answer: PartyResponse, pdf: bytes) -> EmailMessage:
    """Return the e-mail with selected options, price, payments and terms; the PDF is attached."""
    revision, party = answer.revision, answer.party
    document = party_document(
        parsed(revision.content), party.key, read_choices(parsed(revision.content), answer.choices)
    )
    receipt = {"name": answer.name, "responded_at": answer.responded_at, "content_sha256": answer.content_sha256}
    values = quote_values(document, accepted_by(document, receipt))
    text = "\n".join([f"Dear {party.name},\n", *_record(values["sheet"]), "", signature(revision.business)])
    letter = to_party(party, f"You accepted {revision.quote.number}", text)
    letter.attach(f"acceptance-{revision.quote.number}-{revision.number}.pdf", pdf, "application/pdf")
    return letter


def _record(sheet: Mapping[str, Any]) -> Iterator[str]:
    acceptance = sheet["acceptance"]
    yield f"you accepted {sheet['heading']}, {sheet['job']}, as {acceptance['name']} on {acceptance['when']}."
    yield "The acceptance record is attached.\n"
    if sheet["had_choices"]:
        yield f"Selected options: {'; '.join(sheet['choices_made']) or 'none'}"
    yield f"{sheet['price_label']}: {sheet['price']}, {sheet['price_note']}"
    if sheet["payments"]:
        yield f"\nPayments, in {sheet['gross_head']}:"
        yield from (f"- {row['text']}: {row['amount']}" for row in sheet["payments"])
    if sheet["due_on_acceptance"]:
        yield f"Due now: {sheet['due_on_acceptance']}, including tax"
    yield from sheet["payment_details"]
    if sheet["terms"]:
        yield "\nTerms:\n\n" + "\n\n".join(sheet["terms"])
    yield f"\nDocument fingerprint (SHA-256): {acceptance['digest']}."
