"""Settings: a changed secret key, and Celery without lost or repeated tasks."""

from __future__ import annotations

import os
import subprocess
import sys
from typing import Any

import pytest
from django.conf import settings
from django.core import mail
from django.test import Client

from quotes.quoting.customer_responses import link_of
from quotes.quoting.emails import reminder_letter
from quotes.quoting.models import Revision, SignedLink
from quotes.quoting.signed_links import LostKeyError, address_of
from shared.background.celery_app import app
from shared.business.models import Business, Member
from shared.members import invitations
from shared.settings import JOB_LEASE
from tests.conftest import Cast
from tests.quotes.quoting.cast import sent, stock_up

BEFORE, AFTER = "b" * 50, "a" * 50


@pytest.fixture
def link(business: Business, settings: Any) -> SignedLink:
    settings.SECRET_KEY = BEFORE
    stock_up(business)
    revision: Revision = sent(business)
    return SignedLink.objects.of(business).filter(revision=revision).select_related("party", "revision", "business")[0]


def change_key(settings: Any, *, keep: bool) -> None:
    settings.SECRET_KEY = AFTER
    settings.SECRET_KEY_FALLBACKS = [BEFORE] if keep else []


@pytest.mark.django_db
def test_a_letter_written_after_the_key_was_changed_has_the_address_of_the_first(
    link: SignedLink, settings: Any
) -> None:
    mailed = address_of(link)
    change_key(settings, keep=True)
    assert address_of(link) == mailed
    assert mailed in str(reminder_letter(link).body)
    assert link_of(mailed.rpartition("/")[2]) == link
    assert Client().get(mailed.removeprefix(settings.PUBLIC_URL), follow=True).status_code == 200


@pytest.mark.django_db
def test_without_the_key_before_it_no_letter_with_a_dead_address_is_written(link: SignedLink, settings: Any) -> None:
    change_key(settings, keep=False)
    with pytest.raises(LostKeyError, match="BAYWRIGHT_SECRET_KEY_FALLBACKS"):
        address_of(link)
    assert mail.outbox == []


@pytest.mark.django_db
@pytest.mark.parametrize(("keep", "status"), [(True, 302), (False, 404)])
def test_an_invitation_lives_as_long_as_its_key(cast: Cast, settings: Any, keep: bool, status: int) -> None:
    settings.SECRET_KEY = BEFORE
    cast.crew.set_unusable_password()
    cast.crew.email_proved_at = None
    cast.crew.save()
    Member.objects.filter(person=cast.crew).update(accepted_at=None)
    address = invitations.address_of(Member.objects.get(person=cast.crew))
    change_key(settings, keep=keep)
    assert Client().get(address.removeprefix(settings.PUBLIC_URL)).status_code == status


@pytest.mark.django_db
@pytest.mark.parametrize(("keep", "status"), [(True, 200), (False, 302)])
def test_who_is_signed_in_stays_so_while_the_key_is_kept(
    owner_client: Client, settings: Any, keep: bool, status: int
) -> None:
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY] if keep else []
    settings.SECRET_KEY = AFTER
    assert owner_client.get("/").status_code == status


@pytest.mark.django_db
@pytest.mark.parametrize(("keep", "status"), [(True, 200), (False, 400)])
def test_the_next_page_of_a_list_can_be_had_while_the_key_is_kept(
    owner_client: Client, settings: Any, keep: bool, status: int
) -> None:
    for number in range(2):
        data = {"name": f"Customer {number}"}
        made = owner_client.post(
            "/api/v1/customers", data, "application/json", headers={"Idempotency-Key": f"{number}"}
        )
        assert made.status_code == 201
    following = owner_client.get("/api/v1/customers?page_size=1").json()["next"].removeprefix(settings.PUBLIC_URL)
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = AFTER
    owner_client.get("/")  # the session goes over to the new key
    if not keep:
        settings.SECRET_KEY_FALLBACKS = []
    assert owner_client.get(following).status_code == status


def test_a_worker_does_not_start_with_a_passing_key() -> None:
    environment = {key: value for key, value in os.environ.items() if not key.startswith("BAYWRIGHT_")}
    environment["REDIS_URL"] = "redis://127.0.0.1:9/0"
    command = [sys.executable, "-m", "celery", "-A", "shared.background.celery_app", "worker", "-c", "1"]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode != 0
    assert "Set BAYWRIGHT_SECRET_KEY" in done.stdout + done.stderr


def ours() -> list[str]:
    app.loader.import_default_modules()
    return sorted(name for name in app.tasks if not name.startswith("celery."))


def test_there_are_two_celery_tasks_and_all_others_are_in_the_outbox() -> None:
    assert ours() == ["shared.tasks.run_due_tasks", "shared.tasks.run_task"]


@pytest.mark.parametrize("name", ["shared.tasks.run_due_tasks", "shared.tasks.run_task"])
def test_every_task_survives_its_worker_and_ends_before_it_is_handed_on(name: str) -> None:
    task, conf = app.tasks[name], app.conf
    # otherwise a task whose worker is killed counts as done
    assert task.acks_late
    assert task.reject_on_worker_lost
    assert task.ignore_result
    hard = task.time_limit or conf.task_time_limit
    soft = task.soft_time_limit or conf.task_soft_time_limit
    assert soft < hard < conf.broker_transport_options["visibility_timeout"] / 3
    # a running task is not started again
    assert hard <= JOB_LEASE.total_seconds()


def test_a_worker_takes_one_job_at_a_time_finishes_it_and_reads_nothing_but_json() -> None:
    conf = app.conf
    assert conf.worker_prefetch_multiplier == 1
    assert conf.worker_soft_shutdown_timeout == 10
    assert (conf.task_serializer, list(conf.accept_content)) == ("json", ["json"])
    options = conf.broker_transport_options
    # kombu looks for lost tasks every interval x throttle, by default 100 s
    assert options["unacked_restore_interval"] * options["unacked_restore_throttle"] <= 10
    assert conf.beat_schedule["run_due_tasks"]["schedule"] <= 10


def test_connections_are_looked_at_before_they_are_used_again() -> None:
    # without it the first request after a restart of PostgreSQL fails
    assert settings.DATABASES["default"]["CONN_HEALTH_CHECKS"]
