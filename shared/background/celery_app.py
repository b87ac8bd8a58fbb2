"""Celery application, and its Redis transport with a check of each message before the worker reads it.

The only tasks are in ``shared/tasks.py``; the outbox stores what has to be done. Kombu parses every entry of a list, and an
entry that is not JSON ends the worker. Here such an entry is logged and dropped. No task is lost, because the outbox stores the
tasks and the worker looks for due ones.
"""

from __future__ import annotations

import base64
import json
import logging
import os
from collections.abc import Mapping
from functools import cache
from typing import Any, Final

from celery import Celery
from celery.signals import beat_init, worker_init
from django.conf import settings
from kombu.pools import producers
from kombu.transport import redis, virtual

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")

app = Celery("baywright")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["shared"])

# a broker that hangs accepts connections and never responds: a worker may wait for it, a request must not
_PATIENCE = {"socket_connect_timeout": 0.5, "socket_timeout": 0.5, "max_retries": 0}


@cache
def message_producers() -> Any:
    """Return the producers that send messages. They wait at most half a second for the broker."""
    return producers[app.connection_for_write(transport_options=_PATIENCE)]


@worker_init.connect
@beat_init.connect
def reject_generated_key(**_: object) -> None:
    """End the process if its secret key is generated: it would e-mail links that the web service cannot read."""
    if not settings.MAY_SERVE:
        # end the process, because Celery only logs exceptions of signal handlers
        raise SystemExit(
            "Set BAYWRIGHT_SECRET_KEY, the same for worker and web, or BAYWRIGHT_DEMO=1 for a demonstration."
        )


@worker_init.connect
def load_handlers(**_: object) -> None:
    """Import all handlers before the pool is forked, so that its processes share them."""
    from shared.background.outbox import load_task_modules  # its models need Django to be set up

    load_task_modules()


_log = logging.getLogger("baywright.jobs")
_MAX_LOGGED: Final = 200
_HEADERS: Final[Mapping[str, tuple[type, ...]]] = {
    "task": (str,), "id": (str,), "retries": (int,), "eta": (type(None),), "expires": (type(None),),
    "shadow": (type(None),), "group": (type(None),),
}  # fmt: skip
"""Headers that a worker needs, with their types."""


def is_message(entry: bytes) -> bool:
    """Return whether an entry of the list is a message in the form in which we send ours.

    >>> is_message(b"nonsense"), is_message(b"{}"), is_message(b"[[[")
    (False, False, False)
    """
    try:
        message = json.loads(entry)
        headers, properties = message["headers"], message["properties"]
        delivery = properties["delivery_info"]
        arguments, named, _ = json.loads(base64.b64decode(message["body"], validate=True))
        texts = (properties["delivery_tag"], delivery["exchange"], delivery["routing_key"])
        limits = headers.get("timelimit") or [None, None]
        fits = all(isinstance(headers.get(name), kinds) for name, kinds in _HEADERS.items())
        form = (message["content-type"], message["content-encoding"], properties["body_encoding"])
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return False
    return (
        fits
        and form == ("application/json", "utf-8", "base64")
        and all(isinstance(text, str) for text in texts)
        and isinstance(arguments, list)
        and isinstance(named, dict)
        and isinstance(limits, list)
        and len(limits) == 2
        and all(limit is None or isinstance(limit, int | float) for limit in limits)
    )


def _drop_invalid(reply: Any, **_: Any) -> tuple[bytes, bytes] | None:
    """Return the list and its entry; None, as from an empty list, for an entry that is not a message."""
    if not reply:
        return None
    name, entry = reply
    if is_message(entry):
        return name, entry
    _log.error("an entry of the broker's list is not a message, dropped", extra={"entry": repr(entry[:_MAX_LOGGED])})
    return None


class QoS(redis.QoS):
    """Count of unacknowledged messages that decreases even if Redis is down when a message is acknowledged.

    Kombu first deletes the message in Redis and then decreases the count. If the first step fails, the count stays, and a
    worker that works on one message at a time never reads the list again.

    The message may be delivered a second time. That has no effect: its row of the outbox is done.
    """

    def ack(self, delivery_tag: str) -> None:
        """Acknowledge a message.

        Raises:
            ConnectionError: if Redis is down. The message no longer counts.
        """
        try:
            super().ack(delivery_tag)
        except self.channel.connection_errors:  # type: ignore[attr-defined]  # missing in its stubs
            virtual.QoS.ack(self, delivery_tag)
            raise

    def reject(self, delivery_tag: str, requeue: bool = False) -> None:
        """Reject a message, and put it back into the list if ``requeue`` is set.

        Raises:
            ConnectionError: if Redis is down. The message no longer counts.
        """
        try:
            super().reject(delivery_tag, requeue=requeue)
        except self.channel.connection_errors:  # type: ignore[attr-defined]  # missing in its stubs
            virtual.QoS.ack(self, delivery_tag)
            raise


class Channel(redis.Channel):
    """Channel whose client returns only valid messages."""

    QoS = QoS

    def _create_client(self, asynchronous: bool = False) -> Any:
        client = super()._create_client(asynchronous)  # type: ignore[misc]  # missing in its stubs
        client.set_response_callback("BRPOP", _drop_invalid)
        return client


class Transport(redis.Transport):
    """Transport for the setting ``CELERY_BROKER_TRANSPORT``."""

    Channel = Channel
