"""Answers of quotes to the signals of earlier stages. They import the pricing when it is first asked for."""

from __future__ import annotations

from decimal import Decimal

from django.dispatch import receiver

from catalogue.rules.codes import ImportKind
from catalogue.rules.hooks import Touched, open_quotes_requested
from fencing.quantities.take_off import TakeOff
from fencing.strength.changed_job import SuggestedChange
from quotes.jobs.hooks import change_prices_requested, job_state_changed
from quotes.jobs.models import Job, JobState
from quotes.jobs.takeoff_cache import SystemWithPrices
from quotes.quoting.content import read_content
from quotes.quoting.json_values import JsonObject
from quotes.quoting.models import Revision, RevisionState
from shared.business.actors import Actor
from shared.common.money import minor_digits, rounded
from shared.models import Business

MAX_QUOTES = 200


@receiver(job_state_changed)
def cancel_quotes_of_job(sender: object, job: Job, actor: Actor, **_: object) -> None:
    """Cancel the quotes of a cancelled job."""
    from quotes.quoting.services import cancel_quotes

    if job.state == JobState.CANCELLED:
        cancel_quotes(job, actor)


@receiver(change_prices_requested)
def price_changes(
    sender: object, takeoff: TakeOff, found: SystemWithPrices, **_: object
) -> tuple[SuggestedChange, ...]:
    """Return the suggested changes of a take-off at today's prices."""
    from quotes.quoting.build_pricing import basis_today, suggested_changes_of

    return suggested_changes_of(takeoff, found, basis_today(found.business, takeoff.measure))


@receiver(open_quotes_requested)
def list_open_quotes(
    sender: object, business: Business, kind: ImportKind, touched: Touched, **_: object
) -> list[JsonObject]:
    """Return the open quotes that a file of prices affects, with the quoted and the new cost of their materials.

    The customer's price stays. A file of price rules affects all of them. For a draft only the number is returned: it is
    priced again when it is sent.
    """
    rows = Revision.objects.of(business).filter(state__in=[RevisionState.DRAFT, RevisionState.SENT])
    newest = rows.select_related("quote", "business").order_by("-id")[:MAX_QUOTES]
    return [impact for row in newest if (impact := _impact(row, kind, touched))]


def _impact(revision: Revision, kind: ImportKind, touched: Touched) -> JsonObject | None:
    named = {"quote": revision.quote.number, "revision": revision.number, "status": revision.state}
    if revision.state == RevisionState.DRAFT:
        return {**named, "text": "priced again when it is sent"}
    if kind is ImportKind.PRICE_RULES:
        return {**named, "text": "keeps its sent price"}
    materials = {
        line.key.removeprefix("material."): line
        for line in read_content(revision.content).builds[0].costing
        if line.key.startswith("material.") and line.key.removeprefix("material.") in touched
    }
    if not materials:
        return None
    before, after, digits = Decimal(0), Decimal(0), minor_digits(revision.business.currency)
    for sku, line in materials.items():
        price = touched[sku]
        before += line.cost
        after += rounded(line.cost if price is None else line.quantity * price, digits)
    return {
        **named,
        "text": "keeps its sent price",
        "components": sorted(materials),
        "cost_quoted": format(before, "f"),
        "cost_then": format(after, "f"),
        "difference": format(after - before, "f"),
    }
