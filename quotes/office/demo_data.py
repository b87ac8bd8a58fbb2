"""The invented scenario: a business in Quarrow and its jobs, from measure to accepted quote. Loading it twice changes nothing."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings

from catalogue.spreadsheets.sample_catalogue import NewBusiness, create_business
from fencing.reading import read_json
from quotes.jobs import services as jobs
from quotes.jobs.measure_services import newest, start_measure
from quotes.jobs.models import Job, JobState
from quotes.purchasing.draft_orders import order_for
from quotes.purchasing.models import SupplierOrder
from quotes.purchasing.services import place
from quotes.quoting import services as offers
from quotes.quoting.customer_responses import accept
from quotes.quoting.draft_setup import read_setup
from quotes.quoting.models import Revision, SignedLink
from quotes.quoting.signed_links import token_of
from shared.business.actors import SYSTEM
from shared.models import Business

FOLDER = Path(settings.ROOT) / "demo"


def scenario() -> dict[str, Any]:
    """Read the demo scenario from its file."""
    data: dict[str, Any] = json.loads((FOLDER / "scenario.json").read_text(encoding="utf-8"))
    return data


def load_business(data: Mapping[str, Any]) -> Business:
    """Create the business of the scenario with the sample catalogue."""
    fields = {key: value for key, value in data.items() if key not in {"details", "tax_rate"}}
    business, _ = create_business(
        NewBusiness(tax_rate=Decimal(data["tax_rate"]), **fields), details=data["details"], accepted=True
    )
    return business


def load_jobs(business: Business, data: Mapping[str, Any]) -> Iterator[tuple[str, Revision]]:
    """Yield the name and the sent or accepted revision of each job of the scenario."""
    for row in data["jobs"]:
        document = read_json((FOLDER / "measures" / f"{row['measure']}.json").read_bytes())
        found = Revision.objects.of(business).filter(quote__job__label=document["label"]).order_by("number").last()
        yield row["measure"], found or _quoted(business, row, document)


def _quoted(business: Business, row: Mapping[str, Any], document: dict[str, Any]) -> Revision:
    customer = jobs.add_customer(business=business, actor=SYSTEM, **row["customer"])
    site = jobs.add_site(customer=customer, actor=SYSTEM, **row["site"])
    job: Job = jobs.open_job(customer=customer, site=site, label=document["label"], actor=SYSTEM)
    version = newest(start_measure(job=job, document=document, actor=SYSTEM))
    if version is None:
        raise RuntimeError(f"the demo's own measure {row['measure']} is not whole")
    draft = offers.start_quote(job=job, version=version, actor=SYSTEM, setup=read_setup(row["setup"]))
    revision = offers.send(revision=draft, actor=SYSTEM)
    if row["accept"]:
        _accept_all(revision)
    revision.refresh_from_db()
    return revision


def _accept_all(revision: Revision) -> None:
    """Accept for every party, first for the one that chooses the options."""
    links = SignedLink.objects.of(revision.business).filter(revision=revision, revoked_at=None)
    for link in links.select_related("party").order_by("-party__chooses_options", "party__position"):
        token = token_of(link.ref, link.content_sha256)
        accept(token=token, name=link.party.name, content_sha256=revision.content_sha256)


def load_orders(business: Business) -> list[SupplierOrder]:
    """Order the materials of all accepted jobs together and place the orders, unless there are orders already."""
    placed = SupplierOrder.objects.of(business).order_by("id")
    if not placed.exists():
        agreed = [job for job in Job.objects.of(business).order_by("id") if job.state == JobState.ACCEPTED]
        for order in order_for(jobs=agreed, actor=SYSTEM):
            place(order=order, actor=SYSTEM)
    return list(placed.select_related("business", "supplier"))
