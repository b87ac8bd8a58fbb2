"""Every job of the service, run five times more after it was done: no row, letter, number or entry more than before."""

from __future__ import annotations

from typing import Any

import pytest
from django.apps import apps
from django.db.models import Count, Sum
from django.test import Client

from quotes.integrations.models import EndpointState, WebhookEndpoint
from quotes.quoting.customer_responses import accept, ask, reply
from quotes.quoting.models import Party, PartyResponseStatus, Question
from quotes.quoting.tasks import remind
from shared.background import outbox, runner
from shared.background.events import publish_event
from shared.models import Business, OutboxTask
from tests.quotes.purchasing.cast import drafted as drafted_order
from tests.quotes.purchasing.cast import placed
from tests.quotes.quoting.cast import PARTIES, actor_of, measure, sent, stock_up, token

pytestmark = pytest.mark.django_db

# run twice where what they talk to, or are asked for, is at hand: tests of accounting, integrations, catalogue and mail
ELSEWHERE = frozenset(
    {
        "catalogue.make_cutting_plan",
        "catalogue.import_file",
        "accounting.enter_cancelled_quote",
        "accounting.enter_declined_quote",
        "accounting.enter_expired_quote",
        "integrations.challenge_endpoint",
        "integrations.deliver_webhook",
        "shared.mail_test_letter",
    }
)


def everything() -> dict[str, tuple[Any, ...]]:
    """Return the number of rows of each kind and version, without the background tasks themselves."""
    found: dict[str, tuple[Any, ...]] = {}
    for model in apps.get_models():
        if model is not OutboxTask:
            data: dict[str, Any] = {"rows": Count("pk")}
            if any(field.name == "version" for field in model._meta.fields):
                data["versions"] = Sum("version")
            rows: Any = getattr(
                model, "unscoped", model._default_manager
            )  # unscoped: rows of every business are counted
            found[model._meta.label] = tuple(rows.aggregate(**data).values())
    return found


def run_task() -> None:
    """Run every queued task and those that follow from it."""
    while rows := list(OutboxTask.objects.filter(state="queued").exclude(handler__in=ELSEWHERE).order_by("pk")):
        for row in rows:
            assert runner.run(row.pk), OutboxTask.objects.get(pk=row.pk).last_error


@pytest.fixture
def eventful(business: Business, owner_client: Client) -> Business:
    """Create a business in which every event with a task has happened."""
    business.email = "office@example.test"
    business.save()
    stock_up(business)
    endpoint = WebhookEndpoint.objects.create(
        business=business, url="https://hooks.example.test/", state=EndpointState.ACTIVE
    )
    revision = sent(business, {"parties": PARTIES}, measure(12000))
    question = ask(token=token(revision, "owner"), text="When do you start?")
    reply(question=Question.objects.of(business).get(pk=question.pk), text="On Monday.", actor=actor_of(business))
    for party in Party.objects.of(business).filter(response=PartyResponseStatus.PENDING).select_related("business"):
        remind(party)
    supplier = drafted_order(business).supplier
    supplier.email = "yard@example.test"
    supplier.save()
    placed(business)
    publish_event("webhook.disabled", endpoint.ref, business=business)
    asked = {"email": "nora@example.test", "role": "estimator", "name": "Nora"}
    answer = owner_client.post("/api/v1/invitations", asked, "application/json", headers={"Idempotency-Key": "one"})
    assert answer.status_code == 201
    run_task()
    for key in ("owner", "neighbour"):
        accept(token=token(revision, key), name=key, content_sha256=revision.content_sha256)
    run_task()
    return business


def test_every_job_run_five_times_more_changes_nothing(eventful: Business, mailoutbox: list[Any]) -> None:
    before, letters = everything(), len(mailoutbox)
    done = {row.handler for row in OutboxTask.objects.filter(state="done")}
    ours = {name for name in outbox._handlers if not name.startswith("test.")}  # the drills have handlers of their own
    assert done | ELSEWHERE == ours, "a task that is not tested here"
    # quotes to two, a question, its answer, two reminders, an order, an endpoint, an invitation, two answers and two receipts
    assert letters == 2 + 1 + 1 + 2 + 1 + 1 + 1 + 2 + 2
    for _ in range(5):
        OutboxTask.objects.filter(state="done").update(state="queued", leased_until=None)
        run_task()
    assert everything() == before
    assert len(mailoutbox) == letters
