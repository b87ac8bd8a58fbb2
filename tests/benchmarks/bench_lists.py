"""What a list of 100 rows costs beside a bare Django view that answers the same bytes: python -m tests.benchmarks.bench_lists

CPU time of whole requests, called in-process as a server calls them, in turns, the best of several rounds. The bare view runs
through Django's six usual middlewares and nothing else. What every call of the API costs (key, business, rate limit, log) is
measured apart, with an endpoint that answers the same bytes: ``list`` is the whole without it, on top of the bare view. No
time is asserted: the ratio says how much of the bar is used.
"""

# ruff: noqa: E402 - Django is set up before anything of ours is imported

from __future__ import annotations

import io
import os
import time
from collections.abc import Callable
from decimal import Decimal
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")
os.environ.setdefault("BAYWRIGHT_DEMO", "1")
os.environ.setdefault("BAYWRIGHT_RATE_QUOTA", "1000000")
os.environ.setdefault("BAYWRIGHT_LOG_LEVEL", "INFO")
os.environ["DATABASE_URL"] = os.environ.get("BENCH_DATABASE_URL", "sqlite://:memory:")

import django

django.setup()

from django.conf import settings
from django.core.handlers.wsgi import WSGIHandler
from django.core.management import call_command
from django.http import HttpRequest, HttpResponse
from django.test.utils import override_settings
from django.urls import path
from rest_framework.request import Request
from rest_framework.response import Response

import shared.urls
from catalogue.models import Component, PriceRule
from catalogue.starting import BEGINS, NewBusiness, start
from shared.api import Endpoint
from shared.business.roles import BUSINESS_SCOPES, Scope
from shared.business.services import issue_key

LIST_BAR, KERNEL_BAR = 12.0, 5.0
ROUNDS, CALLS = 7, 30
LISTS = ("components", "offers", "price-rules")
SIX = [
    "django.middleware.security.SecurityMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
_bytes = b""


def bare(request: HttpRequest) -> HttpResponse:
    """Answers the bytes it is given."""
    return HttpResponse(_bytes, content_type="application/json")


class Kernel(Endpoint):
    """Answers the bytes it is given, to who may."""

    scopes = {"GET": Scope.CATALOGUE_READ}

    def get(self, request: Request) -> Response:
        """Everything an endpoint does but the list."""
        return Response(_bytes)


urlpatterns = [path("bare", bare), path("api/v1/kernel", Kernel.as_view()), *shared.urls.urlpatterns]
Call = Callable[[], bytes]


def caller(handler: WSGIHandler, address: str, key: str = "") -> Call:
    """One request of one address, as a WSGI server makes it."""
    address, _, query = address.partition("?")

    def call() -> bytes:
        environ: dict[str, Any] = {
            "REQUEST_METHOD": "GET", "PATH_INFO": address, "QUERY_STRING": query, "SERVER_NAME": "localhost",
            "SERVER_PORT": "8000", "REMOTE_ADDR": "127.0.0.1", "wsgi.input": io.BytesIO(), "wsgi.url_scheme": "http",
            "SERVER_PROTOCOL": "HTTP/1.1", "wsgi.errors": io.StringIO(), "HTTP_AUTHORIZATION": f"Bearer {key}" if key else "",
        }  # fmt: skip
        status: list[str] = []
        body = b"".join(handler(environ, lambda line, headers, fault=None: status.append(line)))  # type: ignore[arg-type]  # nobody writes by it
        if not status[0].startswith("200"):
            raise RuntimeError(f"{address}: {status[0]} {body[:300]!r}")
        return body

    return call


def cpu_ms(call: Call) -> float:
    """CPU milliseconds of one call, over some."""
    start = time.process_time()
    for _ in range(CALLS):
        call()
    return (time.process_time() - start) * 1000 / CALLS


def measured(*calls: Call) -> list[float]:
    """Best of several rounds of each, in turns, so that all see the same machine."""
    rounds = [[cpu_ms(call) for call in calls] for _ in range(ROUNDS)]
    return [min(times) for times in zip(*rounds, strict=True)]


def more_rows(business: Any) -> None:
    """At least 100 rows of everything that is listed."""
    numbers = range(100)
    Component.objects.of(business).bulk_create(
        [Component(business=business, sku=f"X{number}", label=f"Latch {number}", role="latch") for number in numbers]
    )
    PriceRule.objects.of(business).bulk_create(
        [
            PriceRule(business=business, kind="hire", key=f"x{number}", amount=Decimal(number), valid_from=BEGINS)
            for number in numbers
        ]
    )


def main() -> None:
    """Prints one row for each list."""
    global _bytes
    call_command("migrate", verbosity=0)
    business, _ = start(NewBusiness("Bench Fencing", "owner@bench.example", "NZ", "NZD", tax_rate=Decimal(15)))
    more_rows(business)
    _, key = issue_key(name="bench", scopes=BUSINESS_SCOPES, business=business)
    settings.ROOT_URLCONF = __name__
    ours = WSGIHandler()
    with override_settings(MIDDLEWARE=SIX):
        plain = WSGIHandler()
    print(
        f"{'list of 100':<13}{'kB':>6}{'whole ms':>10}{'kernel ms':>11}{'bare ms':>9}{'list':>7}{'bar':>5}{'kernel':>8}{'bar':>5}"
    )
    for name in LISTS:
        call = caller(ours, f"/api/v1/{name}?page_size=100", key)
        _bytes = call()
        whole, kernel, least = measured(call, caller(ours, "/api/v1/kernel", key), caller(plain, "/bare"))
        alone, added = (whole - kernel + least) / least, (kernel - least) / least
        row = f"{name:<13}{len(_bytes) / 1000:>6.1f}{whole:>10.2f}{kernel:>11.2f}{least:>9.3f}"
        print(f"{row}{alone:>7.1f}{LIST_BAR:>5.0f}{added:>8.1f}{KERNEL_BAR:>5.0f}")


if __name__ == "__main__":
    main()
