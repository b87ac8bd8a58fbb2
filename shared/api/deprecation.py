"""Response headers of deprecated addresses: since when, until when, and the address to use instead."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from django.conf import settings
from django.utils.http import http_date

NOTICE: Final = timedelta(days=90)
"""Minimum time between the announcement and the end."""
_log = logging.getLogger("baywright.deprecation")


@dataclass(frozen=True, slots=True)
class Deprecation:
    """End of an address: ``since`` and ``ends`` are times in UTC, ``instead`` is the address that replaces it, if any.

    Raises:
        ValueError: if ``ends`` is less than 90 days after ``since``, or a time is not in UTC.

    Source: RFC 9745 (Deprecation), RFC 8594 (Sunset), RFC 5829 (successor-version).
    """

    since: datetime
    ends: datetime
    instead: str = ""

    def __post_init__(self) -> None:
        if self.since.tzinfo is not UTC or self.ends.tzinfo is not UTC:
            raise ValueError("give both times in UTC")
        if self.ends - self.since < NOTICE:
            raise ValueError(f"an address ends at least {NOTICE.days} days after its announcement")

    def headers(self) -> Mapping[str, str]:
        """Return the response headers."""
        guide = f"{settings.PUBLIC_URL}/api/docs/"
        links = [f'<{guide}>; rel="deprecation"', f'<{guide}>; rel="sunset"']
        if self.instead:
            links.append(f'<{settings.PUBLIC_URL}{self.instead}>; rel="successor-version"')
        return {
            "Deprecation": f"@{int(self.since.timestamp())}",
            "Sunset": http_date(self.ends.timestamp()),
            "Link": ", ".join(links),
        }


def note_use(method: str, path: str, holder: str) -> None:
    """Log a call with its key, so that its owner can be notified before the address ends."""
    _log.info("deprecated", extra={"method": method, "path": path, "holder": holder})
