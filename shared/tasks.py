"""The only two Celery tasks: run one row of the outbox, and look for rows nobody nudged."""

from __future__ import annotations

from datetime import timedelta

from celery import shared_task

from shared import idempotency, relay
from shared.outbox import regularly


@shared_task(name="shared.tasks.run_wanted")
def run_wanted(wanted_id: int) -> None:
    """Runs one row; safe to send any number of times."""
    relay.run(wanted_id)


@shared_task(name="shared.tasks.sweep")
def sweep() -> None:
    """Looks for what is still wanted."""
    relay.sweep()


@regularly(timedelta(hours=1))
def forget_old_calls() -> None:
    """Drops stored answers of calls whose time is over."""
    idempotency.forget_old()
