"""Tests of the Celery settings: no task is lost or repeated, and a worker without a secret key does not start."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from django.conf import settings

from shared.background.celery_app import app
from shared.settings import JOB_LEASE


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
