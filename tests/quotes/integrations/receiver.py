"""A real receiver of webhooks on loopback: it checks signatures, answers challenges, and fails on request."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


@dataclass(slots=True)
class Receiver:
    """``got`` is every message but challenges: (headers, body). ``answers`` lists the next answers; then 204."""

    url: str = ""
    got: list[tuple[dict[str, str], bytes]] = field(default_factory=list)
    answers: list[Any] = field(default_factory=list)
    consents: bool = True

    def kinds(self) -> list[str]:
        """Types of the events that came."""
        return [json.loads(body)["type"] for _, body in self.got]


def _drip(handler: BaseHTTPRequestHandler) -> None:
    handler.wfile.write(b"HTTP/1.1 200 OK\r\nContent-Length: 100000\r\n\r\n")
    for _ in range(100):
        handler.wfile.write(b"x")
        handler.wfile.flush()
        time.sleep(0.1)


def _flood(handler: BaseHTTPRequestHandler) -> None:
    handler.wfile.write(b"HTTP/1.1 200 OK\r\nContent-Length: 104857600\r\n\r\n")
    block = b"y" * 65536
    for _ in range(1600):
        handler.wfile.write(block)


def _boast(handler: BaseHTTPRequestHandler) -> None:
    handler.wfile.write(b"HTTP/1.1 200 OK\r\n")
    for place in range(200):
        handler.wfile.write(b"X-%d: " % place + b"z" * 65_000 + b"\r\n")


SINS: dict[str, Callable[[BaseHTTPRequestHandler], None]] = {
    "drip": _drip,
    "flood": _flood,
    "headers": _boast,
    "slam": lambda handler: handler.connection.shutdown(socket.SHUT_RDWR),
}  # fmt: skip


def _handler(receiver: Receiver) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            data = json.loads(body)
            if data["type"] == "endpoint.challenge":
                word = data["data"]["challenge"] if receiver.consents else "no"
                self._say(200, word.encode())
                return
            receiver.got.append(({name.lower(): value for name, value in self.headers.items()}, body))
            answer = receiver.answers.pop(0) if receiver.answers else 204
            if isinstance(answer, str):
                with suppress(OSError):  # the sender hangs up, as it should
                    SINS[answer](self)
                self.close_connection = True
                return
            status, headers = answer if isinstance(answer, tuple) else (answer, {})
            self._say(status, b"", headers)

        def _say(self, status: int, body: bytes, headers: dict[str, str] | None = None) -> None:
            self.send_response(status)
            for name, value in (headers or {}).items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, format: str, *args: Any) -> None:
            return

    return Handler


@contextmanager
def receiving() -> Iterator[Receiver]:
    """A receiver on a free port of loopback."""
    receiver = Receiver()
    server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(receiver))
    server.daemon_threads = True
    receiver.url = f"http://127.0.0.1:{server.server_address[1]}/hooks"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield receiver
    finally:
        server.shutdown()
        server.server_close()
        thread.join(timeout=5)
