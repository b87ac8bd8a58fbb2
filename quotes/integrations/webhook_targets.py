"""Allowed targets of webhooks, checked by the resolved address when saving and at every connection."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import SplitResult, urlsplit

from django.conf import settings

from fencing.model.faults import Fault, InvalidDocument

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Resolve = Callable[[str, int], list[str]]
PORTS = frozenset({443, 8443})
# the part of IPv6 for the open internet: all else is local, reserved or translated (fec0::/10, ::/96 ...)
_OPEN_6 = ipaddress.IPv6Network("2000::/3")
# ``is_global`` is wrong for these, or an old Python is: protocol assignments, NAT64, 6to4, Teredo and 6to4 relays
_INSIDE = [
    ipaddress.ip_network(net)
    for net in (
        "0.0.0.0/8", "10.0.0.0/8", "100.64.0.0/10", "127.0.0.0/8", "169.254.0.0/16", "172.16.0.0/12", "192.0.0.0/24",
        "192.0.2.0/24", "192.88.99.0/24", "192.168.0.0/16", "198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24",
        "224.0.0.0/3", "2001::/23", "2001:db8::/32", "2002::/16", "3fff::/20",
    )
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Target:
    """A checked address: connect to ``address``, speak to ``host``."""

    host: str
    port: int
    path: str
    address: str
    secure: bool


def loopback_allowed() -> bool:
    """Set only in the settings of tests; there is no environment variable for it."""
    return bool(getattr(settings, "WEBHOOKS_TO_LOOPBACK", False))


def forbidden(address: Address) -> bool:
    """Return whether an address is not on the open internet."""
    if isinstance(address, ipaddress.IPv6Address) and address.ipv4_mapped is not None:
        return forbidden(address.ipv4_mapped)
    if address.is_loopback and loopback_allowed():
        return False
    if isinstance(address, ipaddress.IPv6Address) and address not in _OPEN_6:
        return True
    inside = any(address.version == net.version and address in net for net in _INSIDE)
    return inside or not address.is_global or address.is_multicast or address.is_reserved


def resolve(host: str, port: int) -> list[str]:
    """Return every address of a name, as the system resolves it."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(item[4][0]) for item in found))


def target_of(url: str, look_up: Resolve = resolve) -> Target:
    """Return the target of a URL. Raise InvalidDocument for http, a password, a wrong port, an unknown or inside host."""
    parts = _parts(url)
    host, port = parts.hostname or "", parts.port or (443 if parts.scheme == "https" else 80)
    try:
        found = [ipaddress.ip_address(item.split("%")[0]) for item in look_up(host, port)]
    except (OSError, UnicodeError, ValueError):
        raise _refused("url.host", f"The host {host[:80]} does not exist. Check the address.") from None
    # one inside address is enough: the next look-up may return that one alone
    if not found or any(forbidden(item) for item in found):
        raise _refused("url.inside", "This leads to an address that is not on the open internet.")
    return Target(host, port, _path(parts), str(found[0]), parts.scheme == "https")


def _path(parts: SplitResult) -> str:
    return (parts.path or "/") + (f"?{parts.query}" if parts.query else "")


def _parts(url: str) -> SplitResult:
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise _refused("url", "Enter a valid address.") from None
    if not parts.hostname or not url.isascii() or any(char <= " " for char in url):
        raise _refused("url", "Enter an address such as https://example.com/hooks.")
    if parts.username is not None or parts.password is not None:
        raise _refused("url.password", "Enter an address without a password.")
    _refuse_plain(parts.scheme, port)
    return parts


def _refuse_plain(scheme: str, port: int | None) -> None:
    """Check that the URL has https and one of its ports. Tests may use http and any port on their own machine."""
    if loopback_allowed() and scheme == "http":
        return
    if scheme != "https":
        raise _refused("url.https", "Enter an address with https.")
    if port is not None and port not in PORTS and not loopback_allowed():
        raise _refused("url.port", f"Ports {', '.join(map(str, sorted(PORTS)))} are allowed.")


def _refused(code: str, text: str) -> InvalidDocument:
    return InvalidDocument([Fault("/url", code, text)])
