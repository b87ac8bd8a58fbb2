"""Tests of outgoing e-mails: each is sent once, or again with the same Message-ID if the result is unknown."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.core.mail import EmailMessage

from shared.background import outgoing_mail
from shared.background.outbox import Event, RetryLater
from shared.background.outgoing_mail import OutgoingMail
from shared.business.models import Business

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture
def event(business: Business) -> Event:
    return Event.objects.create(business=business, kind="soup.ordered", subject="leek")


def letter() -> EmailMessage:
    return EmailMessage("Soup", "It is ready.", "kitchen@example.test", ["guest@example.test"])


def heads(mailoutbox: list[Any]) -> list[tuple[str, str]]:
    """Return Message-ID and date of each e-mail that was sent."""
    return [(item.message()["Message-ID"], item.message()["Date"]) for item in mailoutbox]


def test_a_letter_sent_five_times_goes_once(event: Event, mailoutbox: list[Any]) -> None:
    assert [outgoing_mail.send(event, "menu", letter()) for _ in range(5)] == [True, False, False, False, False]
    assert [item for item, _ in heads(mailoutbox)] == [f"<menu.{event.ref}@localhost>"]


def test_two_emails_of_one_event_are_distinct(event: Event, mailoutbox: list[Any]) -> None:
    assert outgoing_mail.send(event, "menu", letter())
    assert outgoing_mail.send(event, "bill", letter())
    assert len(set(heads(mailoutbox))) == len(mailoutbox) == 2


def test_a_letter_that_was_refused_is_tried_again_and_then_no_more(
    event: Event, mailoutbox: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(EmailMessage, "send", lambda self: 1 / 0)
        with pytest.raises(RetryLater):
            outgoing_mail.send(event, "menu", letter())
    assert OutgoingMail.objects.get().state == "sending"
    assert [outgoing_mail.send(event, "menu", letter()) for _ in range(2)] == [True, False]
    assert len(mailoutbox) == 1


def test_one_sent_but_not_marked_goes_again_under_the_same_id_and_date(
    event: Event, mailoutbox: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    class Died(BaseException):
        pass

    def die(row: OutgoingMail) -> None:
        raise Died

    with monkeypatch.context() as fatal:
        fatal.setattr(outgoing_mail, "mark", die)
        with pytest.raises(Died):
            outgoing_mail.send(event, "menu", letter())
    assert outgoing_mail.send(event, "menu", letter())
    first, second = heads(mailoutbox)
    assert first == second


def test_nobody_sends_a_letter_past_the_mark() -> None:
    sends = re.compile(r"\.send\(\)|\bsend_mail\(|send_mass_mail\(|send_messages\(")
    files = [file for app in ("shared", "catalogue", "quotes") for file in (ROOT / app).rglob("*.py")]
    assert [file.name for file in files if sends.search(file.read_text())] == ["outgoing_mail.py"]
