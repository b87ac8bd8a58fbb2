"""Signatures of webhooks by Standard Webhooks 1.0.0: HMAC-SHA256 over id, time and body, one for each secret in use."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from collections.abc import Sequence

PREFIX = "whsec_"
_BYTES = 32
_FRESH_S = 300


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


def headers(keys: Sequence[str], message: str, at: int, body: bytes) -> dict[str, str]:
    """Return the three headers, with two signatures while a secret is replaced."""
    return {
        "webhook-id": message,
        "webhook-timestamp": str(at),
        "webhook-signature": " ".join(signed(secret, message, at, body) for secret in keys),
    }


def verified(secret: str, headers: dict[str, str], body: bytes, now: int) -> bool:
    """Return whether a received message has a valid signature and is at most five minutes old or new."""
    at = headers.get("webhook-timestamp", "")
    if not at.isdigit() or abs(now - int(at)) > _FRESH_S:
        return False
    expected = signed(secret, headers.get("webhook-id", ""), int(at), body)
    return any(hmac.compare_digest(expected, item) for item in headers.get("webhook-signature", "").split())
