"""Tests of rate limits: they are exact, stated in headers, and separate for each caller."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import pytest
import time_machine
from django.test import Client, RequestFactory
from pytest_django import Settings

from shared.business.business_owned import new_ref
from shared.common.problems import Problem
from shared.web import rate_limit
from tests.conftest import TEST_REDIS


@pytest.fixture(autouse=True)
def noon() -> Iterator[None]:
    """Stop the clock in the middle of a window: a test must not depend on when the window ends."""
    with time_machine.travel("2026-03-02T12:00:15Z", tick=False):
        yield


@pytest.fixture(params=["database", pytest.param("redis", marks=pytest.mark.redis)])
def counter(request: pytest.FixtureRequest, settings: Settings, db: None) -> str:
    if request.param == "redis":
        settings.REDIS_URL = TEST_REDIS
    return f"{request.param}-{new_ref()}"  # a Redis outlives the test


def test_the_call_beyond_the_quota_is_refused_until_the_window_ends(counter: str) -> None:
    with time_machine.travel("2026-03-02T10:00:15Z", tick=False) as clock:
        left = [rate_limit.count(counter, quota=3, window_s=60) for _ in range(4)]
        assert [item.exceeded for item in left] == [False, False, False, True]
        assert [item.headers()["RateLimit"] for item in left[:3]] == [f'"default";r={r};t=45' for r in (2, 1, 0)]
        assert left[3].headers()["Retry-After"] == "45"
        with pytest.raises(Problem) as refused:
            rate_limit.refuse_flood(left[3])
        assert refused.value.document()["violated-policies"] == ["default"]
        clock.shift(timedelta(seconds=45))
        assert not rate_limit.count(counter, quota=3, window_s=60).exceeded


def test_one_callers_flood_leaves_another_alone(counter: str) -> None:
    for _ in range(5):
        rate_limit.count(counter, quota=2)
    assert rate_limit.count(f"other-{counter}", quota=2).calls == 1


def test_a_stopped_redis_is_counted_in_the_database(settings: Settings, db: None) -> None:
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    assert [rate_limit.count("a caller").calls for _ in range(2)] == [1, 2]


@pytest.mark.parametrize(("proxies", "believed"), [(0, "127.0.0.1"), (1, "10.0.0.2"), (2, "10.0.0.1")])
def test_only_our_own_proxies_are_believed(settings: Settings, proxies: int, believed: str) -> None:
    settings.PROXIES = proxies
    request = RequestFactory().get("/", headers={"X-Forwarded-For": "6.6.6.6, 10.0.0.1, 10.0.0.2"})
    assert rate_limit.client_ip(request) == believed


def test_the_api_answers_429_with_the_time_to_wait(owner_client: Client, settings: Settings) -> None:
    settings.RATE_QUOTA = 2
    answers = [owner_client.get("/api/v1/business") for _ in range(3)]
    assert [answer.status_code for answer in answers] == [200, 200, 429]
    assert int(answers[2]["Retry-After"]) >= 1
    assert answers[2].json()["code"] == "quota-exceeded"
