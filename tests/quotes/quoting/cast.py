"""A business with a catalogue, a job with a measure, and quotes in every state: made by the services themselves."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from catalogue.spreadsheets.sample_catalogue import load_starter
from quotes.jobs import measure_services, services
from quotes.jobs.models import Job, MeasureVersion
from quotes.quoting import signed_links
from quotes.quoting.draft_setup import DraftSetup
from quotes.quoting.json_values import to_value
from quotes.quoting.models import Party, Revision
from quotes.quoting.services import send, start_quote
from shared.business.actors import SYSTEM, Actor
from shared.business.roles import BUSINESS_SCOPES
from shared.models import Business
from tests.kept_rows import copy_catalogue

BOTH = {"owner": "1/2", "neighbour": "1/2"}
PARTIES: list[dict[str, Any]] = [
    {"key": "owner", "name": "Ada Quill", "email": "ada@example.test", "chooses_options": True},
    {"key": "neighbour", "name": "Ben Thorn", "email": "ben@example.test"},
]
FINISHES = dict.fromkeys(("post", "rail", "sheet"), "saltmarl")


def actor_of(business: Business) -> Actor:
    """Somebody of the business who may do everything."""
    return Actor("person", "olive", "Olive", BUSINESS_SCOPES, business)


def measure(*lengths: int, shares: Mapping[str, str] | None = None, **run: Any) -> dict[str, Any]:
    """A measure of level runs A, B, C ... of these lengths; the first has these shares."""
    runs: list[dict[str, Any]] = [
        {"id": "ABCDEFGH"[place], "length_mm": length, "basis": "centres", **run}
        for place, length in enumerate(lengths)
    ]
    if shares:
        runs[0]["shares"] = dict(shares)
    defaults = {"height_mm": 1800, "form": "level", "layout": "even", "soil": "clay", "finishes": FINISHES}
    return {
        "schema": "measure-2",
        "label": "Back boundary",
        "system": "corrugated-50",
        "defaults": defaults,
        "runs": runs,
    }


def stock_up(business: Business, rate: str = "10") -> None:
    """Store the starter catalogue, taxed at ``rate`` percent."""
    if rate == "10" and copy_catalogue(business.pk):
        return
    load_starter(business, tax_name="Tax", tax_rate=Decimal(rate))


def new_job(business: Business, document: Mapping[str, Any] | None = None) -> tuple[Job, MeasureVersion]:
    """A job with one stored measure."""
    actor = actor_of(business)
    customer = services.add_customer(business=business, actor=SYSTEM, name="Ada Quill", email="ada@example.test")
    site = services.add_site(customer=customer, actor=SYSTEM, address="4 Reed Lane", city="Tern Bay")
    job = services.open_job(customer=customer, site=site, label="Back fence", actor=actor)
    kept = measure_services.start_measure(job=job, document=document or measure(12000, 7200, shares=BOTH), actor=actor)
    version = measure_services.newest(kept)
    assert version is not None
    return job, version


def entered(setup: Mapping[str, Any]) -> DraftSetup:
    """The typed setup of a draft."""
    return to_value(setup, DraftSetup)


def drafted(business: Business, setup: Mapping[str, Any] | None = None, document: Any = None) -> Revision:
    """A quote's first draft."""
    job, version = new_job(business, document)
    return start_quote(job=job, version=version, actor=actor_of(business), setup=entered(setup or {"parties": PARTIES}))


def sent(business: Business, setup: Mapping[str, Any] | None = None, document: Any = None) -> Revision:
    """A quote that was just sent."""
    return send(revision=drafted(business, setup, document), actor=actor_of(business))


def token(revision: Revision, key: str) -> str:
    """The token a party of a revision was mailed."""
    party = Party.objects.of(revision.business).get(revision=revision, key=key)
    link = party.links.get(revoked_at=None)
    return signed_links.token_of(link.ref, link.content_sha256)
