"""API keys: a fixed prefix, 30 random letters and digits, and a checksum that detects typing errors."""

from __future__ import annotations

import hashlib
import secrets
import zlib

LIVE = "bwl_"
TEST = "bwt_"
SHOWN = 12  # characters of a key that may be shown again
_BASE62 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
_RANDOM = 30
_CHECK = 6  # 62 ** 6 > 2 ** 32


def new_key(*, live: bool = True) -> str:
    """Return a new key."""
    start = (LIVE if live else TEST) + "".join(secrets.choice(_BASE62) for _ in range(_RANDOM))
    return start + _checksum(start)


def well_formed(key: str) -> bool:
    """Return whether a text has the form of a key. No database is needed.

    >>> well_formed("bwl_" + "0" * 36)
    False
    """
    if len(key) != len(LIVE) + _RANDOM + _CHECK or not key.startswith((LIVE, TEST)) or not key.isascii():
        return False
    return secrets.compare_digest(key[-_CHECK:], _checksum(key[:-_CHECK]))


def digest(key: str) -> str:
    """Return the stored hash of a key. A key has more than 112 random bits, so a plain hash is enough (ASVS 5.0, 6.5.2)."""
    return hashlib.sha256(key.encode()).hexdigest()


def _checksum(text: str) -> str:
    number = zlib.crc32(text.encode())
    digits = ""
    for _ in range(_CHECK):
        number, rest = divmod(number, 62)
        digits = _BASE62[rest] + digits
    return digits
