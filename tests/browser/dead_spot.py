"""A way to the live server that can be cut, as a phone loses its signal.

A browser's own "offline" switch does not reach every process: after a reload, what a service worker or the new page sends may
still get through. Cut here, nothing does.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from urllib.parse import urlsplit

from playwright.sync_api import BrowserContext


class Tunnel:
    """Passes connections on to ``server`` (``http://localhost:port``) from an address of its own, until it is cut."""

    def __init__(self, server: str) -> None:
        to = urlsplit(server)
        self._to = (to.hostname or "localhost", to.port or 80)
        self._door = socket.create_server(("127.0.0.1", 0))
        self._open = True
        self._ways: set[socket.socket] = set()
        self._lock = threading.Lock()
        self.url = f"http://localhost:{self._door.getsockname()[1]}"
        threading.Thread(target=self._receive, daemon=True).start()

    def _receive(self) -> None:
        with suppress(OSError):  # the connection was closed
            while True:
                near, _ = self._door.accept()
                with self._lock:
                    if not self._open:
                        near.close()
                        continue
                    far = socket.create_connection(self._to)
                    self._ways |= {near, far}
                for item, other in ((near, far), (far, near)):
                    threading.Thread(target=self._pass_on, args=(item, other), daemon=True).start()

    def _pass_on(self, one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while heard := one.recv(65536):
                other.sendall(heard)
        self._hang_up({one, other})

    def _hang_up(self, ways: set[socket.socket]) -> None:
        with self._lock:
            ours, self._ways = ways & self._ways, self._ways - ways
        for way in ours:
            with suppress(OSError):
                way.shutdown(socket.SHUT_RDWR)
            way.close()

    def cut(self, context: BrowserContext) -> None:
        """No signal: what is under way breaks off, nothing new gets through, and the browser knows that it is offline."""
        with self._lock:
            self._open = False
            ways = set(self._ways)
        self._hang_up(ways)
        context.set_offline(True)

    def restore(self, context: BrowserContext) -> None:
        """Bring the signal back."""
        with self._lock:
            self._open = True
        context.set_offline(False)

    def close(self) -> None:
        """Nothing is passed on any more."""
        with self._lock:
            self._open = False
            ways = set(self._ways)
        self._door.close()
        self._hang_up(ways)


@contextmanager
def tunnel(server: str) -> Iterator[Tunnel]:
    """Open a tunnel for one test."""
    way = Tunnel(server)
    try:
        yield way
    finally:
        way.close()
