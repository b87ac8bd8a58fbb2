"""An address on its way out says so with every answer: since when, until when, and what to use instead."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from django.conf import settings
from django.utils.http import http_date

NOTICE: Final = timedelta(days=90)
"""Least time between the day it is told and the day it ends."""
_log = logging.getLogger("baywright.deprecation")


@dataclass(frozen=True, slots=True)
class Deprecation:
    """``since`` and ``ends`` are moments in UTC; ``instead`` is the address under the API that takes its place, if any.

    Raises:
        ValueError: less than 90 days from ``since`` to ``ends``, or a moment without a time zone.

    Source: RFC 9745 (Deprecation), RFC 8594 (Sunset), RFC 5829 (successor-version).
    """

    since: datetime
    ends: datetime
    instead: str = ""

    def __post_init__(self) -> None:
        if self.since.tzinfo is not UTC or self.ends.tzinfo is not UTC:
            raise ValueError("say both moments in UTC")
        if self.ends - self.since < NOTICE:
            raise ValueError(f"an address ends at least {NOTICE.days} days after that is told")

    def headers(self) -> Mapping[str, str]:
        """What an answer carries."""
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
    """One line of the log for each call, by whose key: who has to be told before the address ends."""
    _log.info("deprecated", extra={"method": method, "path": path, "holder": holder})
