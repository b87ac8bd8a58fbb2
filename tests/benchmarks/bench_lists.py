"""What a list of 100 rows costs beside a bare Django view that answers the same bytes: python -m tests.benchmarks.bench_lists

CPU time of whole requests, called in-process as a server calls them, the two in turns, the best of several rounds. The bare view
runs through Django's six usual middlewares and nothing else. No time is asserted: the ratio says how much of the bar is used.
"""

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
os.environ.setdefault("BAYWRIGHT_LOG_LEVEL", "WARNING")
os.environ["DATABASE_URL"] = os.environ.get("BENCH_DATABASE_URL", "sqlite://:memory:")

import django

django.setup()

from django.conf import settings
from django.core.handlers.wsgi import WSGIHandler
from django.core.management import call_command
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.test.utils import CaptureQueriesContext, override_settings
from django.urls import path
import shared.urls
from catalogue.models import Component, PriceRule
from catalogue.starting import BEGINS, NewBusiness, start
from shared.business.roles import BUSINESS_SCOPES
from shared.business.services import issue_key

BAR = 12.0
MOST_QUERIES = 3
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


urlpatterns = [path("bare", bare), *shared.urls.urlpatterns]
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
        body = b"".join(handler(environ, lambda line, headers, fault=None: status.append(line)))
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


def measured(list_call: Call, bare_call: Call) -> tuple[float, float]:
    """Best of several rounds, in turns, so that both see the same machine."""
    rounds = [(cpu_ms(list_call), cpu_ms(bare_call)) for _ in range(ROUNDS)]
    return min(ours for ours, _ in rounds), min(theirs for _, theirs in rounds)


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
    print(f"{'list of 100':<14}{'kB':>7}{'ms':>8}{'bare ms':>9}{'ratio':>7}{'bar':>6}{'queries':>9}")
    for name in LISTS:
        call = caller(ours, f"/api/v1/{name}?page_size=100", key)
        _bytes = call()
        with CaptureQueriesContext(connection) as captured:
            call()
        own = sum("catalogue_" in query["sql"] for query in captured)
        bare_call = caller(plain, "/bare")
        mine, theirs = measured(call, bare_call)
        size = len(_bytes) / 1000
        print(
            f"{name:<14}{size:>7.1f}{mine:>8.2f}{theirs:>9.3f}{mine / theirs:>7.1f}{BAR:>6.0f}{own:>5} of {len(captured)}"
        )


if __name__ == "__main__":
    main()
