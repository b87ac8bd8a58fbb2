"""Benchmark of lists of 100 rows against a bare Django view with the same bytes: python -m tests.benchmarks.bench_lists

CPU time of whole requests, called in-process as a server calls them, in turns, the best of several rounds. The bare view is a
function that answers the bytes, behind six of the seven middlewares that Django sets up for a new project (there is no user to
find); it looks nothing up and logs nothing. What every call of the API costs (key, business, rate limit, log, entity tag) is
measured apart, with an endpoint that answers the same bytes: ``list`` is the whole without it, on top of the bare view. A deep
page is the five hundredth of ten rows, beside the first. No time is asserted: the ratio shows how much of the limit is used.
"""

# ruff: noqa: E402 - Django is set up before anything of ours is imported

from __future__ import annotations

import io
import json
import os
import time
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
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
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

import shared.urls
from catalogue.models import Component, PriceRule, Supplier
from catalogue.queries import suppliers
from catalogue.spreadsheets.sample_catalogue import BEGINS, NewBusiness, create_business
from quotes.jobs.models import MeasureVersion, StoredMeasure
from quotes.jobs.services import add_customer, add_site, open_job
from quotes.purchasing.models import StockItem, SupplierOrder
from quotes.quoting.models import Quote, Revision
from shared.api.endpoint import Endpoint
from shared.business.actors import SYSTEM
from shared.business.roles import BUSINESS_SCOPES, SUPPLIER_SCOPES, Scope
from shared.common.money import rounded
from shared.members.services import issue_key
from shared.models import Business, SupplierAccount

LIST_BAR, KERNEL_BAR, DEEP_BAR = 12.0, 5.0, 1.5
ROUNDS, CALLS = 30, 10
LISTS = (
    "components", "supplier-prices", "price-rules", "customers", "jobs", "quotes", "revisions", "orders", "stock",
    "supply/orders",
)  # fmt: skip
DEEP, DEEP_SIZE = 500, 10
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
        body = b"".join(handler(environ, lambda line, headers, fault=None: status.append(line)))  # type: ignore[arg-type]  # no caller writes with it
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


def more_rows(business: Business, supplier: Supplier) -> None:
    """At least 100 rows of everything that is listed."""
    numbers = range(100)
    Component.objects.of(business).bulk_create(
        [Component(business=business, sku=f"X{number}", name=f"Latch {number}", role="latch") for number in numbers]
    )
    PriceRule.objects.of(business).bulk_create(
        [
            PriceRule(business=business, kind="hire", applies_to=f"x{number}", value=Decimal(number), valid_from=BEGINS)
            for number in numbers
        ]
    )

    component = Component.objects.of(business)[0]
    for number in numbers:
        StockItem.objects.of(business).create(
            component=component, kind="offcut", length_mm=600 + number, quantity=Decimal(number + 1)
        )
        _trade(business, supplier, number)


def _trade(business: Business, supplier: Supplier, number: int) -> None:
    """A customer with a job, its quote with a draft, and an order that was placed, no two of a price."""
    customer = add_customer(
        business=business, actor=SYSTEM, name=f"Ada Quill {number}", email=f"ada.{number}@quill.example"
    )
    site = add_site(customer=customer, actor=SYSTEM, address=f"{number} Reed Lane", city="Tern Bay")
    job = open_job(customer=customer, site=site, label=f"Fence {number}", actor=SYSTEM)
    measure = StoredMeasure.objects.of(business).create(job=job, label="Fence")
    version = MeasureVersion.objects.of(business).create(
        measure=measure, number=1, document="{}", sha256="0" * 64, system="x"
    )
    quote = Quote.objects.of(business).create(job=job, number=f"Q{number:05}", latest_revision=1)
    net = Decimal(f"{1000 + 17 * number}.{number:02}")
    tax = rounded(Fraction(net) * 15 / 100, 2)
    Revision.objects.of(business).create(
        quote=quote, number=1, measure_version=version, net=net, tax=tax, total=net + tax, valid_until=BEGINS
    )
    SupplierOrder.objects.of(business).create(
        supplier=supplier, number=f"O{number:05}", currency="NZD", state="placed", placed_at=timezone.now(), goods=net, tax=tax,
        total=net + tax,
    )  # fmt: skip


def deep_page(handler: WSGIHandler, business: Any, key: str) -> tuple[Call, Call]:
    """The first page of a long list and one far down it."""
    Component.objects.of(business).bulk_create(
        [
            Component(business=business, sku=f"D{number}", name=f"Latch {number}", role="latch")
            for number in range(DEEP * DEEP_SIZE)
        ]
    )
    first = address = f"/api/v1/components?page_size={DEEP_SIZE}"
    for _ in range(DEEP - 1):
        address = json.loads(caller(handler, address, key)())["next"].partition("localhost:8000")[2]
    return caller(handler, first, key), caller(handler, address, key)


def main() -> None:
    """Prints one row for each list."""
    global _bytes
    call_command("migrate", verbosity=0)
    business, _ = create_business(
        NewBusiness("Bench Fencing", "owner@bench.example", "NZ", "NZD", tax_rate=Decimal(15))
    )
    account, supplier = SupplierAccount.objects.create(name="Dry Creek Steel"), suppliers(business)[0]
    Supplier.objects.of(business).filter(pk=supplier.pk).update(account=account)
    more_rows(business, supplier)
    _, key = issue_key(name="bench", scopes=BUSINESS_SCOPES, business=business, actor=SYSTEM)
    _, suppliers_key = issue_key(name="bench", scopes=SUPPLIER_SCOPES, supplier_account=account, actor=SYSTEM)
    settings.ROOT_URLCONF = __name__
    ours = WSGIHandler()
    with override_settings(MIDDLEWARE=SIX):
        plain = WSGIHandler()
    print(
        f"{'list of 100':<13}{'kB':>6}{'whole ms':>10}{'kernel ms':>11}{'bare ms':>9}{'list':>7}{'bar':>5}{'kernel':>8}{'bar':>5}"
    )
    for name in LISTS:
        call = caller(ours, f"/api/v1/{name}?page_size=100", suppliers_key if name.startswith("supply") else key)
        _bytes = call()
        whole, kernel, least = measured(call, caller(ours, "/api/v1/kernel", key), caller(plain, "/bare"))
        alone, added = (whole - kernel + least) / least, (kernel - least) / least
        row = f"{name:<13}{len(_bytes) / 1000:>6.1f}{whole:>10.2f}{kernel:>11.2f}{least:>9.3f}"
        print(f"{row}{alone:>7.1f}{LIST_BAR:>5.0f}{added:>8.1f}{KERNEL_BAR:>5.0f}")
    first, deep = measured(*deep_page(ours, business, key))
    print(
        f"page {DEEP} of components: {deep:.2f} ms, page 1: {first:.2f} ms, {deep / first:.2f} times; the bar is {DEEP_BAR}"
    )


if __name__ == "__main__":
    main()
