"""API keys, and ``manage.py issue_key``."""

from __future__ import annotations

import re
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st
from pytest_django import DjangoAssertNumQueries

from fencing.model.faults import InvalidDocument
from shared.business.actors import SYSTEM
from shared.business.keys import LIVE, TEST, digest, new_key, well_formed
from shared.business.roles import Scope
from shared.members import services
from shared.members.queries import live_key
from tests.conftest import Cast


def test_a_key_is_a_prefix_thirty_random_and_six_checking_characters() -> None:
    assert re.fullmatch(r"bwl_[0-9A-Za-z]{36}", new_key())
    assert re.fullmatch(r"bwt_[0-9A-Za-z]{36}", new_key(live=False))
    assert (LIVE, TEST) == ("bwl_", "bwt_")


@given(place=st.integers(4, 39), other=st.sampled_from("0Az9"))
def test_a_typing_error_anywhere_is_caught_without_a_look_up(place: int, other: str) -> None:
    key = new_key()
    wrong = key[:place] + other + key[place + 1 :]
    assert well_formed(key)
    assert well_formed(wrong) == (wrong == key)


def test_a_malformed_key_costs_no_query(db: None, django_assert_num_queries: DjangoAssertNumQueries) -> None:
    with django_assert_num_queries(0):
        assert live_key("bwl_" + "x" * 36) is None


def test_only_the_hash_is_stored(cast: Cast) -> None:
    stored, text = services.issue_key(name="till", scopes=[Scope.JOBS_READ], business=cast.business, actor=SYSTEM)
    assert stored.sha256 == digest(text)
    assert text not in str(vars(stored))
    assert text.startswith(stored.prefix)


def test_a_key_ends_when_it_expires_or_is_revoked(cast: Cast) -> None:
    past = timezone.now() - timedelta(seconds=1)
    _, expired = services.issue_key(
        name="old", scopes=[Scope.JOBS_READ], business=cast.business, expires_at=past, actor=SYSTEM
    )
    key, revoked = services.issue_key(name="lost", scopes=[Scope.JOBS_READ], business=cast.business, actor=SYSTEM)
    assert live_key(expired) is None
    assert live_key(revoked) == key
    services.revoke_key(key=key, actor=SYSTEM)
    assert live_key(revoked) is None


def test_a_suppliers_key_can_never_hold_a_businesss_scope(cast: Cast) -> None:
    with pytest.raises(InvalidDocument) as refused:
        services.issue_key(name="x", scopes=[Scope.PRICES_READ], supplier_account=cast.supplier, actor=SYSTEM)
    assert refused.value.faults[0].pointer == "/scopes"


def test_a_key_notes_when_it_was_last_used(cast: Cast) -> None:
    key, text = services.issue_key(name="till", scopes=[Scope.JOBS_READ], business=cast.business, actor=SYSTEM)
    live_key(text)
    key.refresh_from_db()
    assert key.last_used_at is not None


def issued(**options: str) -> str:
    out = StringIO()
    call_command("issue_key", stdout=out, **options)
    return out.getvalue().strip()


def test_a_key_of_a_role_opens_what_the_role_may(cast: Cast, client: Client) -> None:
    key = issued(business=cast.business.name, role="crew")
    allowed = client.get("/api/v1/jobs", headers={"Authorization": f"Bearer {key}"})
    refused = client.get("/api/v1/price-rules", headers={"Authorization": f"Bearer {key}"})
    assert (allowed.status_code, refused.status_code) == (200, 403)


def test_a_business_is_named_where_there_are_several(cast: Cast) -> None:
    with pytest.raises(CommandError, match="Name one business"):
        issued()
