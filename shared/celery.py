"""The Celery application. Its only tasks are in ``shared/tasks.py``: what has to be done is in the outbox."""

from __future__ import annotations

import os
from functools import cache
from typing import Any

from celery import Celery
from celery.signals import beat_init, worker_init
from django.conf import settings
from kombu.pools import producers

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")

app = Celery("baywright")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["shared"])

# a broker that hangs takes a connection and never answers: a worker may wait for it, a request that nudges must not
_PATIENCE = {"socket_connect_timeout": 0.5, "socket_timeout": 0.5, "max_retries": 0}


@cache
def nudgers() -> Any:
    """The producers that carry nudges; each gives a silent broker up after half a second."""
    return producers[app.connection_for_write(transport_options=_PATIENCE)]


@worker_init.connect
@beat_init.connect
def refuse_a_passing_key(**_: object) -> None:
    """A worker with a key of its own making would mail links that the web service cannot read."""
    if not settings.MAY_SERVE:
        # a signal's handler may only end the process: an exception would be logged and passed over
        raise SystemExit("Set BAYWRIGHT_SECRET_KEY for worker and web alike, or BAYWRIGHT_DEMO=1 to try things out.")


@worker_init.connect
def know_every_handler(**_: object) -> None:
    """Before the pool is forked, so that its children share what is loaded."""
    from shared.background.outbox import load_task_modules  # its tables need Django to be set up

    load_task_modules()
