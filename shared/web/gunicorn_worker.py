"""Threaded Gunicorn worker with limits for slow clients: an idle connection does not occupy a thread.

``gunicorn shared.wsgi --worker-class=shared.web.gunicorn_worker.Worker``. A thread is used once a request begins to arrive. The
request then has ten seconds, and one second more for every 16 kB. The same applies to the response. After that the client counts
as disconnected.
"""

from __future__ import annotations

import errno
import selectors
import socket
import time
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from gunicorn.http import errors  # type: ignore[import-untyped]  # gunicorn has no types
from gunicorn.workers.gthread import TConn, ThreadWorker  # type: ignore[import-untyped]  # gunicorn has no types

from shared.web.complete_body import unread_of
from shared.web.server_errors import send_refusal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from concurrent.futures import Executor

BEGUN_S = 10.0
BYTES_PER_S = 16_384
STAYS_OPEN_OVER = 64 * 1024  # bytes of an unread body that gunicorn reads before it closes the connection


_CODES: Final[tuple[tuple[type[Exception], str], ...]] = (
    (errors.LimitRequestLine, "uri-too-long"),
    (errors.LimitRequestHeaders, "headers-too-large"),
    (errors.UnsupportedTransferCoding, "not-implemented"),
    (errors.ExpectationFailed, "expectation-failed"),
    (errors.ForbiddenProxyRequest, "forbidden"),
    (errors.InvalidResponseHeader, "internal"),
    (errors.InvalidResponseHeaderName, "internal"),
    (errors.ConfigurationProblem, "internal"),
    (errors.ParseException, "malformed"),
)


class TimedSocket(socket.socket):
    """Connection with time limits for the request and the response."""

    _begun = 0.0
    _taken = 0

    def setblocking(self, flag: bool) -> None:
        """Start the time of a request: Gunicorn sets ``True`` when a thread begins to read it."""
        self._begun, self._taken = time.monotonic(), 0
        super().setblocking(flag)

    def recv(self, bufsize: int, flags: int = 0, /) -> bytes:
        """Receive bytes; none if the client has disconnected or its time is over."""
        if self.gettimeout() == 0:
            return super().recv(bufsize, flags)
        left = self._begun + BEGUN_S + self._taken / BYTES_PER_S - time.monotonic()
        if left <= 0:
            return b""
        try:
            with self._within(left):
                data = super().recv(bufsize, flags)
        except TimeoutError:
            return b""
        self._taken += len(data)
        return data

    def sendall(self, data: Any, flags: int = 0, /) -> None:
        """Send all bytes, or raise ConnectionResetError if the client does not read them in time."""
        try:
            with self._within(BEGUN_S + len(data) / BYTES_PER_S):
                super().sendall(data, flags)
        except TimeoutError:
            raise ConnectionResetError(errno.ECONNRESET, "the response was not read in time") from None

    @contextmanager
    def _within(self, seconds: float) -> Iterator[None]:
        before = self.gettimeout()
        self.settimeout(seconds if before is None else min(seconds, before))
        try:
            yield
        finally:
            self.settimeout(before)


class TimedConnection(TConn):  # type: ignore[misc]  # as above
    """Connection that never waits in the worker's main thread when it is closed, because that thread accepts all others."""

    pool: Executor

    def close(self, graceful: bool = False) -> None:
        """Close the connection. Unread bytes must be read first, or the response may be lost: a thread does that."""
        if graceful and self.wait_for_data(0):
            self.pool.submit(super().close, graceful=True)
        else:
            super().close()


def closes_over_unread(application: Callable[..., Any]) -> Callable[..., Any]:
    """Wrap an application so that its response announces that the connection closes if the body was not read completely.

    Gunicorn reads at most 64 kB of such a body before it closes the connection, although the response kept it open.
    """

    def application_with_close(environ: dict[str, Any], start_response: Any) -> Any:
        def start(status: str, headers: list[tuple[str, str]], exc_info: Any = None) -> Any:
            write = start_response(status, headers, exc_info)
            if unread_of(environ) > STAYS_OPEN_OVER:
                start_response.__self__.force_close()  # gunicorn's Response, whose method this is
            return write

        return application(environ, start)

    return application_with_close


class Worker(ThreadWorker):  # type: ignore[misc]  # as above
    """Worker with time limits and problem documents; see the module."""

    wsgi: Callable[..., Any]
    log: Any

    def load_wsgi(self) -> None:
        """Load the application."""
        super().load_wsgi()
        self.wsgi = closes_over_unread(self.wsgi)

    def accept(self, listener: socket.socket) -> None:
        """Accept a connection and wait for its first byte without a thread."""
        try:
            accepted, client = listener.accept()
        except OSError as fault:
            if fault.errno not in (errno.EAGAIN, errno.ECONNABORTED):
                raise
            return
        line = TimedSocket(accepted.family, accepted.type, accepted.proto, fileno=accepted.detach())
        connection = TimedConnection(self.cfg, line, client, listener.getsockname())
        connection.pool, connection.timeout = self.tpool, time.monotonic() + self.cfg.keepalive
        self.nr_conns += 1
        self.pending_conns.append(connection)
        self.poller.register(line, selectors.EVENT_READ, partial(self.on_pending_socket_readable, connection))

    def handle_error(self, req: Any, client: Any, addr: Any, exc: Exception) -> None:
        """Answer a request that Gunicorn could not read or answer."""
        code = next((code for kind, code in _CODES if isinstance(exc, kind)), "internal")
        if code == "internal":
            self.log.error("Error handling request", exc_info=exc)
        else:
            self.log.warning("Refused a request from %s: %s", (addr or ("",))[0], exc)
        try:
            send_refusal(client, code)
        except OSError:
            self.log.debug("The client has disconnected.")
