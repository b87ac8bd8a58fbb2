"""Rate limits that are exact for concurrent requests: one atomic step in Redis, or in the database without Redis."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from django.conf import settings
from django.db import connection, models
from django.http import HttpRequest, HttpResponse

from shared.common.problems import Problem
from shared.web.page_errors import error_page

_STEP = """
local n = redis.call('INCR', KEYS[1])
if n == 1 then redis.call('PEXPIRE', KEYS[1], ARGV[1]) end
return n
"""
_UPSERT = """
INSERT INTO shared_ratewindow (name, starts, calls) VALUES (%s, %s, 1)
ON CONFLICT (name) DO UPDATE SET
  calls = CASE WHEN shared_ratewindow.starts = excluded.starts THEN shared_ratewindow.calls + 1 ELSE 1 END,
  starts = excluded.starts
RETURNING calls
"""

_REST_S = 5.0  # after a Redis that does not respond, the database counts for this time: not every call may wait for the timeout
_redis_down_until = 0.0


class RateWindow(models.Model):
    """Number of calls of a caller in the current window."""

    name = models.CharField(max_length=160, unique=True)
    starts = models.BigIntegerField()
    calls = models.PositiveIntegerField()

    def __str__(self) -> str:
        return self.name


@dataclass(frozen=True, slots=True)
class RateLimitStatus:
    """Number of calls of a caller, with its quota."""

    policy: str
    quota: int
    window_s: int
    calls: int
    resets_in_s: int

    @property
    def exceeded(self) -> bool:
        """Return whether this call is over the quota."""
        return self.calls > self.quota

    def headers(self) -> dict[str, str]:
        """Return RateLimit-Policy and RateLimit, as in the draft of the HTTPAPI working group."""
        left = max(0, self.quota - self.calls)
        data = {
            "RateLimit-Policy": f'"{self.policy}";q={self.quota};w={self.window_s}',
            "RateLimit": f'"{self.policy}";r={left};t={self.resets_in_s}',
        }
        return {**data, "Retry-After": str(self.resets_in_s)} if self.exceeded else data


def count(
    caller: str, *, policy: str = "default", quota: int | None = None, window_s: int | None = None
) -> RateLimitStatus:
    """Count a call of ``caller`` and return its status."""
    quota, window_s = quota or settings.RATE_QUOTA, window_s or settings.RATE_WINDOW_S
    now = int(time.time())
    starts = now - now % window_s
    name = f"{policy}:{caller}"[:160]
    calls = _in_redis(name, starts, window_s) if settings.REDIS_URL else _in_database(name, starts)
    return RateLimitStatus(policy, quota, window_s, calls, starts + window_s - now)


def refuse_flood(status: RateLimitStatus) -> None:
    """Raise 429 if the caller is over the quota."""
    if status.exceeded:
        raise Problem("quota-exceeded", headers=status.headers(), members={"violated-policies": [status.policy]})


def client_ip(request: HttpRequest) -> str:
    """Return the client's address. Only the entries of X-Forwarded-For that our own proxies wrote are trusted."""
    forwarded = [part.strip() for part in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if part.strip()]
    if settings.PROXIES and len(forwarded) >= settings.PROXIES:
        return str(forwarded[-settings.PROXIES])
    return str(request.META.get("REMOTE_ADDR", ""))


def _in_database(name: str, starts: int) -> int:
    with connection.cursor() as cursor:
        cursor.execute(_UPSERT, [name, starts])
        return int(cursor.fetchone()[0])


def _in_redis(name: str, starts: int, window_s: int) -> int:
    global _redis_down_until
    import redis  # imported here, because commands need only the model of this module

    if time.monotonic() < _redis_down_until:
        return _in_database(name, starts)
    try:
        return int(_redis(settings.REDIS_URL).eval(_STEP, 1, f"rate:{name}:{starts}", window_s * 1000))
    except redis.RedisError:
        _redis_down_until = time.monotonic() + _REST_S
        return _in_database(name, starts)  # without Redis the service runs on, with limits


@lru_cache
def _redis(url: str) -> Any:
    import redis

    return redis.Redis.from_url(url, socket_connect_timeout=0.5, socket_timeout=0.5)


def too_many(request: HttpRequest, seconds: int) -> HttpResponse:
    """Return the page that asks to wait."""
    minutes = math.ceil(seconds / 60)
    text = f"Wait {minutes} minute{'s' * (minutes > 1)}, then try again."
    response = error_page(request, 429, "Try again later", "Too many attempts", text)
    response["Retry-After"] = str(seconds)
    return response
