"""Each step of a quote is entered once: a superseded revision is not counted twice, a cancelled one is subtracted."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.test import Client

from quotes.accounting.models import QuoteEntry
from quotes.accounting.order_posting import catch_up, lock_period
from quotes.jobs.models import Job, JobState
from quotes.jobs.services import move_job
from quotes.quoting.customer_responses import accept, decline, expire_if_due
from quotes.quoting.models import Revision
from quotes.quoting.services import revise, send
from shared.business.models import Person
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.accounting.test_books import FOREVER, read, rows_of, total
from tests.quotes.quoting.cast import PARTIES, actor_of, measure, sent, stock_up, token

pytestmark = pytest.mark.django_db
ALONE: dict[str, Any] = {"parties": PARTIES[:1]}
D = Decimal


@pytest.fixture
def yard(cast: Cast) -> Business:
    stock_up(cast.business)
    return cast.business


@pytest.fixture
def keeper(cast: Cast, signed_in: Callable[[Person], Client]) -> Client:
    return signed_in(cast.bookkeeper)


def accepted(revision: Revision) -> Revision:
    accept(token=token(revision, "owner"), name="Ada", content_sha256=revision.content_sha256)
    revision.refresh_from_db()
    return revision


def cancel(revision: Revision) -> Job:
    return move_job(job=revision.quote.job, to=JobState.CANCELLED, actor=actor_of(revision.business))


def resend(revision: Revision) -> Revision:
    actor = actor_of(revision.business)
    return send(revision=revise(quote=revision.quote, actor=actor), actor=actor)


def test_a_replaced_revision_is_quoted_once_and_every_row_has_its_state(yard: Business, keeper: Client) -> None:
    first = sent(yard, ALONE, measure(7200))
    catch_up(yard)
    second = resend(first)
    rows = rows_of(keeper, f"quotes-and-acceptances.csv?{FOREVER}")
    assert [(row["step"], row["revision"], row["status"]) for row in rows] == [
        ("quoted", "1", "superseded"),
        ("superseded", "1", "superseded"),
        ("quoted", "2", "sent"),
    ]
    assert total(rows, "quoted_total") == second.total
    [job] = rows_of(keeper, f"quotes-and-acceptances.csv?{FOREVER}&group_by=job")
    assert D(job["quoted_total"]) == second.total


def test_a_cancelled_job_is_neither_accepted_nor_sold_any_more(yard: Business, keeper: Client) -> None:
    revision = accepted(sent(yard, ALONE, measure(7200)))
    catch_up(yard)
    [margin] = rows_of(keeper, f"margins.csv?{FOREVER}")
    assert D(margin["sold"]) == revision.net
    cancel(revision)
    rows = rows_of(keeper, f"quotes-and-acceptances.csv?{FOREVER}")
    assert [(row["step"], row["status"]) for row in rows] == [
        ("quoted", "cancelled"),
        ("accepted", "cancelled"),
        ("cancelled", "cancelled"),
    ]
    assert total(rows, "quoted_total") == revision.total
    assert [total(rows, f"accepted_{name}") for name in ("net", "tax", "total")] == [0, 0, 0]
    [margin] = rows_of(keeper, f"margins.csv?{FOREVER}")
    assert [D(margin[name]) for name in ("sold", "planned_cost", "planned_margin", "planned_materials")] == [0] * 4


def test_variations_of_a_cancelled_job_are_taken_out_too(yard: Business, keeper: Client) -> None:
    offer = accepted(sent(yard, ALONE, measure(7200)))
    draft = revise(quote=offer.quote, actor=actor_of(yard))
    draft.setup = {**draft.setup, "extra_items": [{"label": "Hinge pins", "net": "50.00"}]}
    draft.save()
    accepted(send(revision=draft, actor=actor_of(yard)))
    catch_up(yard)
    cancel(offer)
    assert total(rows_of(keeper, f"quotes-and-acceptances.csv?{FOREVER}"), "accepted_net") == 0
    [margin] = rows_of(keeper, f"margins.csv?{FOREVER}")
    assert D(margin["sold"]) == 0


def test_a_job_that_is_agreed_again_after_it_was_cancelled_is_sold_once(yard: Business, keeper: Client) -> None:
    first = accepted(sent(yard, ALONE, measure(7200)))
    move_job(job=cancel(first), to=JobState.OPEN, actor=actor_of(yard))
    first.refresh_from_db()
    second = accepted(resend(first))  # nothing was entered until now
    catch_up(yard)
    catch_up(yard)
    [margin] = rows_of(keeper, f"margins.csv?{FOREVER}")
    assert D(margin["sold"]) == second.net
    assert total(rows_of(keeper, f"quotes-and-acceptances.csv?{FOREVER}"), "accepted_total") == second.total


def test_a_cancellation_is_entered_on_the_first_open_day_and_a_locked_month_stays(
    yard: Business, keeper: Client
) -> None:
    april = "from=2026-04-01&to=2026-04-30"
    with time_machine.travel(datetime(2026, 4, 20, 3, tzinfo=UTC), tick=False):
        revision = accepted(sent(yard, ALONE, measure(7200)))
    with time_machine.travel(datetime(2026, 5, 3, 3, tzinfo=UTC), tick=False):
        lock_period(business=yard, locked_through=date(2026, 5, 2), actor=actor_of(yard))
        names = ("quotes-and-acceptances.csv", "quotes-and-acceptances.xlsx", "margins.csv")
        before = {name: read(keeper, f"{name}?{april}") for name in names}
        with time_machine.travel(datetime(2026, 4, 30, 3, tzinfo=UTC), tick=False):
            cancel(revision)
        catch_up(yard)
        assert {name: read(keeper, f"{name}?{april}") for name in names} == before
        entry = QuoteEntry.objects.of(yard).get(what="cancelled")
        assert (entry.day, -entry.total) == (date(2026, 5, 3), revision.total)
        [row] = rows_of(keeper, "quotes-and-acceptances.csv?from=2026-05-01&to=2026-05-31")
        assert (row["status"], -D(row["accepted_total"])) == ("cancelled", revision.total)


def test_a_quote_without_a_yes_has_its_state_and_stays_quoted(yard: Business, keeper: Client) -> None:
    declined, lapsed, cancelled = (sent(yard, ALONE, measure(length)) for length in (2400, 4800, 7200))
    decline(token=token(declined, "owner"), name="Ada")
    later = datetime(2100, 1, 1, tzinfo=UTC)
    with time_machine.travel(later, tick=False):
        assert expire_if_due(lapsed, later)
    cancel(cancelled)
    rows = rows_of(keeper, "quotes-and-acceptances.csv?from=2000-01-01&to=2100-12-31")
    steps = {(row["quote"], row["step"], row["status"]) for row in rows}
    assert steps == {
        ("Q0001", "quoted", "declined"),
        ("Q0001", "declined", "declined"),
        ("Q0002", "quoted", "expired"),
        ("Q0002", "expired", "expired"),
        ("Q0003", "quoted", "cancelled"),
        ("Q0003", "cancelled", "cancelled"),
    }
    assert total(rows, "quoted_total") == sum(item.total or 0 for item in (declined, lapsed, cancelled))
    assert total(rows, "accepted_total") == 0
    assert rows_of(keeper, f"margins.csv?{FOREVER}") == []
