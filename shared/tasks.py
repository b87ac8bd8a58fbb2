"""Celery tasks that run the outbox, and the background tasks of the base package."""

from __future__ import annotations

from datetime import timedelta

from shared.api import idempotency_models
from shared.background import outgoing_mail, runner
from shared.background.celery_app import app
from shared.background.outbox import Event, Finish, on_event, run_every
from shared.business.models import Member
from shared.members import invitations, mail_test


@app.task(name=runner.RUN_TASK)
def run_task(task_id: int) -> None:
    """Run one task. It is safe to send the message several times."""
    runner.run(task_id)


@app.task(name="shared.tasks.run_due_tasks")
def run_due_tasks() -> None:
    """Start the tasks that are due."""
    runner.run_due_tasks()


@on_event(invitations.INVITED, name="shared.mail_invitation", slow=True)
def mail_invitation(event: Event) -> None:
    """E-mail an invitation, unless the member was removed."""
    member = Member.objects.select_related("person", "business").filter(ref=event.subject).first()
    if member is not None:
        outgoing_mail.send(event, "invitation", invitations.letter(member))


@on_event(mail_test.REQUESTED, name="shared.mail_test_letter", slow=True)
def mail_test_letter(event: Event) -> Finish | None:
    """E-mail the business a test message and note that it was sent."""
    business = event.business
    if business is None or not business.email:
        return None
    outgoing_mail.send(event, "test", mail_test.test_letter(business))
    return lambda: mail_test.note_tested(event, business.email)


@run_every(timedelta(hours=1), name="shared.delete_old_calls")
def delete_old_calls() -> None:
    """Delete stored responses that have expired."""
    idempotency_models.forget_old()
