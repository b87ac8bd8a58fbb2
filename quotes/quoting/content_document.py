"""Content document of a revision: all its data in one canonical text that never changes after sending.

``quotes/quoting/schema/quote-content-2.json`` describes each field. Everything that is printed, shown, drawn,
accepted or counted later is read only from it.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from datetime import datetime, timedelta
from fractions import Fraction
from typing import Any

from catalogue.rules.price_rules import PriceRules
from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs.document_text import parsed
from quotes.jobs.queries import is_returning
from quotes.quoting.build_pricing import PricingInputs, basis_of, build, changed_document
from quotes.quoting.customer_lines import hand_line
from quotes.quoting.hazards import hazard_stops, licensed_removals
from quotes.quoting.models import Revision, RevisionKind
from quotes.quoting.variation_changes import difference
from shared.common.dates import local_day
from shared.models import Business

CONTENT_SCHEMA = "quote-content-2"
FACE = (
    "name", "address", "city", "postcode", "country", "email", "phone", "website", "registration_number", "tax_number",
    "tax_name", "currency", "locale", "language", "time_zone", "paper_size", "payment_details", "custom_texts",
)  # fmt: skip


def assemble(revision: Revision, *, now: datetime) -> dict[str, Any]:
    """Return the content document of a draft as of now. Raise InvalidDocument with every error that prevents sending."""
    business, setup = revision.business, revision.setup
    today = local_day(business, now)
    parties = parties_of(revision)
    chooser = next(party["key"] for party in parties if party["chooses_options"])
    basis = basis_of(business, setup, chooser, today, returning=is_returning(revision.quote.job))
    document = parsed(revision.measure_version.document)
    builds = [build(document, basis), *_alternatives(document, setup, basis)]
    changes = None
    if revision.kind == RevisionKind.VARIATION:
        changes = difference(revision, builds[0])
        builds[0]["lines"] = changes.pop("standing")
    for item in builds:
        item["licensed_removals"] = licensed_removals(item, basis.rules.hazardous)
        item["stops"] += hazard_stops(item)
    content = {
        "schema": CONTENT_SCHEMA,
        "kind": revision.kind,
        "number": revision.quote.number,
        "revision": revision.number,
        "label": revision.quote.label,
        "job": _job(revision),
        "dates": _dates(business, setup, now),
        "currency": business.currency,
        "tax": _tax(basis.rules),
        "business": face(business),
        "customer": _customer(revision),
        "site": _site(revision),
        "parties": parties,
        "builds": builds,
        "options": _options(basis, builds[0]),
        "difference": changes,
        "payments": _payments(setup, basis.rules),
        "introduction": setup.get("introduction", ""),
        "terms": setup.get("terms") or business.terms,
        "override": None,
    }
    check_parties(content)
    return content


def _alternatives(document: Mapping[str, Any], setup: Mapping[str, Any], basis: PricingInputs) -> list[dict[str, Any]]:
    return [
        build(changed_document(document, change), basis, key=change["key"], label=change["label"])
        for change in setup.get("alternatives", [])
    ]


def parties_of(revision: Revision) -> list[dict[str, Any]]:
    """Return the parties in their order; one of them chooses the options."""
    rows = list(revision.parties.order_by("position"))
    return [
        {
            "key": row.key,
            "name": row.name,
            "email": row.email,
            "address": row.address,
            "must_accept": row.must_accept,
            "chooses_options": row.chooses_options,
        }
        for row in rows
    ]


def check_parties(content: Mapping[str, Any]) -> None:
    """Raise InvalidDocument if a line is shared by an unknown party. A party may pay nothing."""
    known = {party["key"] for party in content["parties"]}
    lines = [line for build in (*content["builds"], *content["options"]) for line in build["lines"]]
    lines += content["difference"]["lines"] if content["difference"] else []
    strangers = sorted({key for line in lines for key in line["shares"]} - known)
    faults = [
        Fault(
            "/parties", "party.unknown", f"The measure shares runs with {key!r}. Add this party or change the shares."
        )
        for key in strangers
    ]
    if faults:
        raise InvalidDocument(faults)


def face(business: Business) -> dict[str, Any]:
    """Return the profile of the business for documents."""
    shown = {name: getattr(business, name) for name in FACE}
    logo = bytes(business.logo_png) if business.logo_png else b""
    return {**shown, "logo_png": base64.b64encode(logo).decode()}


def _dates(business: Business, setup: Mapping[str, Any], now: datetime) -> dict[str, Any]:
    today = local_day(business, now)
    until = today + timedelta(days=setup.get("validity_days") or business.quote_validity_days)
    return {
        "sent_at": now.isoformat().replace("+00:00", "Z"),
        "date": today.isoformat(),
        "valid_until": until.isoformat(),
        "supply_on": setup.get("supply_on") or today.isoformat(),
    }


def _tax(rules: PriceRules) -> dict[str, Any]:
    rule = rules.tax_rounding
    return {
        "at": rule.at.value,
        "rounding": rule.rounding.value,
        "line_digits": rule.line_digits,
        "line_rounding": rule.line_rounding.value if rule.line_rounding else None,
        "rounding_difference": rules.rounding_difference.value,
    }


def _job(revision: Revision) -> dict[str, Any]:
    job = revision.quote.job
    return {"number": job.number, "label": job.label}


def _customer(revision: Revision) -> dict[str, Any]:
    customer = revision.quote.job.customer
    names = ("name", "email", "phone", "address", "registration_number")
    return {name: getattr(customer, name) for name in names}


def _site(revision: Revision) -> dict[str, Any]:
    site = revision.quote.job.site
    return {name: getattr(site, name) for name in ("address", "city", "postcode", "country", "access_notes")}


def _options(basis: PricingInputs, base: Mapping[str, Any]) -> list[dict[str, Any]]:
    whole = {key: Fraction(share) for key, share in base["job_shares"].items()}
    return [
        {
            "key": row["key"],
            "label": row["label"],
            "detail": row.get("detail", ""),
            "lines": [hand_line(f"option.{row['key']}", "option", row, basis.rules, whole)],
        }
        for row in basis.setup.get("options", [])
    ]


def _payments(setup: Mapping[str, Any], rules: PriceRules) -> list[dict[str, Any]]:
    if setup.get("payments"):
        return [dict(row) for row in setup["payments"]]
    return [
        {
            "key": instalment.key,
            "label": instalment.label,
            "percent": format(instalment.percent.normalize(), "f"),
            "milestone": instalment.due.value,
        }
        for instalment in rules.instalments
    ]
