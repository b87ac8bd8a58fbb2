"""An endpoint that takes a line and never answers holds a worker up for as long as a try may take: once, not for each event."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.db.models.functions import Now
from pytest_django import Settings

from quotes.integrations import tasks
from quotes.integrations.models import WebhookDelivery, WebhookEndpoint
from quotes.integrations.webhook_http import HttpResult
from quotes.integrations.webhook_signatures import new_secret
from quotes.integrations.webhooks import enqueue_test, resting_until
from shared.background import runner
from shared.models import Business, OutboxTask

pytestmark = pytest.mark.django_db
NOON = datetime(2031, 4, 7, 12, tzinfo=UTC)
HANGS = HttpResult(None, "", "no answer within 30 s", 30_000)
FAILS = HttpResult(500, "", "", 20)
WORKS = HttpResult(204, "", "", 20)


@pytest.fixture
def endpoint(business: Business) -> WebhookEndpoint:
    return WebhookEndpoint.objects.create(
        business=business, url="https://hooks.example/", state="active", secrets=[{"key": new_secret()}]
    )


def run_due(at: datetime) -> None:
    with time_machine.travel(at, tick=False):
        for pk in OutboxTask.objects.filter(state="queued", due_at__lte=at).order_by("id").values_list("pk", flat=True):
            runner.run(pk)


def sending(monkeypatch: pytest.MonkeyPatch, *answers: HttpResult) -> list[str]:
    """Record what is sent. Each request gets the next of ``answers``, then always the last."""
    sent: list[str] = []

    def post(url: str, *_: object, **__: object) -> HttpResult:
        sent.append(url)
        return answers[min(len(sent), len(answers)) - 1]

    monkeypatch.setattr(tasks, "post", post)
    return sent


def test_after_one_try_that_hangs_the_others_wait_and_none_of_their_tries_is_used_up(
    endpoint: WebhookEndpoint, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent = sending(monkeypatch, HANGS)
    with time_machine.travel(NOON, tick=False):
        for _ in range(5):
            enqueue_test(endpoint)
    run_due(NOON)
    assert len(sent) == 1
    starts = OutboxTask.objects.filter(handler="integrations.deliver_webhook").values_list("starts", flat=True)
    assert sorted(starts) == [0, 0, 0, 0, 1]
    for minute in range(1, 61):
        run_due(NOON + timedelta(minutes=minute, seconds=1))
    # four rests of a minute, then each a quarter longer: 4 + log(60 / 4) / log(1.25) = 16, where each minute had seen five
    assert 13 <= len(sent) <= 17
    assert set(WebhookDelivery.objects.values_list("state", flat=True)) == {"waiting"}, (
        "nothing is given up by being put off"
    )


def test_when_it_answers_again_everything_goes_at_once(
    endpoint: WebhookEndpoint, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent = sending(monkeypatch, HANGS, WORKS)
    with time_machine.travel(NOON, tick=False):
        for _ in range(3):
            enqueue_test(endpoint)
    run_due(NOON)
    run_due(NOON + timedelta(seconds=61))
    assert len(sent) == 4
    assert set(WebhookDelivery.objects.values_list("state", flat=True)) == {"delivered"}
    endpoint.refresh_from_db()
    assert (endpoint.paused_until, endpoint.failing_since) == (None, None)


def test_one_that_fails_is_tried_by_one_at_a_time_and_one_that_works_by_all(endpoint: WebhookEndpoint) -> None:
    assert [resting_until(endpoint, NOON) for _ in range(2)] == [None, None]
    endpoint.failing_since = NOON - timedelta(minutes=1)
    endpoint.save()
    assert resting_until(endpoint, NOON) is None
    assert resting_until(endpoint, NOON) == NOON + timedelta(seconds=30)


@pytest.mark.parametrize(("waited_s", "sent_too"), [(-60, True), (60, False)])
def test_an_endpoint_keeps_one_worker_waiting_at_most(
    endpoint: WebhookEndpoint, settings: Settings, monkeypatch: pytest.MonkeyPatch, waited_s: float, sent_too: bool
) -> None:
    sent = sending(monkeypatch, WORKS)
    with time_machine.travel(NOON, tick=False):
        for _ in range(2):
            enqueue_test(endpoint)
    first, second = OutboxTask.objects.filter(handler="integrations.deliver_webhook").order_by("id")
    leased = Now() - timedelta(seconds=waited_s) + settings.JOB_LEASE  # a worker is at it
    OutboxTask.objects.filter(pk=first.pk).update(leased_until=leased)
    run_due(NOON)
    second.refresh_from_db()
    assert (len(sent), second.starts) == ((1, 1) if sent_too else (0, 0))
    assert sent_too or second.due_at == NOON + timedelta(seconds=5)


def test_quick_failures_give_the_turn_on_at_once(endpoint: WebhookEndpoint, monkeypatch: pytest.MonkeyPatch) -> None:
    sent = sending(monkeypatch, FAILS)
    with time_machine.travel(NOON, tick=False):
        for _ in range(3):
            enqueue_test(endpoint)
    run_due(NOON)
    assert len(sent) == 3


@pytest.mark.parametrize("answer", [WORKS, FAILS], ids=["works", "fails"])
def test_an_endpoint_taken_away_while_it_is_tried_leaves_no_job_behind(
    endpoint: WebhookEndpoint, monkeypatch: pytest.MonkeyPatch, answer: HttpResult
) -> None:
    def post(*_: object, **__: object) -> HttpResult:
        WebhookEndpoint.objects.filter(pk=endpoint.pk).delete()
        return answer

    monkeypatch.setattr(tasks, "post", post)
    with time_machine.travel(NOON, tick=False):
        enqueue_test(endpoint)
    run_due(NOON)
    run_due(NOON + timedelta(minutes=1))
    assert set(OutboxTask.objects.filter(handler="integrations.deliver_webhook").values_list("state", flat=True)) == {
        "done"
    }
