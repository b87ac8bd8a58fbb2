"""Document pack of a revision: the PDF of each document from the frozen content, without database access."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from quotes.documents.crew_sheets import care_values, crew_values
from quotes.documents.number_format import number, strip
from quotes.documents.pdf import Enclosure, Variant, markup, render
from quotes.documents.quote_sheet import accepted_by, face, quote_values
from quotes.documents.screening_annex import annex_pdf, place_of
from quotes.quoting.party_documents import crew_document, party_document
from quotes.quoting.totals import NOTHING_CHOSEN, Choices, read_choices
from quotes.quoting.variation_changes import standing_build
from shared.common.money import minor_digits, rounded

Content = Mapping[str, Any]


def quote_pdf(content: Content, party: str, choices: Choices = NOTHING_CHOSEN) -> bytes:
    """Return a party's quote as PDF/A-3 with its take-off attached."""
    document = party_document(content, party, choices)
    takeoff = document["build"]["takeoff"]
    enclosure = Enclosure(
        "takeoff.json", "The take-off this quote rests on", json.dumps(takeoff, sort_keys=True, indent=1).encode()
    )
    return render(markup("quote", quote_values(document)), Variant.ARCHIVE, made_at(content), [enclosure])


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
    values["made"] = responded_at.isoformat().replace("+00:00", "Z")
    return render(markup("quote", values), Variant.ACCESSIBLE, responded_at)


def crew_pdf(content: Content, template: str, choices: Mapping[str, Any] | None = None) -> bytes:
    """Return the set-out sheet (``setout``), cut list (``cutlist``) or care sheet (``care``) as PDF."""
    document, made = crew_document(content, choices), content["dates"]["sent_at"]
    values = care_values(document, made) if template == "care" else crew_values(document, made)
    return render(markup(template, values), Variant.ACCESSIBLE, made_at(content))


def is_annexed(content: Content, choices: Mapping[str, Any] | None = None) -> bool:
    """Return whether the pack has a screening annex, that is, whether the measure asks for the screening."""
    return "strength" in standing_build(content, choices)["takeoff"]


def screening_pdf(content: Content, choices: Mapping[str, Any] | None = None) -> bytes:
    """Return the screening annex with the prices of suggested changes: for the business, not for a party."""
    build, job = standing_build(content, choices), content["job"]
    takeoff = build["takeoff"]
    return annex_pdf(
        {**takeoff, "strength": {**takeoff["strength"], "suggested_changes": build["suggested_changes"]}},
        build["drawings"]["curves"],
        face=content["business"],
        heading=f"Quote {content['number']}, revision {content['revision']} · {job['number']} {job['label']}".strip(),
        place=place_of(content["site"]),
        made=made_at(content),
    )


def acceptance_pdf(content: Content, digest: str, answers: list[dict[str, str]], choices: list[str]) -> bytes:
    """Return the acceptance record: the response of each party and the digest of the accepted document."""
    heading = f"Quote {content['number']}, revision {content['revision']}"
    job = f"{content['job']['number']} {content['job']['label']}".strip()
    sheet = {
        "heading": heading,
        "job": job,
        "rows": [{**row, "amount": _amount(row["amount"], content)} for row in answers],
        "choices": choices,
        "digest": digest,
        "money_head": f"{content['currency']}, including tax",
        "time_zone": content["business"]["time_zone"].replace("_", " "),
    }
    foot = strip(heading, job, content["business"]["name"])
    values = {"face": face(content["business"]), "strip": foot, "made": content["dates"]["sent_at"], "sheet": sheet}
    return render(markup("acceptance", values), Variant.ACCESSIBLE, made_at(content))


def _amount(amount: str, content: Content) -> str:
    exact = rounded(Decimal(amount), minor_digits(content["currency"]))
    return number(exact, content["business"]["locale"])


def made_at(content: Content) -> datetime:
    """Return the time on a document: when its revision was sent."""
    return datetime.fromisoformat(content["dates"]["sent_at"].replace("Z", "+00:00"))


def whole_pack(content: Content, made: Mapping[str, bytes] | None = None) -> Iterator[tuple[str, bytes]]:
    """Yield file name and PDF of each document that comes with a quote before the response.

    Args:
        content: the frozen content.
        made: finished quotes, by the party's key; they are not rendered again.
    """
    for party in content["parties"]:
        name = "quote" if len(content["parties"]) == 1 else f"quote-{party['key']}"
        yield f"{name}.pdf", (made or {}).get(party["key"]) or quote_pdf(content, party["key"])
    yield "set-out.pdf", crew_pdf(content, "setout")
    yield "cut-list.pdf", crew_pdf(content, "cutlist")
    yield "care.pdf", crew_pdf(content, "care")
    if is_annexed(content):
        yield "screening.pdf", screening_pdf(content)
