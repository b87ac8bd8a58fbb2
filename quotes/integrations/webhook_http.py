"""One HTTP POST to a checked address: pinned, no redirects, thirty seconds in all, the first 4 kB of the answer."""

from __future__ import annotations

import base64
import hashlib
import hmac
import http.client
import ipaddress
import secrets
import socket
import ssl
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from threading import Event, Thread

from fencing.model.faults import InvalidDocument
from quotes.integrations.webhook_targets import Resolve, Target, forbidden, resolve, target_of

SECONDS = 30.0
KEPT = 4_096
AGAIN_S = 0.1


@dataclass(frozen=True, slots=True)
class HttpResult:
    """``status`` is None if there was no answer; ``fault`` states the reason."""

    status: int | None
    body: str
    fault: str
    duration_ms: int
    retry_after: int | None = None

    @property
    def succeeded(self) -> bool:
        """Return whether the status is 2xx."""
        return self.status is not None and 200 <= self.status < 300


class _Pinned(http.client.HTTPConnection):
    """Connect to the checked address, even if the name resolves to another one now."""

    def __init__(self, target: Target, seconds: float) -> None:
        super().__init__(target.host, target.port, timeout=seconds)
        self._target = target

    def connect(self) -> None:
        self.sock = socket.create_connection((self._target.address, self._target.port), self.timeout)
        peer = ipaddress.ip_address(self.sock.getpeername()[0].split("%")[0])
        if forbidden(peer):
            raise OSError("the peer is not on the open internet")
        if self._target.secure:
            context = ssl.create_default_context()
            # set before the handshake, so that an endless handshake can be stopped
            self.sock = context.wrap_socket(self.sock, server_hostname=self._target.host, do_handshake_on_connect=False)
            self.sock.do_handshake()


def post(
    url: str, body: bytes, headers: Mapping[str, str], *, look_up: Resolve = resolve, seconds: float = SECONDS
) -> HttpResult:
    """Send ``body``. Errors of the other side are returned, not raised."""
    begun = time.monotonic()

    def answer(status: int | None, text: str = "", fault: str = "", retry_after: int | None = None) -> HttpResult:
        return HttpResult(status, text, fault[:300], int((time.monotonic() - begun) * 1000), retry_after)

    try:
        target = target_of(url, look_up)
    except InvalidDocument as refused:
        return answer(None, fault="; ".join(fault.text for fault in refused.faults))
    line = _Pinned(target, seconds)
    # a receiver that sends a byte each second never reaches a socket's time limit, but reaches this one
    done = Event()
    Thread(target=_cut_after, args=(line, seconds, done), daemon=True).start()
    try:
        line.request("POST", target.path, body, {**headers, "Connection": "close", "Accept-Encoding": "identity"})
        # closed here: an unread rest of a long answer would keep the connection open
        with line.getresponse() as response:
            text = response.read(KEPT).decode("utf-8", errors="replace").replace("\x00", "")
        if time.monotonic() - begun >= seconds:
            return answer(None, text, f"no whole answer within {seconds:.0f} s")
        return answer(response.status, text, retry_after=_seconds(response.getheader("Retry-After")))
    except (OSError, http.client.HTTPException, ValueError) as fault:
        late = time.monotonic() - begun >= seconds
        return answer(None, fault=f"no answer within {seconds:.0f} s" if late else f"{type(fault).__name__}: {fault}")
    finally:
        done.set()
        line.close()


def _cut_after(line: http.client.HTTPConnection, seconds: float, done: Event) -> None:
    """Close the connection after a time limit, repeatedly until the sender notices: it may be between two sockets."""
    done.wait(seconds)
    while not done.is_set():
        with suppress(OSError, AttributeError):
            line.sock.shutdown(socket.SHUT_RDWR)
        done.wait(AGAIN_S)


def _seconds(text: str | None) -> int | None:
    return min(int(text), 24 * 3600) if text and text.isascii() and text.isdigit() and len(text) < 9 else None


PREFIX = "whsec_"
_BYTES = 32


def new_secret() -> str:
    """Return a secret of 256 random bits."""
    return PREFIX + base64.b64encode(secrets.token_bytes(_BYTES)).decode()


def signed(secret: str, message: str, at: int, body: bytes) -> str:
    """Return one signature.

    >>> secret, message = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw", "msg_p5jXN8AQM9LWM0D4loKWxJek"
    >>> signed(secret, message, 1614265330, b'{"test": 2432232314}')
    'v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE='
    """
    key = base64.b64decode(secret.removeprefix(PREFIX))
    digest = hmac.new(key, f"{message}.{at}.".encode() + body, hashlib.sha256).digest()
    return f"v1,{base64.b64encode(digest).decode()}"


def signature_headers(keys: Sequence[str], message: str, at: int, body: bytes) -> dict[str, str]:
    """Return the three headers, with two signatures while a secret is replaced."""
    return {
        "webhook-id": message,
        "webhook-timestamp": str(at),
        "webhook-signature": " ".join(signed(secret, message, at, body) for secret in keys),
    }
