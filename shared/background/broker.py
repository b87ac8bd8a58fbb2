"""Celery's Redis transport, with a check of each message before the worker reads it.

Kombu parses whatever it takes from a list, and one entry that is not JSON ends the worker. Here such an entry is logged and
dropped. Nothing is lost: what has to be done is a row of the outbox, and the sweep finds it.
"""

from __future__ import annotations

import base64
import json
import logging
from collections.abc import Mapping
from typing import Any, Final

from kombu.transport import redis, virtual

_log = logging.getLogger("baywright.jobs")
_SHOWN: Final = 200
_HEADERS: Final[Mapping[str, tuple[type, ...]]] = {
    "task": (str,), "id": (str,), "retries": (int,), "eta": (type(None),), "expires": (type(None),),
    "shadow": (type(None),), "group": (type(None),),
}  # fmt: skip
"""The headers that a worker relies on, as we send them."""


def is_message(entry: bytes) -> bool:
    """Return whether an entry of the list is a message in the form in which we send ours.

    >>> is_message(b"nonsense"), is_message(b"{}"), is_message(b"[[[")
    (False, False, False)
    """
    try:
        message = json.loads(entry)
        headers, properties = message["headers"], message["properties"]
        where = properties["delivery_info"]
        arguments, named, _ = json.loads(base64.b64decode(message["body"], validate=True))
        texts = (properties["delivery_tag"], where["exchange"], where["routing_key"])
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


def _checked(answer: Any, **_: Any) -> tuple[bytes, bytes] | None:
    """Return the list and its entry; None, as from an empty list, for an entry that is not a message."""
    if not answer:
        return None
    name, entry = answer
    if is_message(entry):
        return name, entry
    _log.error("an entry of the broker's list is not a message, dropped", extra={"entry": repr(entry[:_SHOWN])})
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
        except self.channel.connection_errors:  # type: ignore[attr-defined]  # its stubs leave it out
            virtual.QoS.ack(self, delivery_tag)
            raise

    def reject(self, delivery_tag: str, requeue: bool = False) -> None:
        """Reject a message, and put it back into the list if ``requeue`` is set.

        Raises:
            ConnectionError: if Redis is down. The message no longer counts.
        """
        try:
            super().reject(delivery_tag, requeue=requeue)
        except self.channel.connection_errors:  # type: ignore[attr-defined]  # its stubs leave it out
            virtual.QoS.ack(self, delivery_tag)
            raise


class Channel(redis.Channel):
    """A channel whose client gives out whole messages only."""

    QoS = QoS

    def _create_client(self, asynchronous: bool = False) -> Any:
        client = super()._create_client(asynchronous)  # type: ignore[misc]  # its stubs leave it out
        client.set_response_callback("BRPOP", _checked)
        return client


class Transport(redis.Transport):
    """The transport that ``CELERY_BROKER_TRANSPORT`` names."""

    Channel = Channel
