"""The crew's page: what is agreed, ticks that arrive late or twice, as-built."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from quotes.jobs.models import AsBuilt, ChecklistEntry, Job
from quotes.quoting.customer_responses import accept
from shared.database.audit_log import AuditEntry
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.quoting.cast import PARTIES, measure, new_job, sent, stock_up, token

pytestmark = pytest.mark.django_db
EARLY, LATE = 1_700_000_000_000, 1_700_000_060_000


@pytest.fixture
def job(business: Business) -> Job:
    """Create a job with an accepted quote."""
    stock_up(business)
    revision = sent(business, {"parties": PARTIES[:1]}, measure(7200))
    accept(token=token(revision, "owner"), name="Ada Quill", content_sha256=revision.content_sha256)
    return Job.objects.of(business).get()


@pytest.fixture
def crew(cast: Cast, signed_in: Any) -> Client:
    client: Client = signed_in(cast.crew)
    return client


def mark(crew: Client, job: Job, *marks: tuple[str, bool, int]) -> Any:
    body = {"marks": [{"place": place, "done": done, "at": at} for place, done, at in marks]}
    return crew.post(f"/jobs/{job.ref}/build/ticks", json.dumps(body), content_type="application/json")


def test_the_crew_sees_every_hole_and_no_money(crew: Client, job: Job) -> None:
    page = crew.get(f"/jobs/{job.ref}/build").content.decode()
    # 7200 mm in bays of 2260 at most: 4 bays between 5 posts
    assert page.count('class="hole tickable') == 5
    assert 'data-light="sun"' in page
    for secret in ("NZD", "$", "margin %"):
        assert secret not in page


def test_before_anything_is_agreed_the_sheet_says_so(crew: Client, business: Business) -> None:
    stock_up(business)
    job, _ = new_job(business, measure(7200))
    assert "No accepted quote yet" in crew.get(f"/jobs/{job.ref}/build").content.decode()


def test_the_later_of_two_marks_counts_in_whatever_order_they_arrive(crew: Client, job: Job) -> None:
    assert mark(crew, job, ("A-P2", True, LATE)).json() == {"marks": {"A-P2": True}}
    assert mark(crew, job, ("A-P2", False, EARLY)).json() == {"marks": {"A-P2": True}}
    assert mark(crew, job, ("A-P2", False, LATE + 1)).json() == {"marks": {"A-P2": False}}
    assert (
        AuditEntry.objects.filter(business=job.business, action="checklist.changed").count() == 2
    )  # one changed nothing


def test_the_same_marks_sent_twice_are_one(crew: Client, job: Job) -> None:
    for _ in range(2):
        mark(crew, job, ("A-P1", True, EARLY), ("A-P2", True, EARLY))
    assert ChecklistEntry.objects.of(job.business).count() == 2


def test_a_clock_ahead_of_ours_does_not_outlast_later_marks(crew: Client, job: Job) -> None:
    mark(crew, job, ("A-P1", True, 4_000_000_000_000))
    row = ChecklistEntry.objects.of(job.business).get()
    assert row.marked_at <= row.updated_at


def test_places_that_are_not_on_the_job_and_bodies_that_are_nothing_are_refused(crew: Client, job: Job) -> None:
    assert mark(crew, job, ("Z-P9", True, EARLY)).status_code == 422
    address = f"/jobs/{job.ref}/build/ticks"
    for body in ("nothing", "[]", '{"marks": [1]}', '{"marks": [{"place": "A-P1", "done": true, "at": "soon"}]}'):
        assert crew.post(address, body, content_type="application/json").status_code == 422


def test_without_script_the_form_keeps_ticks_and_takes_them_back(crew: Client, job: Job) -> None:
    address = f"/jobs/{job.ref}/build/ticks"
    crew.post(address, {"done": ["A-P1", "A-P2"]})
    crew.post(address, {"was": ["A-P1", "A-P2"], "done": ["A-P2"]})
    assert {row.place: row.done for row in ChecklistEntry.objects.of(job.business)} == {"A-P1": False, "A-P2": True}


def test_as_built_is_recorded_and_taken_back(crew: Client, job: Job) -> None:
    address = f"/jobs/{job.ref}/build/record"
    crew.post(address, {"kind": "used", "role": "rail", "quantity": "3", "location": "A-P1"})
    entry = AsBuilt.objects.of(job.business).get()
    assert (entry.role, entry.quantity, entry.unit) == ("rail", Decimal(3), "C62")
    crew.post(address, {"take_back": entry.ref})
    assert AsBuilt.objects.of(job.business).count() == 2
    refused = crew.post(address, {"kind": "used", "role": "rail", "quantity": "many"})
    assert refused.status_code == 422
    assert 'value="many"' in refused.content.decode()


USED = {"id": "one-of-the-phone", "kind": "used", "role": "rail", "quantity": "3", "location": "A-P1", "note": ""}


def queue(crew: Client, job: Job, *entries: Any, marks: tuple[Any, ...] = ()) -> Any:
    body = {"marks": list(marks), "entries": list(entries)}
    return crew.post(f"/jobs/{job.ref}/build/ticks", json.dumps(body), content_type="application/json")


def test_the_queue_of_the_phone_carries_ticks_and_entries_and_sent_twice_each_is_one(crew: Client, job: Job) -> None:
    for _ in range(2):
        answer = queue(crew, job, USED, marks=({"place": "A-P1", "done": True, "at": EARLY},)).json()
        assert (answer["marks"], answer["entries"]) == ({"A-P1": True}, {USED["id"]: []})
        assert "Undo entry" in answer["built"]
    entry = AsBuilt.objects.of(job.business).get()
    assert (entry.role, entry.quantity, entry.unit) == ("rail", Decimal(3), "C62")
    assert ChecklistEntry.objects.of(job.business).count() == 1


def test_an_entry_that_is_refused_says_why_and_keeps_neither_ticks_nor_other_entries_back(
    crew: Client, job: Job
) -> None:
    wrong = {**USED, "id": "another-one", "quantity": "many"}
    answer = queue(crew, job, wrong, USED, marks=({"place": "A-P1", "done": True, "at": EARLY},)).json()
    assert answer["entries"][USED["id"]] == []
    assert len(answer["entries"]["another-one"]) > 0
    assert AsBuilt.objects.of(job.business).count() == 1
    assert ChecklistEntry.objects.of(job.business).count() == 1


def test_an_entry_is_taken_back_by_the_queue_once(crew: Client, job: Job, signed_in: Any, cast: Cast) -> None:
    queue(crew, job, USED)
    entry = AsBuilt.objects.of(job.business).get()
    for _ in range(2):
        assert queue(crew, job, {"id": "back-again", "take_back": entry.ref}).json()["entries"] == {"back-again": []}
    assert sorted(row.quantity for row in AsBuilt.objects.of(job.business)) == [-3, 3]
    strange = queue(crew, job, {"id": "back-strange", "take_back": "nothing"}).json()["entries"]
    assert strange == {"back-strange": ["This entry is not on this job."]}


@pytest.mark.parametrize("entries", ["nothing", [7], [{"kind": "used"}], [{"id": "x"}], [{"id": "<script>alert"}]])
def test_entries_that_are_nothing_are_refused(crew: Client, job: Job, entries: Any) -> None:
    body = json.dumps({"marks": [], "entries": entries})
    answer = crew.post(f"/jobs/{job.ref}/build/ticks", body, content_type="application/json")
    assert answer.status_code == 422
    assert AsBuilt.objects.of(job.business).count() == 0


def test_others_than_the_crew_and_estimators_tick_nothing(cast: Cast, signed_in: Any, job: Job) -> None:
    assert mark(signed_in(cast.bookkeeper), job, ("A-P1", True, EARLY)).status_code == 403
    assert mark(signed_in(cast.stranger), job, ("A-P1", True, EARLY)).status_code == 404
