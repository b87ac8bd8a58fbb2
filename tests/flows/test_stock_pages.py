"""The yard's pages: an item's moves, keeping some of it for a job by hand, and who may."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client

from quotes.purchasing.models import Reservation, StockItem, StockMovement
from quotes.purchasing.stock_services import add_stock
from shared.business.models import Person
from shared.models import Business
from tests.conftest import Cast
from tests.forms import press
from tests.quotes.purchasing.cast import component_of
from tests.quotes.quoting.cast import actor_of, new_job, stock_up

pytestmark = pytest.mark.django_db
SignIn = Callable[[Person], Client]


@pytest.fixture
def rails(business: Business) -> StockItem:
    stock_up(business)
    actor = actor_of(business)
    return add_stock(
        component=component_of(business, "rail"), quantity=Decimal(8), actor=actor, reason="Counted in spring"
    )


def test_some_is_kept_for_a_job_by_its_number_and_let_go_where_it_was_looked_at(
    rails: StockItem, business: Business, owner_client: Client
) -> None:
    job, _ = new_job(business)
    at = f"/stock/{rails.ref}"
    page = press(owner_client, at, {"do": "keep", "job": job.number.lower(), "quantity": "2,0"}, follow=True)
    assert f"Reserved for {job.number}" in page.content.decode()
    kept = Reservation.objects.of(business).get()
    assert (kept.job, kept.quantity) == (job, Decimal(2))
    answer = press(owner_client, at, {"status": "released", "at": "item"}, at=f"/reservations/{kept.ref}")
    assert answer["Location"] == at
    rails.refresh_from_db()
    assert rails.reserved == 0


def test_no_more_is_kept_than_is_free_and_what_was_typed_stays(
    rails: StockItem, business: Business, owner_client: Client
) -> None:
    job, _ = new_job(business)
    page = press(owner_client, f"/stock/{rails.ref}", {"do": "keep", "job": job.number, "quantity": "9"})
    assert page.status_code == 409
    assert "are available" in page.content.decode()
    assert 'value="9"' in page.content.decode()
    unknown = press(owner_client, f"/stock/{rails.ref}", {"do": "keep", "job": "J-nothing", "quantity": "1"})
    assert unknown.status_code == 422
    assert "There is no job J-nothing." in unknown.content.decode()
    assert not Reservation.objects.of(business).exists()


def test_every_movement_is_shown_even_if_nothing_is_left(rails: StockItem, owner_client: Client) -> None:
    press(owner_client, f"/stock/{rails.ref}", {"do": "take", "quantity": "8", "reason": "Sold to a neighbour"})
    page = owner_client.get(f"/stock/{rails.ref}").content.decode()
    assert "Counted in spring" in page
    assert "Sold to a neighbour" in page
    assert "+8" in page
    assert "−8" in page
    assert "Reserve for a job" not in page


def test_the_crew_has_no_stock_pages_and_strangers_find_nothing(
    rails: StockItem, cast: Cast, signed_in: SignIn, business: Business
) -> None:
    data = {"do": "take", "quantity": "1", "reason": "Mine"}
    assert signed_in(cast.crew).get(f"/stock/{rails.ref}").status_code == 403
    assert signed_in(cast.bookkeeper).post(f"/stock/{rails.ref}", data).status_code == 403
    assert signed_in(cast.stranger).post(f"/stock/{rails.ref}", data).status_code == 404
    assert StockMovement.objects.of(business).count() == 1
