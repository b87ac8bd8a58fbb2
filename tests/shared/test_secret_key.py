"""A changed secret key: what the key before it signed stays valid while that key is among the fallbacks, and no longer."""

from __future__ import annotations

from typing import Any

import pytest
from django.core import mail
from django.test import Client

from quotes.quoting.customer_responses import link_of
from quotes.quoting.emails import reminder_letter
from quotes.quoting.models import Revision, SignedLink
from quotes.quoting.signed_links import LostKeyError, address_of
from shared.business.models import Business, Member
from shared.members import invitations
from tests.conftest import Cast
from tests.quotes.quoting.cast import sent, stock_up

pytestmark = pytest.mark.django_db
BEFORE, AFTER = "b" * 50, "a" * 50


@pytest.fixture
def link(business: Business, settings: Any) -> SignedLink:
    settings.SECRET_KEY = BEFORE
    stock_up(business)
    revision: Revision = sent(business)
    return SignedLink.objects.of(business).filter(revision=revision).select_related("party", "revision", "business")[0]


def change_key(settings: Any, *, keep: bool) -> None:
    settings.SECRET_KEY = AFTER
    settings.SECRET_KEY_FALLBACKS = [BEFORE] if keep else []


def test_a_letter_written_after_the_key_was_changed_has_the_address_of_the_first(
    link: SignedLink, settings: Any
) -> None:
    mailed = address_of(link)
    change_key(settings, keep=True)
    assert address_of(link) == mailed
    assert mailed in str(reminder_letter(link).body)
    assert link_of(mailed.rpartition("/")[2]) == link
    assert Client().get(mailed.removeprefix(settings.PUBLIC_URL), follow=True).status_code == 200


def test_without_the_key_before_it_no_letter_with_a_dead_address_is_written(link: SignedLink, settings: Any) -> None:
    change_key(settings, keep=False)
    with pytest.raises(LostKeyError, match="BAYWRIGHT_SECRET_KEY_FALLBACKS"):
        address_of(link)
    assert mail.outbox == []


@pytest.mark.parametrize(("keep", "status"), [(True, 302), (False, 404)])
def test_an_invitation_lives_as_long_as_its_key(cast: Cast, settings: Any, keep: bool, status: int) -> None:
    settings.SECRET_KEY = BEFORE
    cast.crew.set_unusable_password()
    cast.crew.email_proved_at = None
    cast.crew.save()
    Member.objects.filter(person=cast.crew).update(accepted_at=None)
    address = invitations.address_of(Member.objects.get(person=cast.crew))
    change_key(settings, keep=keep)
    assert Client().get(address.removeprefix(settings.PUBLIC_URL)).status_code == status


@pytest.mark.parametrize(("keep", "status"), [(True, 200), (False, 302)])
def test_who_is_signed_in_stays_so_while_the_key_is_kept(
    owner_client: Client, settings: Any, keep: bool, status: int
) -> None:
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY] if keep else []
    settings.SECRET_KEY = AFTER
    assert owner_client.get("/").status_code == status


@pytest.mark.parametrize(("keep", "status"), [(True, 200), (False, 400)])
def test_the_next_page_of_a_list_can_be_had_while_the_key_is_kept(
    owner_client: Client, settings: Any, keep: bool, status: int
) -> None:
    for number in range(2):
        data = {"name": f"Customer {number}"}
        made = owner_client.post(
            "/api/v1/customers", data, "application/json", headers={"Idempotency-Key": f"{number}"}
        )
        assert made.status_code == 201
    following = owner_client.get("/api/v1/customers?page_size=1").json()["next"].removeprefix(settings.PUBLIC_URL)
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = AFTER
    owner_client.get("/")  # the session goes over to the new key
    if not keep:
        settings.SECRET_KEY_FALLBACKS = []
    assert owner_client.get(following).status_code == status
