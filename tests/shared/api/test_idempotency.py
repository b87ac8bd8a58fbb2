"""A call that is sent twice happens once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import RequestFactory
from django.utils import timezone
from rest_framework.response import Response

from shared.api import idempotency
from shared.api.idempotency_models import IdempotentCall, forget_old
from shared.common.problems import Problem

Call = Callable[[], Response]


def send(
    call: Call, body: str = "{}", key: str = '"one"', holder: str = "key:a", path: str = "/api/v1/orders"
) -> Response:
    headers = {"Idempotency-Key": key} if key else {}
    request = RequestFactory().post(path, body, content_type="application/json", headers=headers)
    return idempotency.run_once(call, holder=holder, request=request)


@pytest.fixture
def order() -> tuple[Call, list[int]]:
    made: list[int] = []

    def make() -> Response:
        made.append(len(made) + 1)
        return Response({"number": len(made)}, status=201, headers={"Location": f"/orders/{len(made)}"})

    return make, made


def test_the_second_call_gets_the_first_answer(db: None, order: tuple[Call, list[int]]) -> None:
    make, made = order
    first, second = send(make), send(make, key="one")  # quoted or bare, it is the same key
    assert made == [1]
    assert (second.status_code, second.data, second["Location"]) == (201, b'{"number":1}', "/orders/1")
    assert "Idempotent-Replay" not in first
    assert second["Idempotent-Replay"] == "?1"


@pytest.mark.parametrize("other", [{"holder": "key:b"}, {"path": "/api/v1/quotes"}, {"key": "two"}])
def test_another_caller_address_or_key_is_another_call(
    db: None, order: tuple[Call, list[int]], other: dict[str, str]
) -> None:
    make, made = order
    send(make)
    send(make, **other)
    assert made == [1, 2]


def test_a_body_that_was_cut_off_may_be_sent_again_whole(db: None, order: tuple[Call, list[int]]) -> None:
    make, made = order

    def cut_off() -> Response:
        raise Problem("malformed")

    assert problem_of(lambda: send(cut_off, body='{"a"')) == "malformed"
    assert (send(make, body='{"a": 1}').status_code, made) == (201, [1])


def problem_of(call: Callable[[], object]) -> str:
    with pytest.raises(Problem) as refused:
        call()
    return refused.value.code


def test_the_same_key_with_another_body_is_refused(db: None, order: tuple[Call, list[int]]) -> None:
    make, made = order
    send(make)
    assert problem_of(lambda: send(make, body='{"a":1}')) == "idempotency-key-reused"
    assert made == [1]


def test_a_key_is_needed_and_printable(db: None, order: tuple[Call, list[int]]) -> None:
    assert problem_of(lambda: send(order[0], key="")) == "idempotency-key-missing"
    assert problem_of(lambda: send(order[0], key="x" * 201)) == "invalid-parameter"


def test_while_the_first_call_runs_the_second_has_to_wait(db: None, order: tuple[Call, list[int]]) -> None:
    make, made = order
    codes: list[str] = []

    def slow() -> Response:
        codes.append(problem_of(lambda: send(make)))
        return make()

    send(slow)
    assert (codes, made) == (["request-in-progress"], [1])


def test_a_refusal_is_remembered_too(db: None, order: tuple[Call, list[int]]) -> None:
    def refuse() -> Response:
        raise Problem("conflict", "accepted already")

    assert problem_of(lambda: send(refuse)) == "conflict"
    again = send(order[0])
    assert again.status_code == 409
    assert again.content_type == "application/problem+json"
    assert order[1] == []


def test_a_fault_of_ours_may_be_tried_again_and_leaves_nothing(db: None, order: tuple[Call, list[int]]) -> None:
    def broken() -> Response:
        IdempotentCall.objects.create(holder="trace", route="", key="", body_sha256="")
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        send(broken)
    assert not IdempotentCall.objects.exists()
    assert send(order[0]).status_code == 201


def test_a_call_whose_process_died_is_begun_again_after_two_minutes(db: None, order: tuple[Call, list[int]]) -> None:
    send(order[0])
    stuck = timezone.now() - timedelta(minutes=3)
    IdempotentCall.objects.update(status=None, started_at=stuck)
    assert send(order[0]).data == {"number": 2}


def test_answers_are_kept_for_two_days(db: None, order: tuple[Call, list[int]]) -> None:
    send(order[0])
    assert forget_old() == 0
    IdempotentCall.objects.update(started_at=timezone.now() - timedelta(hours=49))
    assert forget_old() == 1
