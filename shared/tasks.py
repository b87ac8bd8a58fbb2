"""The only two Celery tasks: run one row of the outbox, and look for rows nobody nudged."""

from __future__ import annotations

from datetime import timedelta

from shared import idempotent_calls, relay
from shared.celery import app
from shared.outbox import regularly


@app.task(name="shared.tasks.run_wanted")
def run_wanted(wanted_id: int) -> None:
    """Runs one row; safe to send any number of times."""
    relay.run(wanted_id)


@app.task(name="shared.tasks.sweep")
def sweep() -> None:
    """Looks for what is still wanted."""
    relay.sweep()


@regularly(timedelta(hours=1))
def forget_old_calls() -> None:
    """Drops stored answers of calls whose time is over."""
    idempotent_calls.forget_old()
