"""Quote of one party: its values in the business's locale, and the PDF with its take-off attached."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from quotes.documents.document_kind import DocumentKind, revision_of
from quotes.documents.notices import marked
from quotes.documents.number_format import by_locale, day, metres, money, number, quantity, signed, strip
from quotes.documents.page_parts import drawings, face, job_name, place_of
from quotes.documents.pdf import Enclosure, Variant, markup, render
from quotes.documents.scope_text import scope
from quotes.documents.strength_sheet import strength_sheet
from quotes.documents.variation_text import change_of, quantity_changes
from quotes.quoting.content import Content, read_content
from quotes.quoting.json_values import plain
from quotes.quoting.party_content import ChangedPartyLine, PartyContent, PartyLine
from quotes.quoting.party_documents import party_document
from quotes.quoting.totals import NOTHING_CHOSEN, Choices
from shared.common.dates import dates_by
from shared.common.figures import localize

if TYPE_CHECKING:
    from quotes.documents.models import Document as Row


SHARE_NOTE = (
    "The scope above covers the whole job. The lines and totals are your part. The other parties have their own quotes."
)


def quote_pdf(content: Content, party: str, choices: Choices = NOTHING_CHOSEN) -> bytes:
    """Return a party's quote as PDF/A-3 with its take-off attached."""
    document = party_document(content, party, choices)
    takeoff = document.build.takeoff
    enclosure = Enclosure(
        "takeoff.json", "The take-off this quote rests on", json.dumps(takeoff, sort_keys=True, indent=1).encode()
    )
    return render(markup("quote", quote_values(document)), Variant.ARCHIVE, content.dates.sent_at, [enclosure])


def quote_values(document: PartyContent, acceptance: Mapping[str, str] | None = None) -> dict[str, Any]:
    """Return the values of the quote template.

    Args:
        document: a party's document (``quotes.quoting.party_documents.party_document``).
        acceptance: who accepted it and when (``acceptance.accepted_by``), for the acceptance record.
    """
    business = document.business
    with by_locale(business.locale), dates_by(business.time_zone, business.locale):
        values = _values(document)
        values["sheet"]["acceptance"] = acceptance
        return values


def _due_on_acceptance(document: PartyContent) -> str:
    """Return the sum of the payments due on acceptance with its currency; empty if none is."""
    due = sum((row.amount for row in document.payments if row.milestone == "acceptance"), Decimal(0))
    return money(due, document.currency, document.business.locale) if due else ""


def _values(document: PartyContent) -> dict[str, Any]:
    business, currency = document.business, document.currency
    locale = business.locale
    kind = "Variation" if document.kind == "variation" else "Quote"
    named = f"{kind} {document.number}, revision {document.revision}"
    sheet = {
        "heading": named,
        "number": document.number,
        "job": job_name(document.job),
        "place": place_of(document.site),
        "customer": document.party.name,
        "what": _what(document),
        "issued_on": day(document.dates.date, locale),
        "valid_until": day(document.dates.valid_until, locale),
        "price_label": _price_label(document),
        "price": money(document.total, currency, locale),
        "price_note": _tax_note(document),
        "how_to_accept": _how_to_accept(document),
        "introduction": document.introduction.split("\n\n") if document.introduction else [],
        "drawings": drawings(document.build, "plan", "elevation"),
        "notices": marked(document.build.takeoff),
        "scope": scope(document.build),
        "strength": strength_sheet(document.build.takeoff),
        "is_variation": document.kind == "variation",
        "quantities": quantity_changes(document.quantities, locale),
        "net_head": f"{currency}, before tax",
        "gross_head": f"{currency}, including tax",
        "lines": [_line(line, locale) for line in document.lines],
        "totals": list(_totals(document, locale)),
        "share_note": SHARE_NOTE if document.is_shared else "",
        "options": list(_choices(document, locale)),
        "choices_made": [build.label for build in document.builds if build.chosen]
        + [option.label for option in document.options if option.chosen],
        "had_choices": bool(document.builds or document.options),
        "due_on_acceptance": _due_on_acceptance(document),
        "payments": [{"text": row.label, "amount": number(row.amount, locale)} for row in document.payments],
        "payment_details": business.payment_details.splitlines(),
        "terms": document.terms.split("\n\n") if document.terms else [],
        "cautions": document.build.cautions.customer,
    }
    data = strip(named, job_name(document.job), business.name)
    return {"face": face(business), "strip": data, "made": plain(document.dates.sent_at), "sheet": sheet}


def _what(document: PartyContent) -> str:
    takeoff = document.build.takeoff
    length = sum(run["length_mm"] for run in takeoff["runs"])
    gates = sum(len(run["gates"]) for run in takeoff["runs"])
    parts = [f"{metres(length)} m of steel sheet fence"] if length else []
    if gates:
        parts.append("a gate" if gates == 1 else f"{gates} gates")
    bays = sum(len(item["bays"]) for item in takeoff.get("retrofits", []))
    if bays:
        parts.append("lattice on an existing bay" if bays == 1 else f"lattice on {bays} existing bays")
    data = " with ".join(parts[:2]) + "".join(f" and {part}" for part in parts[2:])
    return data[:1].upper() + data[1:]


def _price_label(document: PartyContent) -> str:
    price = "change in price" if document.kind == "variation" else "price"
    return f"Your part of the {price}" if document.is_shared else price.capitalize()


def _tax_note(document: PartyContent) -> str:
    name, locale = document.business.tax_name, document.business.locale
    tax = money(document.tax, document.currency, locale)
    return f"including {tax} {name}" if document.tax else f"no {name} is charged"


def _how_to_accept(document: PartyContent) -> str:
    business = document.business
    until = day(document.dates.valid_until, business.locale)
    reach = " or ".join(filter(None, (business.phone, business.email)))
    own = business.custom_texts.get("how_to_accept")
    how = f"{own} Answer by {until}." if own else f"Open the link in our message and select Accept by {until}."
    return f"{how} Questions: {reach}." if reach else how


def _line(line: PartyLine, locale: str) -> dict[str, str]:
    share = "" if line.share == 1 else f"your share {_fraction(str(line.share))}"
    detail = ", ".join(filter(None, (line.detail, share)))
    if isinstance(line, ChangedPartyLine):
        detail = "; ".join(filter(None, (change_of(line, locale), detail)))
    return {
        "text": line.text,
        "detail": detail,
        "quantity": quantity(line.quantity, line.unit, locale),
        "amount": number(line.net, locale),
    }


def _fraction(share: str) -> str:
    """
    >>> _fraction("1/2"), _fraction("2/7"), _fraction("50356/57956")
    ('½', '2/7', '86.89 %')
    """
    short = {Fraction(1, 2): "½", Fraction(1, 3): "⅓", Fraction(2, 3): "⅔", Fraction(1, 4): "¼", Fraction(3, 4): "¾"}
    if Fraction(share).denominator > 100:  # a share of the whole job: its exact fraction is not readable
        return localize(f"{round(Fraction(share) * 10_000) / 100:.2f} %")
    return short.get(Fraction(share), share)


def _totals(document: PartyContent, locale: str) -> Iterable[dict[str, Any]]:
    name = document.business.tax_name
    yield {"text": "Total before tax", "amount": number(document.net, locale), "strong": False}
    for row in document.breakdown:
        rate, taxable = number(row.rate.normalize(), locale), number(row.taxable, locale)
        yield {"text": f"{name} {rate} % on {taxable}", "amount": number(row.tax, locale), "strong": False}
    yield {"text": "Total including tax", "amount": money(document.total, document.currency, locale), "strong": True}


def _choices(document: PartyContent, locale: str) -> Iterable[dict[str, str]]:
    for build in document.builds:
        if not build.chosen:
            yield {"text": f"Alternative: {build.label}", "detail": "", "amount": signed(build.difference, locale)}
    for option in document.options:
        if not option.chosen:
            amount = signed(option.difference, locale)
            yield {"text": option.label, "detail": option.detail, "amount": amount}


def _make(row: Row) -> bytes:
    return quote_pdf(read_content(revision_of(row).content), row.party)


QUOTE = DocumentKind(code="quote", label="quote", make=_make, asked_at="quote.sent", per_party=True)
