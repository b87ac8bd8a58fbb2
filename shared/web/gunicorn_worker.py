"""Gunicorn's worker with threads, for strangers who keep a line open: none of them keeps a thread.

``gunicorn shared.wsgi --worker-class=shared.web.gunicorn_worker.Worker``. A thread is given out once a request has begun to
arrive; from then on the whole of it has ten seconds and a second more for every 16 kB, and so has its answer. What is late counts
as hung up.
"""

from __future__ import annotations

import errno
import selectors
import socket
import time
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, Any

from gunicorn.workers.gthread import TConn, ThreadWorker  # type: ignore[import-untyped]  # gunicorn has no types

from shared.web.complete_body import unread_of
from shared.web.gunicorn_errors import ProblemErrorsMixin

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from concurrent.futures import Executor

BEGUN_S = 10.0
BYTES_PER_S = 16_384
STAYS_OPEN_OVER = 64 * 1024  # bytes of a body that gunicorn reads to its end when nobody else did


class TimedSocket(socket.socket):
    """A connection that says what it has to say in time, and takes its answer in time."""

    _begun = 0.0
    _taken = 0

    def setblocking(self, flag: bool) -> None:
        """Gunicorn's sign, by ``True``, that a thread begins with a request."""
        self._begun, self._taken = time.monotonic(), 0
        super().setblocking(flag)

    def recv(self, bufsize: int, flags: int = 0, /) -> bytes:
        """What comes; nothing, as when the other side hangs up, once the time for it is over."""
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
        """Sends all of it, or gives the other side up as gone."""
        try:
            with self._within(BEGUN_S + len(data) / BYTES_PER_S):
                super().sendall(data, flags)
        except TimeoutError:
            raise ConnectionResetError(errno.ECONNRESET, "the answer was not taken in time") from None

    @contextmanager
    def _within(self, seconds: float) -> Iterator[None]:
        before = self.gettimeout()
        self.settimeout(seconds if before is None else min(seconds, before))
        try:
            yield
        finally:
            self.settimeout(before)


class TimedConnection(TConn):  # type: ignore[misc]  # as above
    """Closing waits for nobody in the worker's main thread, which lets everybody else in."""

    pool: Executor

    def close(self, graceful: bool = False) -> None:
        """What is still unread has to be drained, or the answer may be lost with it: that is for a thread."""
        if graceful and self.wait_for_data(0):
            self.pool.submit(super().close, graceful=True)
        else:
            super().close()


def closes_over_unread(application: Callable[..., Any]) -> Callable[..., Any]:
    """Wrap an application so that an answer to a body that is not read to its end says that the connection closes.

    Gunicorn reads at most 64 kB of such a body before it closes, after an answer that promised to stay open.
    """

    def answering(environ: dict[str, Any], start_response: Any) -> Any:
        def start(status: str, headers: list[tuple[str, str]], exc_info: Any = None) -> Any:
            write = start_response(status, headers, exc_info)
            if unread_of(environ) > STAYS_OPEN_OVER:
                start_response.__self__.force_close()  # gunicorn's Response, whose method this is
            return write

        return application(environ, start)

    return answering


class Worker(ProblemErrorsMixin, ThreadWorker):  # type: ignore[misc]  # as above
    """See the head of this file."""

    wsgi: Callable[..., Any]

    def load_wsgi(self) -> None:
        super().load_wsgi()
        self.wsgi = closes_over_unread(self.wsgi)

    def accept(self, listener: socket.socket) -> None:
        """Lets a connection in to wait for its first byte where all the idle ones do."""
        try:
            accepted, caller = listener.accept()
        except OSError as fault:
            if fault.errno not in (errno.EAGAIN, errno.ECONNABORTED):
                raise
            return
        line = TimedSocket(accepted.family, accepted.type, accepted.proto, fileno=accepted.detach())
        connection = TimedConnection(self.cfg, line, caller, listener.getsockname())
        connection.pool, connection.timeout = self.tpool, time.monotonic() + self.cfg.keepalive
        self.nr_conns += 1
        self.pending_conns.append(connection)
        self.poller.register(line, selectors.EVENT_READ, partial(self.on_pending_socket_readable, connection))
