"""From a bare site to an accepted quote, through HTTP alone."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.core import mail

from tests.flows.cast_of_quotes import (
    PARTIES,
    Caller,
    draft_quote,
    estimator,
    measure,
    open_job,
    send_quote,
    stranger,
)

__all__ = ["estimator", "stranger"]
pytestmark = pytest.mark.django_db
Jobs = Any


def test_two_parties_accept_their_halves_and_the_job_goes_on(
    estimator: Caller, stranger: Caller, django_capture_on_commit_callbacks: Jobs
) -> None:
    job, draft = draft_quote(estimator)
    links = send_quote(estimator, draft, django_capture_on_commit_callbacks)
    assert set(links) == {"ada", "ben"}

    ada, ben = stranger.get(f"quote-links/{links['ada']}"), stranger.get(f"quote-links/{links['ben']}")
    sent = estimator.get(f"revisions/{draft['ref']}")
    assert Decimal(ada["document"]["total"]) + Decimal(ben["document"]["total"]) == Decimal(sent["total"])
    shared = {line["part"]: line["share"] for line in ben["document"]["lines"] if line["part"]}
    assert shared == {"A": "1/2"}

    answer = {"name": "Ben Thorn", "content_sha256": ben["content_sha256"]}
    stranger.post(f"quote-links/{links['ben']}/accept", answer)
    assert estimator.get(f"revisions/{draft['ref']}")["status"] == "sent"
    first = stranger.post(f"quote-links/{links['ada']}/accept", {**answer, "name": "Ada Quill"})
    again = stranger.post(f"quote-links/{links['ada']}/accept", {**answer, "name": "Somebody"}, status=200)
    assert again == first
    assert first["total"] == ada["document"]["total"]  # to the last minor unit, equal to the shown total
    accepted = estimator.get(f"revisions/{draft['ref']}")
    assert (accepted["status"], accepted["total"][-3]) == ("accepted", ".")
    assert estimator.get(f"jobs/{job}")["status"] == "accepted"
    kinds = [event["type"] for event in estimator.get(f"jobs/{job}/events")["items"]]
    assert kinds[:2] == ["job.accepted", "quote.part_accepted"]


def test_a_party_is_shown_nothing_of_others_costs_or_margins(
    estimator: Caller, stranger: Caller, django_capture_on_commit_callbacks: Jobs
) -> None:
    _, draft = draft_quote(estimator)
    links = send_quote(estimator, draft, django_capture_on_commit_callbacks)
    page = stranger.client.get(f"/api/v1/quote-links/{links['ben']}").content.decode()
    for secret in (
        "Ada",
        "ada@example.test",
        '"cost"',
        "costing",
        "buying",
        "markup",
        '"shares"',
        '"parties"',
        "must_fix_count",
    ):
        assert secret not in page


def test_options_and_alternatives_move_the_total_and_are_fixed_by_acceptance(
    estimator: Caller, stranger: Caller, django_capture_on_commit_callbacks: Jobs
) -> None:
    setup = {
        "parties": PARTIES[:1],
        "options": [{"key": "mow", "label": "Mowing strip", "net": "200.00"}],
        "alternatives": [{"key": "low", "label": "1500 mm high", "height_mm": 1500}],
    }
    document = measure(12000)
    document["runs"][0].pop("shares")
    job, kept = open_job(estimator, document)
    draft = estimator.post("quotes", {"job": job, "measure": kept, "setup": setup})
    link = send_quote(estimator, draft, django_capture_on_commit_callbacks)["ada"]

    plain = stranger.get(f"quote-links/{link}")
    with_option = stranger.get(f"quote-links/{link}?options=mow")
    # 200 before tax and 10 % tax on it
    gained = Decimal(with_option["document"]["total"]) - Decimal(plain["document"]["total"])
    assert gained == Decimal("220.00")
    lower = stranger.get(f"quote-links/{link}?build=low&options=mow")["document"]
    assert Decimal(lower["total"]) < Decimal(with_option["document"]["total"])
    assert {run["height_mm"] for run in lower["build"]["measure"]["runs"]} == {1500}

    choices = {"build": "low", "options": ["mow"]}
    body = {"name": "Ada", "content_sha256": plain["content_sha256"], "choices": choices}
    receipt = stranger.post(f"quote-links/{link}/accept", body)
    assert Decimal(receipt["total"]) == Decimal(lower["total"])
    settled = estimator.get(f"revisions/{draft['ref']}")
    assert (settled["choices"], Decimal(settled["total"])) == (choices, Decimal(lower["total"]))
    # whatever is asked for afterwards, the page shows what was accepted
    assert stranger.get(f"quote-links/{link}")["document"]["total"] == lower["total"]


def test_a_choice_nobody_offers_is_refused_by_name(
    estimator: Caller, stranger: Caller, django_capture_on_commit_callbacks: Jobs
) -> None:
    _, draft = draft_quote(estimator)
    link = send_quote(estimator, draft, django_capture_on_commit_callbacks)["ada"]
    problem = stranger.get(f"quote-links/{link}?build=gold&options=moat", status=422)
    assert [error["code"] for error in problem["errors"]] == ["build.unknown", "option.unknown"]


def test_declining_ends_the_quote_for_everybody_who_must_accept(
    estimator: Caller, stranger: Caller, django_capture_on_commit_callbacks: Jobs
) -> None:
    _, draft = draft_quote(estimator)
    links = send_quote(estimator, draft, django_capture_on_commit_callbacks)
    stranger.post(f"quote-links/{links['ben']}/decline", {"name": "Ben", "reason": "Too dear"})
    assert estimator.get(f"revisions/{draft['ref']}")["status"] == "declined"
    page = stranger.get(f"quote-links/{links['ada']}")
    assert (page["can_respond"], page["status"]) == (False, "declined")
    body = {"name": "Ada", "content_sha256": page["content_sha256"]}
    stranger.post(f"quote-links/{links['ada']}/accept", body, status=409)


def test_a_new_revision_replaces_the_sent_one_and_ends_its_links(
    estimator: Caller, stranger: Caller, django_capture_on_commit_callbacks: Jobs
) -> None:
    _, draft = draft_quote(estimator)
    old = send_quote(estimator, draft, django_capture_on_commit_callbacks)
    page = stranger.get(f"quote-links/{old['ada']}")
    second = estimator.post(f"quotes/{draft['quote']['ref']}/revisions")
    new = send_quote(estimator, second, django_capture_on_commit_callbacks)
    assert estimator.get(f"revisions/{draft['ref']}")["status"] == "superseded"
    gone = stranger.get(f"quote-links/{old['ada']}", status=410)
    unknown = stranger.get(f"quote-links/{'x' * 43}", status=410)
    assert gone["detail"] == unknown["detail"]
    body = {"name": "Ada", "content_sha256": page["content_sha256"]}
    stranger.post(f"quote-links/{old['ada']}/accept", body, status=410)
    # the hash of the replaced content does not accept the new one
    stranger.post(f"quote-links/{new['ada']}/accept", body, status=409)


def test_a_link_made_anew_ends_the_one_before(
    estimator: Caller, stranger: Caller, django_capture_on_commit_callbacks: Jobs
) -> None:
    _, draft = draft_quote(estimator)
    old = send_quote(estimator, draft, django_capture_on_commit_callbacks)["ada"]
    issued = estimator.post(f"revisions/{draft['ref']}/parties/owner/link")
    new = issued["address"].rpartition("/")[2]
    stranger.get(f"quote-links/{old}", status=410)
    stranger.get(f"quote-links/{new}")
    estimator.client.delete(f"/api/v1/revisions/{draft['ref']}/parties/owner/link")
    stranger.get(f"quote-links/{new}", status=410)


def test_a_question_is_asked_and_answered_by_mail(
    estimator: Caller, stranger: Caller, django_capture_on_commit_callbacks: Jobs
) -> None:
    _, draft = draft_quote(estimator)
    link = send_quote(estimator, draft, django_capture_on_commit_callbacks)["ben"]
    stranger.post(f"quote-links/{link}/questions", {"text": "Will you take the old fence away?"})
    asked = estimator.get("questions?answered=false")["items"]
    assert [row["party"]["name"] for row in asked] == ["Ben Thorn"]
    mail.outbox.clear()
    with django_capture_on_commit_callbacks(execute=True):
        estimator.post(f"questions/{asked[0]['ref']}/reply", {"text": "Yes, it is in the price."}, status=200)
    assert "it is in the price" in mail.outbox[0].body
    assert stranger.get(f"quote-links/{link}")["questions"][0]["reply"] == "Yes, it is in the price."
    assert estimator.get("questions?answered=false")["items"] == []


def test_a_fence_beyond_its_systems_limits_is_sent_only_with_a_reason(
    estimator: Caller, stranger: Caller, django_capture_on_commit_callbacks: Jobs
) -> None:
    document = measure(12000, form="stepped")
    document["runs"][0]["levels"] = [[0, 0], [12000, -6000]]  # 1 m a bay, no system steps so far
    _, draft = draft_quote(estimator, document=document)
    problem = estimator.post(f"revisions/{draft['ref']}/send", status=422)
    assert {error["code"] for error in problem["errors"]} == {"stop"}
    send_quote(estimator, draft, django_capture_on_commit_callbacks, override_reason="Retaining wall comes first")
    content = estimator.get(f"revisions/{draft['ref']}/content")
    assert content["override"]["reason"] == "Retaining wall comes first"
    assert content["override"]["stops"]


def test_a_quote_sent_twice_with_one_key_is_sent_once(
    estimator: Caller, django_capture_on_commit_callbacks: Jobs
) -> None:
    _, draft = draft_quote(estimator)
    mail.outbox.clear()
    with django_capture_on_commit_callbacks(execute=True):
        first = estimator.post(f"revisions/{draft['ref']}/send", status=200, **{"Idempotency-Key": "once"})
        again = estimator.post(f"revisions/{draft['ref']}/send", status=200, **{"Idempotency-Key": "once"})
    assert again == first
    assert len(mail.outbox) == 2  # one letter to each party
    estimator.post(f"revisions/{draft['ref']}/send", status=409)
