"""Tests of the broker's transport: foreign entries are dropped, and a lost acknowledgement blocks no worker."""

from __future__ import annotations

import base64
import copy
import json
from typing import Any

import pytest
import redis
from kombu import Connection

from shared.background.celery_app import Transport, is_message
from tests.conftest import TEST_REDIS

SOUND: dict[str, Any] = {
    "body": base64.b64encode(json.dumps([[5], {}, {"callbacks": None}]).encode()).decode(),
    "content-encoding": "utf-8",
    "content-type": "application/json",
    "headers": {
        "task": "shared.tasks.run_task", "id": "f3775cfc", "shadow": None, "eta": None, "expires": None, "group": None,
        "retries": 0, "timelimit": [120, 96],
    },
    "properties": {
        "delivery_info": {"exchange": "", "routing_key": "celery"}, "body_encoding": "base64", "delivery_tag": "7eb8ec3f",
    },
}  # fmt: skip
GARBAGE = [
    b"", b"nonsense", b"\xff\xfe\x00", b"null", b"[]", b"{}", b'{"headers": {}, "properties": {}}', b"[" * 100_000, b"9" * 5_000,
]  # fmt: skip


def changed(*path: str, to: Any) -> bytes:
    message = copy.deepcopy(SOUND)
    at = message
    for step in path[:-1]:
        at = at[step]
    at[path[-1]] = to
    return json.dumps(message).encode()


BROKEN = [
    changed("body", to="not base64!"),
    changed("body", to=base64.b64encode(b"[1, 2]").decode()),
    changed("body", to=base64.b64encode(b'["five", {}, {}]').decode()),
    changed("headers", to=None),
    changed("headers", "task", to=7),
    changed("headers", "id", to=None),
    changed("headers", "eta", to="tomorrow"),
    changed("headers", "timelimit", to="soon"),
    changed("properties", "delivery_tag", to=None),
    changed("properties", "delivery_info", to={}),
    changed("content-type", to="application/x-python-serialize"),
]


def test_a_message_as_we_send_it_is_taken_and_everything_else_is_not() -> None:
    assert is_message(json.dumps(SOUND).encode())
    assert [entry[:60] for entry in [*GARBAGE, *BROKEN] if is_message(entry)] == []


@pytest.mark.redis
def test_what_the_service_sends_is_a_message(settings: Any) -> None:
    from shared.background.celery_app import app

    with redis.Redis.from_url(TEST_REDIS) as broker, Connection(TEST_REDIS) as line:
        broker.delete("checked")
        with line.Producer() as producer:
            app.send_task("shared.tasks.run_task", args=(5,), producer=producer, queue="checked", retry=False)
        entry = broker.rpop("checked")
    assert isinstance(entry, bytes)
    assert is_message(entry)


@pytest.mark.redis
@pytest.mark.parametrize("end", ["ack", "reject", "requeue"])
def test_a_message_stops_counting_even_if_redis_is_down_when_it_is_acknowledged(
    monkeypatch: pytest.MonkeyPatch, end: str
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise redis.ConnectionError("Connection refused.")

    with Connection(TEST_REDIS, transport=Transport) as line, line.Producer() as producer:
        channel: Any = line.default_channel
        channel.basic_qos(0, 1, False)
        line.SimpleQueue("slots").clear()
        producer.publish({"number": 1}, routing_key="slots")
        message = channel.basic_get("slots")
        assert not channel.qos.can_consume()
        monkeypatch.setattr(channel.qos, "_remove_from_indices", refuse)
        with pytest.raises(redis.ConnectionError):
            message.ack() if end == "ack" else message.reject(requeue=end == "requeue")
        assert channel.qos.can_consume()
