"""Problem responses (RFC 9457) for requests that the web server rejects before Django."""

from __future__ import annotations

import logging
import socket
from email.utils import formatdate
from http import HTTPStatus
from typing import Any, Final, cast
from wsgiref.simple_server import WSGIRequestHandler

import orjson
from django.core.servers import basehttp

from shared.common import request_id
from shared.common.problems import MEDIA_TYPE, Problem

_log = logging.getLogger("baywright.access")
_WAIT_S, _READ, _READS = 0.2, 65_536, 32
_DETAILS: Final = {"malformed": "This is not a well-formed HTTP/1.1 request."}
_CODES: Final = {414: "uri-too-long", 431: "headers-too-large", 500: "internal"}


def refusal(code: str) -> bytes:
    """Return a complete response that states the error, and write its access log line."""
    new_id = request_id.begin()
    problem = Problem(code, _DETAILS.get(code, ""))
    body = orjson.dumps(problem.document())
    head = {
        "Date": formatdate(usegmt=True),
        "Content-Type": MEDIA_TYPE,
        "Content-Length": str(len(body)),
        request_id.HEADER: new_id,
        "Connection": "close",
    }
    status = f"HTTP/1.1 {problem.status} {HTTPStatus(problem.status).phrase}"
    _log.info("request", extra={"method": "", "path": "", "status": problem.status, "ms": 0.0})
    return "\r\n".join([status, *(f"{name}: {value}" for name, value in head.items()), "", ""]).encode() + body


def send_refusal(connection: socket.socket, code: str) -> None:
    """Send the response, and read some of the remaining request: closing a connection with unread bytes may lose the response."""
    connection.settimeout(_WAIT_S)
    connection.sendall(refusal(code))
    connection.shutdown(socket.SHUT_WR)
    for _ in range(_READS):
        if not connection.recv(_READ):
            break


class ProblemHandler(basehttp.WSGIRequestHandler):
    """Request handler of Django's development server."""

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """Answer a request that cannot be parsed."""
        self.close_connection = True
        try:
            send_refusal(cast("socket.socket", self.connection), _CODES.get(code, "malformed"))
        except OSError:
            _log.debug("the client has disconnected")


class ProblemServer(basehttp.WSGIServer):
    """Development server that uses ``ProblemHandler``."""

    def __init__(self, address: Any, handler: type[WSGIRequestHandler], *args: Any, **options: Any) -> None:
        super().__init__(address, ProblemHandler, *args, **options)
