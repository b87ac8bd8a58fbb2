"""Callers that say nothing, stop half-way, drip or don't take their answer: each is let go, and nobody waits for them."""

from __future__ import annotations

import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.request import urlopen

import pytest

from shared.web import gunicorn_worker
from tests.faults.service import ROOT, _listens, free_port, until

HERE = """
def app(_, begin):
    begin("200 OK", [("Content-Length", "4")])
    return [b"here"]
"""
WHOLE = b"GET / HTTP/1.1\r\nHost: a.test\r\nConnection: close\r\n\r\n"


@pytest.fixture
def ends(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[gunicorn_worker.TimedSocket, socket.socket]]:
    """Our end of a connection, with four tenths of a second for a request and one more for 1,000 bytes, and the caller's."""
    monkeypatch.setattr(gunicorn_worker, "BEGUN_S", 0.4)
    monkeypatch.setattr(gunicorn_worker, "BYTES_PER_S", 10_000)
    ours, theirs = socket.socketpair()
    with gunicorn_worker.TimedSocket(fileno=ours.detach()) as line, theirs:
        line.setblocking(True)
        yield line, theirs


def test_who_stops_half_way_counts_as_hung_up(ends: tuple[gunicorn_worker.TimedSocket, socket.socket]) -> None:
    line, caller = ends
    caller.sendall(b"POST")
    assert line.recv(100) == b"POST"
    begun = time.monotonic()
    assert line.recv(100) == b""
    assert time.monotonic() - begun > 0.2


def test_dripping_wins_no_more_time_than_the_bytes_are_worth(
    ends: tuple[gunicorn_worker.TimedSocket, socket.socket],
) -> None:
    line, caller = ends
    drops = 0
    while caller.send(b"x") and line.recv(1):
        drops += 1
        time.sleep(0.05)
    assert drops <= 9, "four tenths of a second, in steps of a twentieth"


def test_much_that_comes_steadily_has_the_time_it_needs(
    ends: tuple[gunicorn_worker.TimedSocket, socket.socket],
) -> None:
    line, caller = ends
    for _ in range(4):
        caller.sendall(b"x" * 1_000)
        assert len(line.recv(2_000)) == 1_000
        time.sleep(0.12)  # 0.48 s in all: more than a request without bytes has, less than the 0.8 s of 4,000 bytes


def test_the_next_request_of_a_kept_line_has_its_own_time(
    ends: tuple[gunicorn_worker.TimedSocket, socket.socket],
) -> None:
    line, caller = ends
    time.sleep(0.45)
    caller.sendall(b"GET")
    line.setblocking(True)
    assert line.recv(10) == b"GET"


def test_an_answer_nobody_takes_is_given_up(
    ends: tuple[gunicorn_worker.TimedSocket, socket.socket], monkeypatch: pytest.MonkeyPatch
) -> None:
    line, _ = ends
    line.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4_096)
    monkeypatch.setattr(gunicorn_worker, "BYTES_PER_S", 10_000_000)
    with pytest.raises(ConnectionResetError):
        line.sendall(b"x" * 1_000_000)


@pytest.fixture
def port(tmp_path: Path) -> Iterator[int]:
    """Gunicorn with one thread of our worker in front of an application that says "here"."""
    (tmp_path / "here.py").write_text(
        "def app(_, begin):\n    begin('200 OK', [('Content-Length', '4')])\n    return [b'here']\n"
    )
    chosen = free_port()
    options = [f"--bind=127.0.0.1:{chosen}", "--threads=1", f"--pythonpath={tmp_path},{ROOT}", "--log-level=error"]
    command = [
        sys.executable,
        "-m",
        "gunicorn",
        "here:app",
        "--worker-class=shared.web.gunicorn_worker.Worker",
        *options,
    ]
    process = subprocess.Popen(command, cwd=tmp_path)
    until(lambda: _listens(chosen), 30, "gunicorn does not answer")
    yield chosen
    process.kill()
    process.wait()


def test_neither_silence_nor_lingering_takes_the_only_thread(port: int) -> None:
    held = [socket.create_connection(("127.0.0.1", port)) for _ in range(20)]
    for line in held[:10]:
        line.sendall(WHOLE)  # answered, and never closed by the caller
    begun = time.monotonic()
    with urlopen(f"http://127.0.0.1:{port}/", timeout=60) as answer:
        assert answer.read() == b"here"
    assert time.monotonic() - begun < 15, "each of the twenty held everybody up for two to five seconds"
    for line in held:
        line.close()
