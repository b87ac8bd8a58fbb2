"""Clients that are silent, stop half-way, send very slowly or do not read the response. No other client waits for them."""

from __future__ import annotations

import socket
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from urllib.request import urlopen

import pytest

from shared.web import gunicorn_worker
from tests.faults.service import MAX_WAIT_S, ROOT, free_port, is_listening, wait_until

# where Gunicorn waits some seconds for a client, this application makes it wait ten minutes: the test then waits for ever
APPLICATION = """
from gunicorn import util
from gunicorn.workers import gthread

gthread.DEFAULT_WORKER_DATA_TIMEOUT = 600
close = util.close_graceful
util.close_graceful = lambda line: close(line, timeout=600)


def app(_, start):
    start("200 OK", [("Content-Length", "4")])
    return [b"here"]
"""
REQUEST = b"GET / HTTP/1.1\r\nHost: a.test\r\nConnection: close\r\n\r\n"


@dataclass
class Clock:
    """A clock that the test sets."""

    now: float = 0.0

    def monotonic(self) -> float:
        """Return the time in seconds."""
        return self.now


Ends = tuple[gunicorn_worker.TimedSocket, socket.socket]


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Return the clock of the worker."""
    clock = Clock()
    monkeypatch.setattr(gunicorn_worker, "time", SimpleNamespace(monotonic=clock.monotonic))
    return clock


@pytest.fixture
def ends(monkeypatch: pytest.MonkeyPatch, clock: Clock) -> Iterator[Ends]:
    """Yield the server's and the client's end of a connection. A request has 0.4 s, and 0.1 s more per 1,000 bytes."""
    monkeypatch.setattr(gunicorn_worker, "BEGUN_S", 0.4)
    monkeypatch.setattr(gunicorn_worker, "BYTES_PER_S", 10_000)
    ours, theirs = socket.socketpair()
    with gunicorn_worker.TimedSocket(fileno=ours.detach()) as server, theirs:
        server.setblocking(True)
        yield server, theirs


def test_a_client_that_stops_half_way_counts_as_disconnected(ends: Ends) -> None:
    server, client = ends
    client.sendall(b"POST")
    assert server.recv(100) == b"POST"
    assert server.recv(100) == b""  # waits for the rest of the 0.4 s


def test_bytes_that_come_after_the_time_are_not_read(ends: Ends, clock: Clock) -> None:
    server, client = ends
    client.sendall(b"POST")
    clock.now = 0.39
    assert server.recv(2) == b"PO"
    clock.now = 0.41
    assert server.recv(2) == b""


def test_a_client_that_sends_slowly_gets_only_the_time_for_its_bytes(ends: Ends, clock: Clock) -> None:
    server, client = ends
    count = 0
    while client.send(b"x") and server.recv(1):
        count += 1
        clock.now += 0.05
    assert count == 9, "0.4 s in steps of 0.05 s, and nearly nothing for the bytes"


def test_a_large_body_that_comes_steadily_has_the_time_it_needs(ends: Ends, clock: Clock) -> None:
    server, client = ends
    for _ in range(4):
        client.sendall(b"x" * 1_000)
        assert len(server.recv(2_000)) == 1_000
        clock.now += 0.12  # 0.48 s in all: more than the 0.4 s of an empty request, less than the 0.8 s of 4,000 bytes


def test_the_next_request_of_a_kept_connection_has_its_own_time(ends: Ends, clock: Clock) -> None:
    server, client = ends
    clock.now = 0.45
    client.sendall(b"GET")
    server.setblocking(True)
    assert server.recv(10) == b"GET"


def test_a_response_that_the_client_does_not_read_is_abandoned(ends: Ends, monkeypatch: pytest.MonkeyPatch) -> None:
    server, _ = ends
    server.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4_096)
    monkeypatch.setattr(gunicorn_worker, "BYTES_PER_S", 10_000_000)
    with pytest.raises(ConnectionResetError):
        server.sendall(b"x" * 1_000_000)


@pytest.fixture
def port(tmp_path: Path) -> Iterator[int]:
    """Yield the port of Gunicorn with one thread of our worker."""
    (tmp_path / "here.py").write_text(APPLICATION)
    free = free_port()
    options = [f"--bind=127.0.0.1:{free}", "--threads=1", "--keep-alive=600", "--log-level=error"]
    command = [sys.executable, "-m", "gunicorn", "here:app", f"--pythonpath={tmp_path},{ROOT}", *options]
    process = subprocess.Popen([*command, "--worker-class=shared.web.gunicorn_worker.Worker"], cwd=tmp_path)
    wait_until(lambda: is_listening(free), "gunicorn does not respond")
    yield free
    process.kill()
    process.wait()


def test_neither_silent_nor_lingering_clients_occupy_the_only_thread(port: int) -> None:
    clients = [socket.create_connection(("127.0.0.1", port)) for _ in range(20)]
    for client in clients[:10]:
        client.sendall(REQUEST)  # answered, and never closed by the client
    with urlopen(f"http://127.0.0.1:{port}/", timeout=MAX_WAIT_S) as response:
        assert response.read() == b"here"
    for client in clients:
        client.close()
