"""Days and times are those of the place where the business is, written in one style by its locale."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.test import Client
from django.utils import timezone

from catalogue.models import PriceRule
from catalogue.rules.price_rule_lines import RuleKind
from catalogue.services import add_dated
from fencing.model.faults import InvalidDocument
from quotes.quoting.models import Party
from quotes.quoting.tasks import send_due_reminders
from shared.background import outbox, runner
from shared.background.events import publish_event
from shared.background.outbox import Event, on_event
from shared.business.actors import SYSTEM
from shared.business.models import Business
from shared.common.dates import dates_by, today, write_day, write_moment
from tests.forms import squeeze
from tests.quotes.quoting.cast import measure, sent, stock_up, token

MORNING = "2026-03-08T20:30:00Z"
"""09:30 on Monday 9 March 2026 in Auckland (UTC+13), 20:30 on Sunday in UTC."""
PACKAGES = ("shared", "catalogue", "quotes")


@pytest.fixture
def auckland(business: Business) -> Business:
    """Return the business in a time zone in which half of each day has another date than UTC."""
    business.time_zone = "Pacific/Auckland"
    business.save()
    return business


@pytest.fixture
def morning() -> Iterator[None]:
    with time_machine.travel(MORNING, tick=False):
        yield


def test_today_is_the_day_where_the_business_is(auckland: Business, owner_client: Client, morning: None) -> None:
    assert "Monday, 9 March 2026" in owner_client.get("/").content.decode()


def test_a_quote_of_30_days_has_30_days_left(auckland: Business, owner_client: Client, morning: None) -> None:
    stock_up(auckland)
    revision = sent(auckland, {}, measure(12000))
    assert revision.valid_until == date(2026, 4, 8)  # 9 March and 30 days
    assert "30 days left" in owner_client.get("/").content.decode()


def test_pages_write_days_and_times_by_the_businesss_clock(
    auckland: Business, owner_client: Client, morning: None
) -> None:
    stock_up(auckland)
    revision = sent(auckland, {}, measure(12000))
    page = owner_client.get(f"/revisions/{revision.ref}").content.decode()
    assert "Sent on 9 March 2026, 9:30" in page
    assert "valid until 8 April 2026" in page


def test_the_customer_reads_when_the_quote_was_issued(auckland: Business, morning: None) -> None:
    stock_up(auckland)
    revision = sent(auckland, {}, measure(12000))
    page = Client().get(f"/q/{token(revision, 'owner')}", follow=True).content.decode()
    assert "<dt>Issued on</dt><dd>9 March 2026</dd>" in squeeze(page)


def test_a_reminder_goes_three_days_before_the_last_day_where_the_business_is(
    auckland: Business, django_capture_on_commit_callbacks: Any
) -> None:
    with time_machine.travel(MORNING, tick=False):
        stock_up(auckland)
        revision = sent(auckland, {"validity_days": 10}, measure(12000))  # until 19 March
    # three days before is 16 March, which begins at 11:00 UTC on the 15th
    for moment, reminded in (("2026-03-15T10:59:00Z", False), ("2026-03-15T11:01:00Z", True)):
        with time_machine.travel(moment, tick=False):
            send_due_reminders()
        rows = Party.objects.of(auckland).filter(revision=revision)
        assert any(row.reminded_at for row in rows) is reminded


def test_a_job_works_by_the_clock_of_its_business(auckland: Business) -> None:
    seen: list[str] = []

    @on_event("clock.strike", name="test.note")
    def note(event: Event) -> None:
        seen.append(f"{timezone.get_current_timezone()} {write_day(date(2026, 3, 9))}")

    try:
        publish_event("clock.strike", "nine", business=auckland)
        runner.run_due_tasks()
    finally:
        outbox._handlers.pop("test.note")
    assert seen == ["Pacific/Auckland 9 March 2026"]
    assert timezone.get_current_timezone_name() == "UTC"


def test_the_api_works_by_the_clock_of_the_business_and_answers_in_utc(
    auckland: Business, owner_client: Client, morning: None
) -> None:
    key = {"name": "till", "scopes": ["jobs:read"], "expires_at": "2031-03-09T09:30:00+13:00"}
    response = owner_client.post("/api/v1/keys", key, content_type="application/json")
    assert response.status_code == 201
    assert response.json()["expires_at"] == "2031-03-08T20:30:00Z"


def test_a_price_of_yesterday_is_past_where_the_business_is(auckland: Business, morning: None) -> None:
    assert today(auckland) == date(2026, 3, 9)
    tax = {"value": Decimal(15), "option": "S", "label": "GST"}
    with pytest.raises(InvalidDocument, match="past"):
        add_dated(_tax_rounding(auckland), actor=SYSTEM, values={**tax, "valid_from": date(2026, 3, 8)})
    add_dated(_tax_rounding(auckland), actor=SYSTEM, values={**tax, "valid_from": date(2026, 3, 9)})


def _tax_rounding(business: Business) -> PriceRule:
    return PriceRule(business=business, kind=RuleKind.TAX, applies_to="standard")


@pytest.mark.parametrize(
    ("locale", "written"), [("en_NZ", "9 March 2026"), ("en_US", "March 9, 2026"), ("de-DE", "9. März 2026")]
)
def test_one_style_by_the_locale(locale: str, written: str) -> None:
    with dates_by("Pacific/Auckland", locale):
        assert write_day(date(2026, 3, 9)) == written
        assert write_moment(datetime(2026, 3, 8, 20, 30, tzinfo=UTC)).startswith(f"{written}, ")


# -- no other code reads the clock ----------------------------------------------------------
_OF_THE_MACHINE = {"localdate", "localtime", "utcnow", "utcfromtimestamp"}


def _calls_of_the_machines_day(tree: ast.AST) -> Iterator[int]:
    """Lines that ask for a day or a time without saying whose."""
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute | ast.Name)):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
        owner = ast.unparse(node.func.value) if isinstance(node.func, ast.Attribute) else ""
        machine = name in _OF_THE_MACHINE or (name in {"today", "now"} and owner.split(".")[-1] in {"date", "datetime"})
        if machine or (name == "date" and ("now" in owner or owner.endswith("_at"))):
            yield node.lineno


@pytest.mark.parametrize(
    "line",
    [
        "timezone.localdate()",
        "localdate()",
        "date.today()",
        "datetime.now()",
        "timezone.now().date()",
        "row.sent_at.date()",
    ],
)
def test_what_is_banned_is_found(line: str) -> None:
    assert list(_calls_of_the_machines_day(ast.parse(line))) == [1]


def test_nothing_asks_for_a_day_without_saying_whose() -> None:
    found = [
        f"{path.relative_to(settings.ROOT)}:{line}"
        for package in PACKAGES
        for path in sorted((settings.ROOT / package).rglob("*.py"))
        if path != settings.ROOT / "shared" / "common" / "dates.py"
        for line in _calls_of_the_machines_day(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert found == []


def test_no_template_has_a_style_of_its_own() -> None:
    own = re.compile(r"""\|(?:date|time)\b(?!:'Y-m-d')|\{%\s*now\b|\bUTC\b""")
    found = [
        f"{path.relative_to(settings.ROOT)}: {match.group()}"
        for package in PACKAGES
        for path in sorted((Path(settings.ROOT) / package).rglob("*.html"))
        if path.name != "index.html"  # of the API, whose times are in UTC
        for match in own.finditer(path.read_text(encoding="utf-8"))
    ]
    assert found == []
