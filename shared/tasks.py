"""The only two Celery tasks: run one row of the outbox, and look for rows nobody nudged; and what the kernel itself wants."""

from __future__ import annotations

from datetime import timedelta

from shared.api import idempotency_models
from shared.background import outgoing_mail, runner
from shared.background.outbox import Event, Finish, on_event, run_every
from shared.business import invitations, mail_test
from shared.business.models import Member
from shared.celery import app


@app.task(name="shared.tasks.run_task")
def run_task(task_id: int) -> None:
    """Runs one row; safe to send any number of times."""
    runner.run(task_id)


@app.task(name="shared.tasks.sweep")
def sweep() -> None:
    """Looks for what is still wanted."""
    runner.run_due_tasks()


@on_event(invitations.INVITED, name="shared.mail_invitation", slow=True)
def mail_invitation(event: Event) -> None:
    """Writes to a member, unless they were taken out meanwhile."""
    member = Member.objects.select_related("person", "business").filter(ref=event.subject).first()
    if member is not None:
        outgoing_mail.send(event, "invitation", invitations.letter(member))


@on_event(mail_test.ASKED, name="shared.mail_test_letter", slow=True)
def mail_test_letter(event: Event) -> Finish | None:
    """Writes to the business's own address and notes that this works."""
    business = event.business
    if business is None or not business.email:
        return None
    outgoing_mail.send(event, "test", mail_test.test_letter(business))
    return lambda: mail_test.note_tested(event, business.email)


@run_every(timedelta(hours=1), name="shared.delete_old_calls")
def delete_old_calls() -> None:
    """Drops stored answers of calls whose time is over."""
    idempotency_models.forget_old()
