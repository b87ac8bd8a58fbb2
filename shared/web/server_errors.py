"""What a web server refuses before Django hears of it, told as a problem like everything else (RFC 9457)."""

from __future__ import annotations

import logging
import socket
from email.utils import formatdate
from http import HTTPStatus
from typing import Any, Final, cast
from wsgiref.simple_server import WSGIRequestHandler

import orjson
from django.core.servers import basehttp

from shared.api.problems import MEDIA_TYPE, Problem
from shared.web import request_id

_log = logging.getLogger("baywright.access")
_WAIT_S, _READ, _READS = 0.2, 65_536, 32
_TOLD: Final = {"malformed": "This is no well-formed request of HTTP/1.1."}
_CODES: Final = {414: "uri-too-long", 431: "headers-too-large", 500: "internal"}


def refusal(code: str) -> bytes:
    """A whole answer that says why nothing of the request was looked at, and the access line that goes with it."""
    chosen = request_id.begin()
    problem = Problem(code, _TOLD.get(code, ""))
    body = orjson.dumps(problem.document())
    head = {
        "Date": formatdate(usegmt=True),
        "Content-Type": MEDIA_TYPE,
        "Content-Length": str(len(body)),
        request_id.HEADER: chosen,
        "Connection": "close",
    }
    status = f"HTTP/1.1 {problem.status} {HTTPStatus(problem.status).phrase}"
    _log.info("request", extra={"method": "", "path": "", "status": problem.status, "ms": 0.0})
    return "\r\n".join([status, *(f"{name}: {value}" for name, value in head.items()), "", ""]).encode() + body


def send_refusal(connection: socket.socket, code: str) -> None:
    """Sends the answer and takes in some of what is still being sent: a connection closed over unread bytes loses both."""
    connection.settimeout(_WAIT_S)
    connection.sendall(refusal(code))
    connection.shutdown(socket.SHUT_WR)
    for _ in range(_READS):
        if not connection.recv(_READ):
            break


class ProblemHandler(basehttp.WSGIRequestHandler):
    """Django's own server, for trying things out."""

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """What can't be parsed: too long, or no HTTP."""
        self.close_connection = True
        try:
            send_refusal(cast("socket.socket", self.connection), _CODES.get(code, "malformed"))
        except OSError:
            _log.debug("nobody waits for the refusal")


class ProblemServer(basehttp.WSGIServer):
    """Makes every connection a ``ProblemHandler``."""

    def __init__(self, address: Any, handler: type[WSGIRequestHandler], *args: Any, **options: Any) -> None:
        super().__init__(address, ProblemHandler, *args, **options)
