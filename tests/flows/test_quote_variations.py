"""Changes after acceptance: a variation is accepted on its own, and as-built entries are compared in the end."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from tests.conftest import Cast
from tests.flows.cast_of_quotes import PARTIES, Caller, estimator, measure, open_job, send_quote, stranger

__all__ = ["estimator", "stranger"]
pytestmark = pytest.mark.django_db
Jobs = Any


def _alone(*lengths: int) -> dict[str, Any]:
    document = measure(*lengths)
    document["runs"][0].pop("shares")
    return document


@pytest.fixture
def agreed(estimator: Caller, stranger: Caller, django_capture_on_commit_callbacks: Jobs) -> dict[str, Any]:
    """Accept a quote for runs A (12 m) and B (7.2 m) by its one party."""
    job, kept = open_job(estimator, _alone(12000, 7200))
    draft = estimator.post("quotes", {"job": job, "measure": kept, "setup": {"parties": PARTIES[:1]}})
    link = send_quote(estimator, draft, django_capture_on_commit_callbacks)["ada"]
    page = stranger.get(f"quote-links/{link}")
    stranger.post(f"quote-links/{link}/accept", {"name": "Ada", "content_sha256": page["content_sha256"]})
    return {"job": job, "measure": kept, "quote": draft["quote"]["ref"], "revision": draft["ref"], "link": link}


def _vary(estimator: Caller, agreed: dict[str, Any], document: dict[str, Any]) -> dict[str, Any]:
    estimator.put(f"measures/{agreed['measure']}", document)
    varied: dict[str, Any] = estimator.post(f"quotes/{agreed['quote']}/revisions", {"measure": agreed["measure"]})
    return varied


def test_a_longer_run_is_a_changed_line_and_an_unchanged_run_is_no_line(
    estimator: Caller, stranger: Caller, agreed: dict[str, Any], django_capture_on_commit_callbacks: Jobs
) -> None:
    draft = _vary(estimator, agreed, _alone(14400, 7200))
    assert draft["kind"] == "variation"
    link = send_quote(estimator, draft, django_capture_on_commit_callbacks)["ada"]
    document = stranger.get(f"quote-links/{link}")["document"]
    assert [(line["change"], line["part"]) for line in document["lines"]] == [("changed", "A")]
    assert Decimal(document["net"]) > 0
    # one more bay of 2400 takes a pair of posts more
    channels = next(row for row in document["quantities"] if row["role"] == "post.channel")
    assert Decimal(channels["difference"]) == 2

    # the accepted quote stays valid, and the variation is accepted on its own
    assert estimator.get(f"revisions/{agreed['revision']}")["status"] == "accepted"
    page = stranger.get(f"quote-links/{link}")
    stranger.post(f"quote-links/{link}/accept", {"name": "Ada", "content_sha256": page["content_sha256"]})
    assert estimator.get(f"revisions/{draft['ref']}")["status"] == "accepted"
    lengths = [run["length_mm"] for run in estimator.get(f"jobs/{agreed['job']}/set-out")["build"]["takeoff"]["runs"]]
    assert lengths == [14400, 7200]


def test_a_run_left_out_gives_back_exactly_what_was_agreed_for_it(
    estimator: Caller, stranger: Caller, agreed: dict[str, Any], django_capture_on_commit_callbacks: Jobs
) -> None:
    lines = estimator.get(f"revisions/{agreed['revision']}/content")["builds"][0]["lines"]
    of_b = sum(Decimal(line["net"]) for line in lines if line["part"] == "B")
    draft = _vary(estimator, agreed, _alone(12000))
    link = send_quote(estimator, draft, django_capture_on_commit_callbacks)["ada"]
    document = stranger.get(f"quote-links/{link}")["document"]
    assert [(line["change"], line["part"]) for line in document["lines"]] == [("removed", "B")]
    assert Decimal(document["net"]) == -of_b
    assert Decimal(document["total"]) == Decimal(document["net"]) + Decimal(document["tax"])


def test_a_second_variation_is_against_the_first(
    estimator: Caller, stranger: Caller, agreed: dict[str, Any], django_capture_on_commit_callbacks: Jobs
) -> None:
    first = _vary(estimator, agreed, _alone(12000))
    link = send_quote(estimator, first, django_capture_on_commit_callbacks)["ada"]
    page = stranger.get(f"quote-links/{link}")
    stranger.post(f"quote-links/{link}/accept", {"name": "Ada", "content_sha256": page["content_sha256"]})
    second = _vary(estimator, agreed, _alone(12000, 7200))
    link = send_quote(estimator, second, django_capture_on_commit_callbacks)["ada"]
    document = stranger.get(f"quote-links/{link}")["document"]
    assert [(line["change"], line["part"]) for line in document["lines"]] == [("added", "B")]
    # out and in again at the same prices comes to nothing
    assert Decimal(document["net"]) == -Decimal(page["document"]["net"])


def test_the_crew_sees_what_to_build_and_no_money(cast: Cast, signed_in: Any, agreed: dict[str, Any]) -> None:
    crew = Caller(signed_in(cast.crew))
    page = crew.client.get(f"/api/v1/jobs/{agreed['job']}/set-out").content.decode()
    assert '"takeoff"' in page
    for secret in ('"lines"', '"cost"', '"taxable"', "costing", '"payments"'):
        assert secret not in page
    crew.get(f"jobs/{agreed['job']}/material-comparison", status=403)
    crew.get("quotes", status=403)


def test_what_the_crew_used_stands_beside_what_was_quoted(
    estimator: Caller, cast: Cast, signed_in: Any, agreed: dict[str, Any]
) -> None:
    crew = Caller(signed_in(cast.crew))
    at = f"jobs/{agreed['job']}/as-built"
    crew.post(at, {"kind": "used", "role": "rail", "unit": "C62", "quantity": "22"})
    wrong = crew.post(at, {"kind": "used", "role": "rail", "unit": "C62", "quantity": "9"})
    etag = crew.etag(f"{at}/{wrong['ref']}")
    assert crew.client.delete(f"/api/v1/{at}/{wrong['ref']}", headers={"If-Match": etag}).status_code == 204
    crew.post(at, {"kind": "returned", "role": "rail", "unit": "C62", "quantity": "1"})
    rail = next(
        row for row in estimator.get(f"jobs/{agreed['job']}/material-comparison")["rows"] if row["role"] == "rail"
    )
    assert rail["used"] == "21"  # 22 used, 9 taken back, 1 returned
    each = Decimal(rail["quoted_cost"]) / Decimal(rail["quoted"])
    assert Decimal(rail["used_cost"]) == (21 * each).quantize(Decimal("0.01"))
    assert len(crew.get(at)["items"]) == 4  # the mistake and its opposite both stay


def test_what_was_built_otherwise_is_on_the_time_line(estimator: Caller, agreed: dict[str, Any]) -> None:
    at = f"jobs/{agreed['job']}/as-built"
    estimator.post(at, {"kind": "changed", "location": "A-P3", "note": "Rock at 300: post set 200 to the left"})
    newest = estimator.get(f"jobs/{agreed['job']}/events")["items"][0]
    assert newest["text"] == "Built otherwise at A-P3: Rock at 300: post set 200 to the left"
    problem = estimator.post(at, {"kind": "used", "role": "rail"}, status=422)
    assert problem["errors"][0]["pointer"] == "#/quantity"


def test_a_variation_of_a_chosen_alternative_starts_from_the_alternative(
    estimator: Caller, stranger: Caller, django_capture_on_commit_callbacks: Jobs
) -> None:
    job, kept = open_job(estimator, _alone(12000))
    setup = {"parties": PARTIES[:1], "alternatives": [{"key": "low", "label": "Lower", "height_mm": 1500}]}
    draft = estimator.post("quotes", {"job": job, "measure": kept, "setup": setup})
    link = send_quote(estimator, draft, django_capture_on_commit_callbacks)["ada"]
    digest = stranger.get(f"quote-links/{link}")["content_sha256"]
    answer = {"name": "Ada", "content_sha256": digest, "choices": {"build": "low"}}
    with django_capture_on_commit_callbacks(execute=True):
        stranger.post(f"quote-links/{link}/accept", answer)
    assert estimator.get(f"measures/{kept}")["document"]["defaults"]["height_mm"] == 1500

    varied = estimator.post(f"quotes/{draft['quote']['ref']}/revisions")
    nothing = estimator.post(f"revisions/{varied['ref']}/send", status=422)
    assert [error["code"] for error in nothing["errors"]] == ["variation.empty"]
    setup = {"parties": PARTIES[:1], "extra_items": [{"label": "Second tap", "net": "95.00"}]}
    estimator.put(f"revisions/{varied['ref']}", {"setup": setup})
    link = send_quote(estimator, varied, django_capture_on_commit_callbacks)["ada"]
    document = stranger.get(f"quote-links/{link}")["document"]
    assert [(line["text"], line["net"]) for line in document["lines"]] == [("Second tap", "95.00")]
    stranger.post(
        f"quote-links/{link}/accept",
        {"name": "Ada", "content_sha256": stranger.get(f"quote-links/{link}")["content_sha256"]},
    )
    # what was agreed once is not asked for again
    again = estimator.post(f"quotes/{draft['quote']['ref']}/revisions")
    assert "extra_items" not in again["setup"]


def test_a_cancelled_jobs_quote_can_not_be_accepted(
    estimator: Caller, stranger: Caller, django_capture_on_commit_callbacks: Jobs
) -> None:
    job, kept = open_job(estimator, _alone(12000))
    draft = estimator.post("quotes", {"job": job, "measure": kept, "setup": {"parties": PARTIES[:1]}})
    link = send_quote(estimator, draft, django_capture_on_commit_callbacks)["ada"]
    digest = stranger.get(f"quote-links/{link}")["content_sha256"]
    estimator.post(f"jobs/{job}/status", {"status": "cancelled"}, status=200)
    problem = stranger.post(f"quote-links/{link}/accept", {"name": "Ada", "content_sha256": digest}, status=409)
    assert problem["detail"] == "This job was cancelled. This quote can no longer be accepted."


def test_the_first_draft_of_a_quote_stays(estimator: Caller) -> None:
    job, kept = open_job(estimator, _alone(12000))
    first = estimator.post("quotes", {"job": job, "measure": kept, "setup": {"parties": PARTIES[:1]}})
    path = f"/api/v1/revisions/{first['ref']}"
    etag = estimator.etag(f"revisions/{first['ref']}")
    assert estimator.client.delete(path, headers={"If-Match": etag}).status_code == 409  # a quote has a first draft
