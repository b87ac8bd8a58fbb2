"""The way out beside a notice: pressed, it is rid of that notice."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from typing import Any

import pytest
from django.test import Client

from quotes.jobs.measure_services import save_draft, start_measure
from quotes.jobs.models import StoredMeasure
from quotes.office.measure_drafts import current_document, offered
from quotes.office.measure_fields import sheet_fields
from quotes.office.measure_preview import draw
from quotes.office.notice_fixes import NoticeWithFixes, notices_of
from shared.business.models import Person
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.quoting.cast import actor_of, measure, new_job, stock_up

pytestmark = pytest.mark.django_db
GATE = {"from_mm": 3000, "opening_mm": 1500}


@pytest.fixture
def client(signed_in: Callable[[Person], Client], cast: Cast) -> Client:
    return signed_in(cast.estimator)


def _begun(business: Business, document: Mapping[str, Any]) -> StoredMeasure:
    stock_up(business)
    job, _ = new_job(business, measure(9000))
    begun = start_measure(job=job, actor=actor_of(business))
    return save_draft(measure=begun, text=json.dumps(document))


def _notices(begun: StoredMeasure) -> list[NoticeWithFixes]:
    begun.refresh_from_db()
    drawn = draw(begun.business, current_document(begun))
    assert drawn.taken is not None, drawn.faults
    return [notice for run in drawn.taken.runs for notice in notices_of(drawn.taken, drawn.notices, run.id)]


def _press(client: Client, begun: StoredMeasure, do: str) -> None:
    document = current_document(begun)
    fields = sheet_fields(document, offered(begun.business, document["system"])).all()
    posted = {field.name: field.value for field in fields} | {"do": do, "version": str(begun.version), "page": "one"}
    assert client.post(f"/measures/{begun.ref}", posted, headers={"HX-Request": "true"}).status_code == 200


@pytest.mark.parametrize(
    ("run", "words", "gone"),
    [
        ({"form": "level", "levels": [[0, 0], [12000, -900]]}, "Use stepped for run A", "ground gap"),
        ({"form": "level", "levels": [[0, 0], [12000, -900]]}, "Use raked for run A", "ground gap"),
        ({"form": "raked", "levels": [[0, 0], [12000, -4000]]}, "Use stepped for run A", "raked at"),
        ({"form": "stepped", "levels": [[0, 0], [12000, -2000]]}, "Use raked for run A", "step of"),
        ({"gates": [GATE]}, "Make A-G1 a wide single gate", "is allowed for a single gate"),
        ({"gates": [GATE]}, "Make A-G1 a double gate", "is allowed for a single gate"),
    ],
)
def test_it_is_rid_of_its_notice(
    client: Client, business: Business, run: dict[str, Any], words: str, gone: str
) -> None:
    begun = _begun(business, measure(12000, **run))
    assert [notice for notice in _notices(begun) if gone in notice.text]
    ways = [way for notice in _notices(begun) for way in notice.ways]
    _press(client, begun, next(way.do for way in ways if way.words == words))
    assert not [notice.text for notice in _notices(begun) if gone in notice.text]


@pytest.mark.parametrize(
    "ground",
    [
        {"levels": [[0, 0], [6000, -300]]},
        {
            "book": [
                {"backsight_m": "1.0", "level_mm": 0},
                {"at_mm": 0, "intermediate_m": "1.0"},
                {"at_mm": 6000, "foresight_m": "1.3"},
            ]
        },
    ],
)
def test_a_run_from_another_datum_is_moved_to_meet_the_one_before(
    client: Client, business: Business, ground: dict[str, Any]
) -> None:
    document = measure(9000, 6000)
    document["runs"][0] |= {"end": "corner", "levels": [[0, 0], [9000, -700]]}
    document["runs"][1] |= {"start": "corner", "turn_deg": 90, **ground}
    begun = _begun(business, document)
    (way,) = [way for notice in _notices(begun) if "a difference of" in notice.text for way in notice.ways]
    assert way.words == "Lower run B by 700 mm to match run A"
    _press(client, begun, way.do)
    assert not [notice for notice in _notices(begun) if "a difference of" in notice.text]


def test_equal_notices_are_merged_with_every_element_and_the_range_of_their_figures(business: Business) -> None:
    begun = _begun(business, measure(20000, form="level", levels=[[0, 0], [20000, -3000]]))
    (data,) = [notice for notice in _notices(begun) if "ground gap" in notice.text]
    assert len(data.places) > 2
    assert re.search(r"ground gap up to \d+ to \d+ mm, at most 235 mm", data.text)
    assert [way.words for way in data.ways] == ["Use stepped for run A", "Use raked for run A"]


def test_two_gates_that_are_too_wide_give_one_notice_with_a_fix_for_each(business: Business) -> None:
    gates = [{**GATE, "from_mm": at} for at in (3000, 8000)]
    (data,) = [
        notice for notice in _notices(_begun(business, measure(14000, gates=gates))) if "single gate" in notice.text
    ]
    assert data.places == ("A-G1", "A-G2")
    assert {way.words for way in data.ways} == {
        "Make A-G1 a wide single gate", "Make A-G1 a double gate", "Make A-G2 a wide single gate", "Make A-G2 a double gate"
    }  # fmt: skip


@pytest.mark.parametrize("do", ["fix:nonsense", "fix:=x", "fix:../x=1", "meet:9=1", "meet:0=all", "meet:0"])
def test_a_button_nobody_drew_changes_nothing(client: Client, business: Business, do: str) -> None:
    begun = _begun(business, measure(9000))
    before = _notices(begun), current_document(begun)
    _press(client, begun, do)
    assert (_notices(begun), current_document(begun)["runs"][0]["length_mm"]) == (before[0], 9000)
