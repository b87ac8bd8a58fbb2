"""Tests of undelivered e-mails: they are tried for three days and can be sent again; a server that hangs occupies one worker."""

from __future__ import annotations

import smtplib
import threading
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.mail import EmailMessage
from django.db import connection
from django.db.models import F
from django.db.models.functions import Now
from django.utils import timezone

from shared.background import mail_server, outbox, outgoing_mail, runner
from shared.background.events import publish_event
from shared.background.mail_server import MailServer, mail_server_reserved
from shared.background.outbox import Event, OutboxTask, RetryLater, TaskState, on_event
from shared.background.outgoing_mail import OutgoingMail
from shared.business.actors import SYSTEM
from shared.business.models import Business
from shared.database.audit_log import AuditEntry

pytestmark = pytest.mark.django_db
NOON = "2026-03-02T12:00:00Z"


@pytest.fixture
def kitchen() -> Iterator[None]:
    @on_event("soup.ready", name="test.send_menu", slow=True)
    def send_menu(event: Event) -> None:
        outgoing_mail.send(event, "menu", EmailMessage("Soup", "It is ready.", None, ["guest@example.test"]))

    yield
    outbox._handlers.pop("test.send_menu")


class Server:
    """Mail server that counts attempts and raises an error if one is set."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.fault: Exception | None = None
        self.tries = 0
        real = EmailMessage.send

        def send(letter: EmailMessage, fail_silently: bool = False) -> int:
            self.tries += 1
            if self.fault:
                raise self.fault
            return real(letter)

        monkeypatch.setattr(EmailMessage, "send", send)


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Server:
    return Server(monkeypatch)


def pass_time(clock: Any, span: timedelta) -> None:
    """Let time pass by the process's clock and by the database's clock, which cannot be moved: its times move instead."""
    clock.shift(span)
    MailServer.objects.update(rests_until=F("rests_until") - span, held_since=F("held_since") - span)


def run_until(clock: Any, span: timedelta) -> None:
    """Let the worker look for due work until a span is over, going from one due time to the next."""
    end = timezone.now() + span
    while True:
        runner.run_due_tasks()
        due = (
            OutboxTask.objects.filter(state=TaskState.QUEUED)
            .order_by("due_at")
            .values_list("due_at", flat=True)
            .first()
        )
        if due is None or due > end:
            break
        pass_time(clock, max(due - timezone.now(), timedelta(0)) + timedelta(seconds=1))
    pass_time(clock, end - timezone.now())


def test_a_letter_is_tried_for_three_days_with_growing_pauses(
    business: Business, kitchen: None, server: Server
) -> None:
    server.fault = smtplib.SMTPDataError(451, b"try later")
    with time_machine.travel(NOON, tick=False) as clock:
        publish_event("soup.ready", "leek", business=business)
        runner.run_due_tasks()
        assert outgoing_mail.undelivered(business).get().is_late
        times = [timezone.now()]
        run_until(clock, timedelta(days=2, hours=23))
        assert outgoing_mail.undelivered(business).get().is_late
        assert 15 < server.tries < 40
        run_until(clock, timedelta(days=1))
        row = OutgoingMail.objects.get()
        assert row.is_failed
        assert row.last_error == "451 try later"
        assert row.failed_at is not None
        assert timedelta(days=2, hours=19) < row.failed_at - times[0] <= timedelta(days=3)
        assert OutboxTask.objects.get().state == TaskState.FAILED


def test_what_a_server_could_not_take_for_two_days_still_arrives(
    business: Business, kitchen: None, server: Server, mailoutbox: list[Any]
) -> None:
    server.fault = ConnectionRefusedError("connection refused")
    with time_machine.travel(NOON, tick=False) as clock:
        publish_event("soup.ready", "leek", business=business)
        run_until(clock, timedelta(days=2))
        server.fault = None
        run_until(clock, timedelta(hours=8))
    assert [item.to for item in mailoutbox] == [["guest@example.test"]]
    assert OutgoingMail.objects.get().state == "sent"
    assert not outgoing_mail.undelivered(business).exists()


def test_an_address_that_does_not_exist_is_known_at_once(business: Business, kitchen: None, server: Server) -> None:
    server.fault = smtplib.SMTPRecipientsRefused({"guest@example.test": (550, b"no such user")})
    publish_event("soup.ready", "leek", business=business)
    runner.run_due_tasks()
    row = OutgoingMail.objects.get()
    assert row.is_failed
    assert row.last_error == "guest@example.test: 550 no such user"
    assert MailServer.objects.get().failures == 0  # the server is well


def test_a_letter_that_was_given_up_can_be_sent_again(
    business: Business,
    kitchen: None,
    server: Server,
    mailoutbox: list[Any],
    django_capture_on_commit_callbacks: Any,
) -> None:
    server.fault = smtplib.SMTPRecipientsRefused({"guest@example.test": (550, b"no such user")})
    publish_event("soup.ready", "leek", business=business)
    runner.run_due_tasks()
    server.fault = None
    for _ in range(2):  # pressed twice, it goes once
        with django_capture_on_commit_callbacks(execute=True):
            outgoing_mail.send_again(OutgoingMail.objects.get(), actor=SYSTEM)
    assert len(mailoutbox) == 1
    assert OutgoingMail.objects.get().state == "sent"
    assert AuditEntry.objects.filter(business=business, action="mail.sent_again").count() == 1
    assert OutboxTask.objects.get().state == TaskState.DONE


def test_after_a_failure_of_the_server_nobody_tries_for_a_while(
    business: Business, kitchen: None, server: Server
) -> None:
    server.fault = TimeoutError()
    with time_machine.travel(NOON, tick=False) as clock:
        for name in ("leek", "pea", "beet"):
            publish_event("soup.ready", name, business=business)
        runner.run_due_tasks()
        assert server.tries == 1  # the first one found out, the others waited
        assert outgoing_mail.undelivered(business).count() == 3
        pass_time(clock, timedelta(seconds=61))
        server.fault = None
        runner.run_due_tasks()
    assert not outgoing_mail.undelivered(business).exists()
    assert MailServer.objects.get().failures == 0


@pytest.mark.django_db(transaction=True)
def test_a_server_that_hangs_takes_one_worker_and_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mail_server, "PATIENCE", timedelta(seconds=0.2))
    holds, ended = threading.Event(), threading.Event()

    def hang() -> None:
        try:
            with mail_server_reserved():
                holds.set()
                ended.wait(60)
        finally:
            connection.close()

    worker = threading.Thread(target=hang)
    worker.start()
    try:
        assert holds.wait(60)
        for _ in range(3):
            with pytest.raises(RetryLater, match="being sent"), mail_server_reserved():
                pytest.fail("a second letter was sent to a server that hangs")
    finally:
        ended.set()
        worker.join()
    with mail_server_reserved():
        pass


def test_a_worker_that_died_does_not_keep_the_line(business: Business) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        mail_server._reserve()  # and ends
        pass_time(clock, mail_server.MAX_SENDING)
        with mail_server_reserved():
            pass


@pytest.mark.parametrize("skew", [timedelta(days=-1), timedelta(days=1)], ids=["behind", "ahead"])
def test_the_pause_is_measured_by_the_databases_clock(skew: timedelta) -> None:
    with time_machine.travel(timezone.now() + skew, tick=False), pytest.raises(TimeoutError), mail_server_reserved():
        raise TimeoutError
    with pytest.raises(RetryLater) as refused, mail_server_reserved():
        pytest.fail("the pause is over too early")
    assert timedelta(0) < refused.value.due_at - timezone.now() <= mail_server.FIRST_PAUSE
    MailServer.objects.update(rests_until=Now())
    with time_machine.travel(timezone.now() + skew, tick=False), mail_server_reserved():
        pass
