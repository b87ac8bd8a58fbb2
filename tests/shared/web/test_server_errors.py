"""Tests of problem responses to unparsable requests, over real sockets."""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from gunicorn.config import Config  # type: ignore[import-untyped]  # gunicorn has no types
from gunicorn.glogging import Logger  # type: ignore[import-untyped]  # as above
from gunicorn.workers.gthread import TConn  # type: ignore[import-untyped]  # as above

from shared.web.complete_body import whole
from shared.web.gunicorn_worker import Worker
from shared.web.server_errors import ProblemServer

ROOT = Path(__file__).resolve().parents[3]
GET = b"GET / HTTP/1.1\r\nHost: localhost\r\n"
Serve = Callable[[socket.socket, Any], None]


def _too_large(environ: dict[str, Any], start_response: Any) -> list[bytes]:
    """Refuses a body without reading any of it."""
    body = b'{"status": 413}'
    start_response("413 Content Too Large", [("Content-Length", str(len(body)))])
    return [body]


@pytest.fixture(scope="module")
def gunicorn() -> Iterator[Serve]:
    """One connection served as gunicorn serves it, with the settings of ``docker/gunicorn.conf.py`` that bear on it."""
    data: dict[str, Any] = {}
    exec((ROOT / "docker/gunicorn.conf.py").read_text(), data)  # noqa: S102 - as gunicorn reads it
    cfg = Config()
    for name in ("worker_class", "limit_request_line"):
        cfg.set(name, data[name])
    assert issubclass(cfg.worker_class, Worker)
    app = SimpleNamespace(wsgi=lambda: whole(_too_large))
    worker = cfg.worker_class(1, 1, [], app, 30, cfg, Logger(cfg))
    worker.load_wsgi()

    def serve(connection: socket.socket, address: Any) -> None:
        worker.handle(TConn(cfg, connection, address, address))

    yield serve
    worker.tmp.close()


@pytest.fixture(scope="module")
def djangos() -> Iterator[Serve]:
    """Return Django's development server, like ``manage.py serve``."""
    server = ProblemServer(("127.0.0.1", 0), None)  # type: ignore[arg-type]  # it brings its own
    server.set_app(lambda environ, start: [])
    yield lambda connection, address: server.finish_request(connection, address)
    server.server_close()


@contextmanager
def _served(serve: Serve) -> Iterator[socket.socket]:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        client = socket.create_connection(listener.getsockname(), timeout=10)
        connection, address = listener.accept()

    def work() -> None:
        with connection:
            serve(connection, address)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    with client:
        yield client
    thread.join(10)
    assert not thread.is_alive()


def _exchange(serve: Serve, sent: bytes) -> tuple[dict[str, str], dict[str, Any]]:
    answer = b""
    with _served(serve) as client:
        client.sendall(sent)
        while block := client.recv(65_536):
            answer += block
    head, _, body = answer.partition(b"\r\n\r\n")
    status, *lines = head.decode().split("\r\n")
    headers = dict(line.split(": ", 1) for line in lines)
    assert int(headers["Content-Length"]) == len(body)
    assert status.split(" ")[1] == str(json.loads(body)["status"])
    return headers, json.loads(body)


# RFC 9112: two spaces in a request line, a method with a bracket, an unknown version, a space before the colon, two lengths
REFUSED = [
    (b"GET /" + b"a" * 100_000 + b" HTTP/1.1\r\nHost: localhost\r\n\r\n", 414, "uri-too-long"),
    (GET + b"A: " + b"a" * 100_000 + b"\r\n\r\n", 431, "headers-too-large"),
    (GET + b"".join(b"A%d: a\r\n" % number for number in range(101)) + b"\r\n", 431, "headers-too-large"),
    (b"\r\nGARBAGE\r\n\r\n", 400, "malformed"),
    (b"GET / / HTTP/1.1\r\n\r\n", 400, "malformed"),
    (b"G[T / HTTP/1.1\r\n\r\n", 400, "malformed"),
    (b"GET / HTTP/9.1\r\n\r\n", 400, "malformed"),
    (GET + b"Content-Length : 1\r\n\r\n", 400, "malformed"),
    (GET + b"Content-Length: 1\r\nContent-Length: 2\r\n\r\n", 400, "malformed"),
    (GET + b"Transfer-Encoding: magic\r\n\r\n", 501, "not-implemented"),
    (GET + b"Expect: magic\r\n\r\n", 417, "expectation-failed"),
]


@pytest.mark.parametrize(("sent", "status", "code"), REFUSED)
def test_gunicorn_tells_what_it_can_not_parse_as_a_problem(
    gunicorn: Serve, sent: bytes, status: int, code: str
) -> None:
    headers, problem = _exchange(gunicorn, sent)
    assert headers["Content-Type"] == "application/problem+json"
    assert (problem["status"], problem["code"], problem["instance"]) == (
        status,
        code,
        f"urn:request:{headers['X-Request-Id']}",
    )


@pytest.mark.parametrize(("length", "connection"), [(11_000_000, "close"), (70_000, "close"), (1_000, "keep-alive")])
def test_an_answer_to_a_body_that_is_not_read_says_whether_the_connection_closes(
    gunicorn: Serve, length: int, connection: str
) -> None:
    headers, problem = _exchange(gunicorn, GET.replace(b"GET", b"POST") + b"Content-Length: %d\r\n\r\n" % length)
    assert (problem["status"], headers["Connection"]) == (413, connection)


@pytest.mark.parametrize(("sent", "status", "code"), [REFUSED[0], REFUSED[1], REFUSED[4], REFUSED[6]])
def test_so_does_the_server_for_trying_things_out(djangos: Serve, sent: bytes, status: int, code: str) -> None:
    headers, problem = _exchange(djangos, sent)
    assert (headers["Content-Type"], problem["status"], problem["code"]) == ("application/problem+json", status, code)
