"""Handlers for the drills. The effect of each event is one number taken and one entry in the audit log."""

from __future__ import annotations

import os
import signal
import time

from django.core.mail import EmailMessage

from shared.background import outgoing_mail
from shared.background.outbox import Event, Finish, on_event
from shared.business.actors import SYSTEM
from shared.database import audit_log
from shared.database.numbering import next_number


def _effect(event: Event) -> None:
    """Take a number and write an audit entry."""
    if event.business is None:
        raise ValueError("an event of the drills has a business")
    number = next_number(event.business, "effect")
    audit_log.record(event.business, SYSTEM, "drill.effect", event.subject, {"number": number})


@on_event("drill.quick", name="test.quick")
def quick(event: Event) -> None:
    """Have the effect at once."""
    _effect(event)


@on_event("drill.slow", name="test.slow", slow=True)
def slow(event: Event) -> Finish:
    """Work for 0.4 s, then have the effect."""
    time.sleep(0.4)
    return lambda: _effect(event)


@on_event("drill.short", name="test.short", slow=True)
def short(event: Event) -> Finish:
    """Work for 0.05 s, then have the effect."""
    time.sleep(0.05)
    return lambda: _effect(event)


@on_event("drill.letter", name="test.write", slow=True)
def write(event: Event) -> None:
    """Send an e-mail."""
    outgoing_mail.send(event, "drill", EmailMessage("Soup", "It is ready.", None, ["guest@example.test"]))


@on_event("drill.large", name="test.large", slow=True)
def large(event: Event) -> Finish:
    """Store a megabyte in the audit log."""

    def finish() -> None:
        if event.business is None:
            raise ValueError("an event of the drills has a business")
        audit_log.record(event.business, SYSTEM, "drill.effect", event.subject, {"weight": "x" * 1_000_000})

    return finish


@on_event("drill.poison", name="test.poison", slow=True, attempts=2)
def poison(event: Event) -> Finish:
    """Kill the worker."""
    os.kill(os.getpid(), signal.SIGKILL)
    return lambda: _effect(event)
