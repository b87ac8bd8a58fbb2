"""Acceptance record of a quote, of a single party too, and the e-mail with it to the party that accepted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.core.mail import EmailMessage

from quotes.documents.document_kind import DocumentKind, revision_of
from quotes.documents.kinds.quote import quote_values
from quotes.documents.number_format import number, strip
from quotes.documents.page_parts import face, job_name
from quotes.documents.pdf import Variant, markup, render
from quotes.quoting.content import Content, read_content
from quotes.quoting.emails import signature, to_party
from quotes.quoting.json_values import plain
from quotes.quoting.models import Party, PartyResponse, Revision
from quotes.quoting.party_content import PartyContent
from quotes.quoting.party_documents import party_document
from quotes.quoting.totals import read_choices
from shared.common.dates import dates_by, write_moment
from shared.common.money import minor_digits, rounded

if TYPE_CHECKING:
    from quotes.documents.models import Document


def acceptance_pdf(content: Content, digest: str, answers: list[dict[str, str]], choices: list[str]) -> bytes:
    """Return the acceptance record: the response of each party and the digest of the accepted document."""
    heading = f"Quote {content.number}, revision {content.revision}"
    job = job_name(content.job)
    sheet = {
        "heading": heading,
        "job": job,
        "rows": [{**row, "amount": _amount(row["amount"], content)} for row in answers],
        "choices": choices,
        "digest": digest,
        "money_head": f"{content.currency}, including tax",
        "time_zone": content.business.time_zone.replace("_", " "),
    }
    foot = strip(heading, job, content.business.name)
    values = {"face": face(content.business), "strip": foot, "made": plain(content.dates.sent_at), "sheet": sheet}
    return render(markup("acceptance", values), Variant.ACCESSIBLE, content.dates.sent_at)


def _amount(amount: str, content: Content) -> str:
    exact = rounded(Decimal(amount), minor_digits(content.currency))
    return number(exact, content.business.locale)


def acceptance_record_pdf(content: Content, party: str, receipt: Mapping[str, Any]) -> bytes:
    """Return a party's own acceptance record: selected options, price, payments and terms.

    Args:
        content: the frozen content.
        party: the party's key.
        receipt: fields ``name``, ``responded_at``, ``content_sha256`` and ``choices`` of its response.
    """
    document = party_document(content, party, read_choices(content, receipt["choices"]))
    values = quote_values(document, accepted_by(document, receipt))
    responded_at: datetime = receipt["responded_at"]
    values["made"] = plain(responded_at)
    return render(markup("quote", values), Variant.ACCESSIBLE, responded_at)


def accepted_by(document: PartyContent, receipt: Mapping[str, Any]) -> dict[str, str]:
    """Return the facts of an acceptance for its record: name, time in the business's time zone, digest of the accepted document.

    Args:
        document: the party's document with its choices.
        receipt: fields ``name``, ``responded_at`` and ``content_sha256`` of the party's response.
    """
    business = document.business
    zone = business.time_zone.replace("_", " ")
    with dates_by(business.time_zone, business.locale):
        when = f"{write_moment(receipt['responded_at'], seconds=True)} ({zone})"
    return {"name": receipt["name"], "when": when, "digest": receipt["content_sha256"]}


def _make(row: Document) -> bytes:
    revision = revision_of(row)
    content = read_content(revision.content)
    if row.party:
        rows = PartyResponse.objects.of(revision.business)
        answer = rows.get(party__revision=revision, party__key=row.party, accepted=True)
        receipt = {name: getattr(answer, name) for name in ("name", "responded_at", "content_sha256", "choices")}
        return acceptance_record_pdf(content, row.party, receipt)
    return acceptance_pdf(content, revision.content_sha256, _answers(content, revision), _chosen(content, revision))


def _answers(content: Content, revision: Revision) -> list[dict[str, str]]:
    names = {party.pk: party.name for party in Party.objects.of(revision.business).filter(revision=revision)}
    rows = PartyResponse.objects.of(revision.business).filter(party__revision=revision).order_by("id")
    business = content.business
    with dates_by(business.time_zone, business.locale):
        return [
            {
                "party": names[row.party_id],
                "answer": "accepted" if row.accepted else "declined",
                "name": row.name,
                "when": write_moment(row.responded_at, seconds=True),
                "amount": format(row.total.normalize(), "f"),
            }
            for row in rows
        ]


def _chosen(content: Content, revision: Revision) -> list[str]:
    choices = read_choices(content, revision.choices)
    builds = [build.label for build in content.builds if build.key == choices.build]
    return builds + [option.label for option in content.options if option.key in choices.options]


def receipt_letter(answer: PartyResponse, pdf: bytes) -> EmailMessage:
    """Return the e-mail with selected options, price, payments and terms; the PDF is attached."""
    revision, party = answer.revision, answer.party
    content = read_content(revision.content)
    document = party_document(content, party.key, read_choices(content, answer.choices))
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


ACCEPTANCE = DocumentKind(code="acceptance", label="acceptance record", make=_make, asked_at="quote.accepted")
