"""Receivers of webhooks that attack or hang: no packet inside, no redirect, and an end within the time limit."""

from __future__ import annotations

import gzip
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db.models.functions import Now
from pytest_django import Settings

from quotes.integrations import tasks
from quotes.integrations.models import WebhookDelivery, WebhookEndpoint
from quotes.integrations.webhook_http import KEPT, HttpResult, new_secret, post
from quotes.integrations.webhooks import enqueue_test, resting_until
from shared.background import runner
from shared.models import Business, OutboxTask
from tests.quotes.integrations.receiver import receiving

PUBLIC = "93.184.215.14"
Speak = Callable[[socket.socket], None]


@pytest.fixture
def inside(settings: Any) -> None:
    """Loopback may be called: only a test's settings can say so."""
    settings.WEBHOOKS_TO_LOOPBACK = True


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Record every address of a connection attempt; no attempt succeeds."""
    tried: list[str] = []

    def connect(address: tuple[str, int], timeout: float) -> socket.socket:
        tried.append(address[0])
        raise ConnectionRefusedError

    monkeypatch.setattr(socket, "create_connection", connect)
    return tried


@pytest.mark.parametrize(
    "answers",
    [
        ["127.0.0.1"], [PUBLIC, "127.0.0.1"], ["10.0.0.1", PUBLIC], ["::1"], ["::ffff:127.0.0.1"], ["::127.0.0.1"],
        ["::ffff:a9fe:a9fe"], ["64:ff9b::7f00:1"], ["2002:7f00:1::"], ["fe80::1%eth0"], ["169.254.169.254"], ["0.0.0.1"],
        ["255.255.255.255"], ["100.64.0.1"], [],
    ],
    ids=str,
)  # fmt: skip
def test_a_name_that_turned_inside_since_it_was_saved_is_never_called(calls: list[str], answers: list[str]) -> None:
    answer = post("https://rebound.example/hooks", b"{}", {}, look_up=lambda host, port: answers)
    assert (answer.status, calls) == (None, [])
    assert answer.fault


def test_a_name_is_looked_up_once_and_what_was_judged_is_what_is_called(calls: list[str]) -> None:
    looks = iter([[PUBLIC], ["127.0.0.1"]])
    answer = post("https://rebound.example/hooks", b"{}", {}, look_up=lambda host, port: next(looks))
    assert (calls, answer.status) == ([PUBLIC], None)
    assert list(looks) == [["127.0.0.1"]]  # no second look-up


@pytest.mark.parametrize(
    "host",
    [
        "127.0.0.1", "2130706433", "0x7f000001", "0x7f.1", "017700000001", "127.1", "0", "localhost", "localhost.",
        "[::1]", "[::ffff:127.0.0.1]", "[::ffff:7f00:1]", "[0:0:0:0:0:ffff:127.0.0.1]",
    ],
)  # fmt: skip
def test_loopback_by_any_spelling_is_never_called(calls: list[str], host: str) -> None:
    # by the system's own resolver
    assert post(f"https://{host}/hooks", b"{}", {}).status is None
    assert calls == []


def test_who_answers_from_inside_all_the_same_gets_nothing_said(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    connect, received = socket.create_connection, list[bytes]()

    def listen(line: socket.socket) -> None:
        received.append(line.recv(100))

    with speaking(listen) as port:
        # as where a rule of the network bends an outer address inwards
        monkeypatch.setattr(socket, "create_connection", lambda address, timeout: connect(("127.0.0.1", port), timeout))
        answer = post("https://rebound.example/hooks", b"{}", {}, look_up=lambda host, port: [PUBLIC])
    assert (answer.status, answer.fault) == (None, "OSError: the peer is not on the open internet")
    assert received in ([], [b""])


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_not_followed(inside: None, status: int) -> None:
    with receiving() as canary, receiving() as receiver:
        receiver.answers = [(status, {"Location": canary.url, "Refresh": f"0; url={canary.url}"})]
        assert post(receiver.url, b'{"type":"x"}', {}).status == status
        assert (len(receiver.got), canary.got) == (1, [])


@contextmanager
def speaking(speak: Speak) -> Iterator[int]:
    """A port of loopback that sends the output of ``speak`` to each connection."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            with suppress(OSError):
                line, _ = server.accept()
                with line:
                    speak(line)

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        yield server.getsockname()[1]
        with suppress(OSError):
            server.shutdown(socket.SHUT_RDWR)
    thread.join(timeout=5)


def dripping(begin: bytes, drop: bytes) -> Speak:
    """Says ``begin``, then a drop ten times a second, until it is hung up on."""

    def speak(line: socket.socket) -> None:
        line.sendall(begin)
        for _ in range(200):
            line.sendall(drop)
            time.sleep(0.1)

    return speak


def silent(line: socket.socket) -> None:
    """Read everything and send nothing."""
    while line.recv(65_536):
        pass


BOMB = gzip.compress(bytes(20_000_000))
SINS: dict[str, tuple[str, Speak]] = {
    "a handshake a byte at a time": ("https", dripping(b"\x16\x03\x03\x40\x00\x02\x00\x3f\xfc\x03\x03", b"\x00")),
    "silence in the handshake": ("https", silent),
    "a status line a byte at a time": ("http", dripping(b"HTTP/1.1 ", b"2")),
    "a header a byte at a time": ("http", dripping(b"HTTP/1.1 200 OK\r\nX-Long: ", b"x")),
    "headers without end": ("http", dripping(b"HTTP/1.1 200 OK\r\n", b"X: y\r\n")),
    "a body a byte at a time": ("http", dripping(b"HTTP/1.1 200 OK\r\nContent-Length: 9999\r\n\r\n", b"x")),
    "chunks a byte at a time": ("http", dripping(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n", b"1\r\nx\r\n")),
    "for ever to be continued": ("http", dripping(b"", b"HTTP/1.1 100 Continue\r\n\r\n")),
    "silence": ("http", silent),
}  # fmt: skip


@pytest.mark.timeout(120)  # only this limit ends these
@pytest.mark.parametrize("sin", SINS)
def test_whatever_a_slow_receiver_does_it_is_cut_off_in_time(inside: None, sin: str) -> None:
    scheme, speak = SINS[sin]
    with speaking(speak) as port:
        answer = post(f"{scheme}://127.0.0.1:{port}/hooks", b"{}", {}, seconds=0.7)
    assert answer.status is None
    assert "within" in answer.fault, "our own limit ended it: the receiver would have gone on"
    assert len(answer.body) <= KEPT


def test_a_bomb_is_kept_packed_and_only_its_beginning(inside: None) -> None:
    def speak(line: socket.socket) -> None:
        line.recv(65_536)
        line.sendall(b"HTTP/1.1 200 OK\r\nContent-Encoding: gzip\r\nContent-Length: %d\r\n\r\n" % len(BOMB) + BOMB)

    with speaking(speak) as port:
        answer = post(f"http://127.0.0.1:{port}/hooks", b"{}", {}, seconds=5)
    assert answer.status == 200
    assert len(answer.body) <= KEPT < len(BOMB)


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


@pytest.mark.django_db
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


@pytest.mark.django_db
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


@pytest.mark.django_db
def test_one_that_fails_is_tried_by_one_at_a_time_and_one_that_works_by_all(endpoint: WebhookEndpoint) -> None:
    assert [resting_until(endpoint, NOON) for _ in range(2)] == [None, None]
    endpoint.failing_since = NOON - timedelta(minutes=1)
    endpoint.save()
    assert resting_until(endpoint, NOON) is None
    assert resting_until(endpoint, NOON) == NOON + timedelta(seconds=30)


@pytest.mark.django_db
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


@pytest.mark.django_db
def test_quick_failures_give_the_turn_on_at_once(endpoint: WebhookEndpoint, monkeypatch: pytest.MonkeyPatch) -> None:
    sent = sending(monkeypatch, FAILS)
    with time_machine.travel(NOON, tick=False):
        for _ in range(3):
            enqueue_test(endpoint)
    run_due(NOON)
    assert len(sent) == 3


@pytest.mark.django_db
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
