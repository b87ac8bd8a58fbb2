"""Cutting plans through the API: at once, and as jobs that can be followed and stopped."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from catalogue.engine import cutting_plans
from catalogue.models import AskedPlan
from catalogue.rules.codes import PlanState
from catalogue.tasks import delete_old_plans, make_cutting_plan
from fencing.cutting import Budget, CutPlan, Demand, plan_cuts, read_demand_document
from shared.background.outbox import Event
from shared.business.models import Business, Person
from shared.business.roles import Scope
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
AT = "/api/v1/cutting-plans"
CaptureCommits = Callable[..., Any]
GOOD = {
    "kerf_mm": 3,
    "pieces": [[2238, 8]],
    "stock": [{"length_mm": 6000, "price": "31.20", "quantity_available": None}],
}
BAR = {"stock_mm": 6000, "price": "31.20", "count": 4, "cuts": [[2238, 2]], "offcut_mm": 1518, "keep": True}
PLAN = {
    "schema": "cutplan-2",
    "result": "optimal",
    "cost": "124.80",
    "lower_bound": "124.80",
    "gap_ppm": 0,
    "bars": [BAR],
}


def hard(lengths: int = 1000, pieces: int = 200_000) -> dict[str, Any]:
    """The largest demand there may be: it can't be proved in the first moments."""
    chosen = [300 + 5003 * place % 5599 for place in range(lengths)]  # 5599 is prime: every length once
    stock = [
        {"length_mm": length, "price": price, "quantity_available": None}
        for length, price in ((3600, "18.90"), (6000, "30.10"))
    ]
    return {"kerf_mm": 3, "pieces": [[length, pieces // lengths] for length in chosen], "stock": stock}


def post(client: Client, document: Any, query: str = "") -> Any:
    return client.post(f"{AT}{query}", document, content_type="application/json")


def test_the_contracts_example_gives_the_contracts_plan(owner_client: Client) -> None:
    # two of 2238 and a kerf each side leave 6000 - 4476 - 6 = 1518; eight need 4 bars of 31.20
    answer = post(owner_client, GOOD)
    assert (answer.status_code, answer.json()) == (200, PLAN)
    assert AskedPlan.unscoped.count() == 0


def test_the_largest_demand_has_a_plan_and_a_gap_in_a_few_seconds(owner_client: Client) -> None:
    began = time.process_time()
    plan = post(owner_client, hard()).json()
    assert time.process_time() - began < 5
    assert plan["result"] == "gap"
    assert 0 < float(plan["lower_bound"]) <= float(plan["cost"])
    made = sum(bar["count"] * count for bar in plan["bars"] for _, count in bar["cuts"])
    assert made == 200_000


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"kerf_mm": -1}, "#/kerf_mm"),
        ({"kerf_mm": 3.5}, "#/kerf_mm"),
        ({"pieces": [[2238, 10**9]]}, "#/pieces/0/1"),
        ({"pieces": [[0, 1]]}, "#/pieces/0/0"),
        ({"pieces": [[length, 1] for length in range(1, 30_000)]}, "#/pieces"),
        ({"stock": [{"length_mm": 6000, "price": 31.2, "quantity_available": None}]}, "#/stock/0/price"),
        ({"stok": []}, "#/stok"),
    ],
)
def test_bad_input_is_one_problem_document_with_pointers(
    owner_client: Client, change: dict[str, Any], pointer: str
) -> None:
    for query in ("", "?background=true"):
        answer = post(owner_client, GOOD | change, query)
        assert (answer.status_code, answer["Content-Type"]) == (422, "application/problem+json")
        assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]
    assert AskedPlan.unscoped.count() == 0


@pytest.mark.parametrize("query", ["?background=perhaps", "?background=true&seconds=0", "?seconds=61", "?soon=1"])
def test_a_parameter_it_does_not_know_is_refused(owner_client: Client, query: str) -> None:
    answer = post(owner_client, GOOD, query)
    assert (answer.status_code, answer.json()["code"]) == (400, "invalid-parameter")


def test_a_piece_longer_than_every_stock_is_an_answer(owner_client: Client) -> None:
    plan = post(owner_client, {**GOOD, "pieces": [[7000, 1]]}).json()
    assert (plan["result"], plan["unplaced_pieces"]) == ("infeasible", [[7000, 1]])


def test_in_the_background_it_answers_where_to_look(
    owner_client: Client, django_capture_on_commit_callbacks: CaptureCommits
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        asked = post(owner_client, GOOD, "?background=true&seconds=5")
        assert (asked.status_code, asked.json()["status"], asked.json()["plan"]) == (202, "waiting", None)
    data = owner_client.get(asked["Location"]).json()
    assert (data["status"], data["plan"]) == ("done", PLAN)
    assert data["finished_at"] >= data["started_at"]
    assert [row["ref"] for row in owner_client.get(AT).json()["items"]] == [data["ref"]]


def test_a_running_search_that_is_cancelled_keeps_the_best_plan_found(owner_client: Client, business: Business) -> None:
    asked = post(owner_client, hard(400, 40_000), "?background=true")
    AskedPlan.objects.of(business).update(state=PlanState.RUNNING)  # a worker has begun
    cancelled = owner_client.post(f"{asked['Location']}/cancel")
    assert (cancelled.status_code, cancelled.json()["status"]) == (200, "running")
    finish = make_cutting_plan(Event.objects.get(kind=cutting_plans.ASKED))
    assert finish is not None
    finish()
    data = owner_client.get(asked["Location"]).json()
    assert (data["status"], data["plan"]["result"]) == ("cancelled", "gap")
    assert sum(bar["count"] * count for bar in data["plan"]["bars"] for _, count in bar["cuts"]) == 40_000
    assert owner_client.post(f"{asked['Location']}/cancel").status_code == 409


@pytest.mark.parametrize(("broker", "seconds"), [("", 15), ("redis://127.0.0.1:1/0", 60)])
def test_without_a_broker_a_search_keeps_the_request_waiting_for_seconds_only(
    owner_client: Client,
    business: Business,
    monkeypatch: pytest.MonkeyPatch,
    settings: Any,
    broker: str,
    seconds: int,
) -> None:
    post(owner_client, GOOD, "?background=true&seconds=60")
    budgets: list[Budget] = []

    def noted(demand: Demand, budget: Budget, watch: object) -> CutPlan:
        budgets.append(budget)
        return plan_cuts(demand)

    monkeypatch.setattr(cutting_plans, "plan_cuts", noted)
    settings.REDIS_URL = broker
    assert cutting_plans.search(AskedPlan.objects.of(business).get()).cost
    assert [(budget.seconds, budget.work) for budget in budgets] == [(seconds, seconds * 1_000_000)]


def test_a_plan_cancelled_before_it_began_is_never_searched(owner_client: Client) -> None:
    asked = post(owner_client, GOOD, "?background=true")
    assert owner_client.post(f"{asked['Location']}/cancel").json()["status"] == "cancelled"
    assert make_cutting_plan(Event.objects.get(kind=cutting_plans.ASKED)) is None
    assert owner_client.get(asked["Location"]).json()["plan"] is None


def test_while_it_searches_the_row_holds_the_best_so_far(owner_client: Client, business: Business) -> None:
    post(owner_client, GOOD, "?background=true")
    row = AskedPlan.objects.of(business).get()
    watch = cutting_plans.Watch(row)
    plan = plan_cuts(read_demand_document(GOOD))
    assert watch(plan)
    row.refresh_from_db()
    assert row.plan == PLAN
    AskedPlan.objects.of(business).update(is_cancelled=True)
    assert watch(None), "it asks only now and then"
    watch = cutting_plans.Watch(row)
    assert not watch(None)


def test_the_same_job_run_twice_finishes_once(owner_client: Client, business: Business) -> None:
    post(owner_client, GOOD, "?background=true")
    event = Event.objects.get(kind=cutting_plans.ASKED)
    finish = make_cutting_plan(event)
    assert finish is not None
    finish()
    version = AskedPlan.objects.of(business).get().version
    assert make_cutting_plan(event) is None
    assert AskedPlan.objects.of(business).get().version == version


def test_a_fourth_plan_at_once_has_to_wait(owner_client: Client) -> None:
    answers = [post(owner_client, GOOD, "?background=true").status_code for _ in range(4)]
    assert answers == [202, 202, 202, 409]


def test_who_may_look_may_not_start_a_search(
    key_client: Callable[..., Client], cast: Cast, signed_in: Callable[[Person], Client]
) -> None:
    looks = key_client(Scope.MEASURES_READ)
    assert post(looks, GOOD).status_code == 200
    assert post(looks, GOOD, "?background=true").status_code == 403
    assert post(signed_in(cast.crew), GOOD).status_code == 403
    mine = post(signed_in(cast.owner), GOOD, "?background=true")["Location"]
    stranger = signed_in(cast.stranger)
    assert (stranger.get(mine).status_code, stranger.post(f"{mine}/cancel").status_code) == (404, 404)


def test_a_suspended_business_may_compute_but_not_start_a_search(owner_client: Client, business: Business) -> None:
    business.suspended_at = timezone.now()
    business.save()
    assert post(owner_client, GOOD).status_code == 200
    assert post(owner_client, GOOD, "?background=true").json()["code"] == "suspended"


def test_a_search_that_was_lost_is_given_up_and_old_plans_go(owner_client: Client, business: Business) -> None:
    post(owner_client, GOOD, "?background=true")
    rows = AskedPlan.objects.of(business)
    rows.update(created_at=timezone.now() - timedelta(hours=3))
    delete_old_plans()
    assert rows.get().state == PlanState.FAILED
    rows.update(created_at=timezone.now() - timedelta(days=31))
    delete_old_plans()
    assert not rows.exists()
