"""Answers of quotes to the signals of earlier stages. They import the pricing when it is first asked for."""

from __future__ import annotations

from typing import Any

from django.dispatch import receiver

from catalogue.rules.codes import ImportKind
from catalogue.rules.hooks import Touched, open_quotes_requested
from fencing.quantities.take_off import TakeOff
from fencing.strength.changed_job import SuggestedChange
from quotes.jobs.hooks import change_prices_requested, job_state_changed
from quotes.jobs.models import Job, JobState
from quotes.jobs.takeoff_cache import SystemWithPrices
from shared.business.actors import Actor
from shared.business.models import Business


@receiver(job_state_changed)
def cancel_quotes_of_job(sender: object, job: Job, actor: Actor, **_: Any) -> None:
    """Cancel the quotes of a cancelled job."""
    from quotes.quoting.services import cancel_quotes

    if job.state == JobState.CANCELLED:
        cancel_quotes(job, actor)


@receiver(change_prices_requested)
def price_changes(sender: object, takeoff: TakeOff, found: SystemWithPrices, **_: Any) -> tuple[SuggestedChange, ...]:
    """Return the suggested changes of a take-off at today's prices."""
    from quotes.quoting.build_pricing import remedies_today

    return remedies_today(takeoff, found)


@receiver(open_quotes_requested)
def list_open_quotes(
    sender: object, business: Business, kind: ImportKind, touched: Touched, **_: Any
) -> list[dict[str, Any]]:
    """Return the open quotes that a file of prices affects."""
    from quotes.quoting.price_change_impact import open_quotes

    return open_quotes(business, kind, touched)
