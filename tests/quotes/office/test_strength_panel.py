"""The screening where people and programs see it: on the take-off sheet, on paper, in the API; what helps, at what price."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pypdf
import pytest
from django.conf import settings
from django.test import Client
from jsonschema import Draft202012Validator

from catalogue.services import store_system
from fencing.drawing.curve_chart import draw_chart
from fencing.quantities.take_off import take_off
from fencing.reading import read_measure, read_system
from fencing.strength.curves import calculate_chart
from fencing.strength.screening import Screening, screen
from quotes.documents.kinds import whole_pack
from quotes.documents.kinds.cut_list import CUT_LIST
from quotes.documents.kinds.saw_sheet import SAW_SHEET
from quotes.documents.kinds.screening import SCREENING, screening_pdf
from quotes.documents.kinds.set_out import SET_OUT, set_out_pdf
from quotes.documents.models import Document
from quotes.documents.tasks import request_job_papers
from quotes.jobs.document_text import parsed
from quotes.jobs.measure_services import newest
from quotes.jobs.models import StoredMeasure
from quotes.jobs.schema_api import schemas
from quotes.quoting.content import read_content
from quotes.quoting.models import Revision
from shared.business.actors import SYSTEM
from shared.business.models import Person
from shared.business.roles import Scope
from shared.models import Business, Event
from tests.conftest import Cast
from tests.forms import press
from tests.quotes.quoting.cast import measure, new_job, sent, stock_up

SignIn = Callable[[Person], Client]
WIND = {"method": "given_pressure", "pressure_kpa": "0.15", "soil_class": "gravel", "bearing_doubled": True}
GATE = {"id": "A-G1", "from_mm": 5000, "opening_mm": 1000, "height_mm": 1510}


def screened(**wind: Any) -> dict[str, Any]:
    document = measure(15600, height_mm=1510, gates=[GATE])
    return {**document, "strength": {**WIND, **wind}}


@pytest.fixture
def saved_measure(business: Business) -> StoredMeasure:
    stock_up(business)
    _, version = new_job(business, screened())
    return version.measure


@pytest.fixture
def offered(business: Business) -> Revision:
    stock_up(business)
    return sent(business, document=screened())


def page_of(client: Client, saved_measure: StoredMeasure) -> str:
    return " ".join(client.get(f"/measures/{saved_measure.ref}/take-off").content.decode().split())


def suggested_changes_of(answer: Any) -> dict[str, Any]:
    strength = answer.json()["strength"]
    assert list(Draft202012Validator(schemas()["screening-2"]).iter_errors(strength)) == []
    return {item["kind"]: item for item in strength["suggested_changes"]}


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages).split())


def test_the_sheet_shows_each_post_what_would_help_and_its_price(
    signed_in: SignIn, cast: Cast, saved_measure: StoredMeasure, business: Business
) -> None:
    page = page_of(signed_in(cast.estimator), saved_measure)
    data = suggested_changes_of(signed_in(cast.estimator).get(f"/api/v1/measures/{saved_measure.ref}/take-off"))
    for kind in ("hole_depth", "height"):
        cost = Decimal(data[kind]["cost"])
        assert data[kind]["change"] in page
        assert f"{abs(cost):,.2f}" in page
    assert Decimal(data["height"]["cost"]) < 0 < Decimal(data["hole_depth"]["cost"])
    assert "it is not a forecast that the fence falls" in page
    assert "does not replace a licensed engineer" in page
    assert "Allowed height against pitch" in page


def test_a_measure_that_asks_for_no_screening_says_where_to_ask(
    signed_in: SignIn, cast: Cast, business: Business
) -> None:
    stock_up(business)
    _, version = new_job(business, measure(9000))
    page = page_of(signed_in(cast.estimator), version.measure)
    assert "Not screened for wind" in page
    assert "Allowed height" not in page


def test_the_button_makes_the_run_lower_and_its_gate_with_it(
    signed_in: SignIn, cast: Cast, saved_measure: StoredMeasure
) -> None:
    client = signed_in(cast.estimator)
    height = suggested_changes_of(client.get(f"/api/v1/measures/{saved_measure.ref}/take-off"))["height"]["value"]
    assert f"Set run A to {height} high" in page_of(client, saved_measure)
    page, entered = f"/measures/{saved_measure.ref}/take-off", {"run": "A", "height_mm": str(height)}
    assert press(client, page, entered, at=f"/measures/{saved_measure.ref}/height").status_code == 302
    saved_measure.refresh_from_db()
    version = newest(saved_measure)
    assert version is not None
    (run,) = parsed(version.document)["runs"]
    assert (version.number, run["height_mm"]) == (2, height)
    assert "height_mm" not in run["gates"][0]  # it follows the fence
    assert "over" not in {
        post["outcome"]
        for post in client.get(f"/api/v1/measures/{saved_measure.ref}/take-off").json()["strength"]["posts"]
    }


@pytest.mark.parametrize("entered", [{"run": "A", "height_mm": "low"}, {"run": "A", "height_mm": "1"}, {}])
def test_an_invalid_height_changes_nothing(
    signed_in: SignIn, cast: Cast, saved_measure: StoredMeasure, entered: dict[str, str]
) -> None:
    client, page = signed_in(cast.estimator), f"/measures/{saved_measure.ref}/take-off"
    assert press(client, page, entered, at=f"/measures/{saved_measure.ref}/height").status_code == 302
    saved_measure.refresh_from_db()
    assert saved_measure.latest_version == 1


def test_the_crew_has_neither_button_nor_annex(signed_in: SignIn, cast: Cast, saved_measure: StoredMeasure) -> None:
    client = signed_in(cast.crew)
    assert client.post(f"/measures/{saved_measure.ref}/height", {"run": "A"}).status_code == 403
    assert client.get(f"/measures/{saved_measure.ref}/screening.pdf").status_code == 403


def test_the_annex_has_method_posts_prices_and_curves(
    signed_in: SignIn, cast: Cast, saved_measure: StoredMeasure
) -> None:
    client = signed_in(cast.estimator)
    answer = client.get(f"/measures/{saved_measure.ref}/screening.pdf")
    text = text_of(answer.content)
    depth = suggested_changes_of(client.get(f"/api/v1/measures/{saved_measure.ref}/take-off"))["hole_depth"]
    assert answer["Content-Type"] == "application/pdf"
    for data in ("stated net wind pressure", "A-P1", depth["change"].capitalize(), f"{Decimal(depth['cost']):,.2f}",
                 "Allowed height against pitch", "pitch of posts, mm", "height of fence, mm"):  # fmt: skip
        assert data in text


def test_an_annex_of_nothing_leads_back_to_the_sheet(signed_in: SignIn, cast: Cast, business: Business) -> None:
    stock_up(business)
    _, version = new_job(business, measure(9000))
    answer = signed_in(cast.estimator).get(f"/measures/{version.measure.ref}/screening.pdf")
    assert answer["Location"].endswith("/take-off#strength")


def test_a_program_without_sight_of_prices_gets_the_changes_alone(
    key_client: Any, saved_measure: StoredMeasure
) -> None:
    body = {"measure": screened()}
    blind = suggested_changes_of(
        key_client(Scope.MEASURES_READ).post("/api/v1/take-offs", body, content_type="application/json")
    )
    seeing = suggested_changes_of(
        key_client(Scope.MEASURES_READ, Scope.QUOTES_READ).post(
            "/api/v1/take-offs", body, content_type="application/json"
        )
    )
    assert {item["cost"] for item in blind.values()} == {None}
    assert seeing["hole_depth"]["cost"] is not None
    assert {kind: item["value"] for kind, item in blind.items()} == {
        kind: item["value"] for kind, item in seeing.items()
    }


def test_the_price_of_a_change_is_what_the_quote_keeps(key_client: Any, offered: Revision) -> None:
    content = parsed(offered.content)["builds"][0]["suggested_changes"]
    client = key_client(Scope.MEASURES_READ, Scope.QUOTES_READ)
    data = suggested_changes_of(
        client.post("/api/v1/take-offs", {"measure": screened()}, content_type="application/json")
    )
    assert {item["kind"]: item["cost"] for item in content} == {kind: item["cost"] for kind, item in data.items()}


def test_the_set_out_sheet_tells_the_crew_what_would_help_without_money(offered: Revision) -> None:
    content = read_content(offered.content)
    text = text_of(set_out_pdf(content))
    depth = next(item for item in content.builds[0].suggested_changes if item.kind == "hole_depth")
    assert depth.change.capitalize() in text
    assert str(depth.cost) not in text
    assert "Adds before tax" not in text
    assert "Allowed height against pitch" not in text  # that is the annex's


def test_only_a_screened_job_has_an_annex_in_its_pack(business: Business) -> None:
    stock_up(business)
    plain = read_content(sent(business, document=measure(9000)).content)
    assert "screening.pdf" not in dict(whole_pack(plain))


def test_the_annex_is_kept_with_what_was_agreed_and_not_shown_to_the_crew(
    signed_in: SignIn, cast: Cast, offered: Revision
) -> None:
    request_job_papers(Event(kind="quote.accepted", subject=offered.ref, business=offered.business))
    rows = Document.objects.of(offered.business)
    assert rows.filter(kind=SCREENING.code).count() == 1
    kinds = {row["kind"] for row in signed_in(cast.crew).get("/api/v1/documents").json()["items"]}
    assert kinds == {SET_OUT.code, CUT_LIST.code, SAW_SHEET.code}
    assert "+" in text_of(screening_pdf(read_content(offered.content)))


def test_a_program_that_sends_another_unit_is_asked_back(key_client: Any, business: Business) -> None:
    stock_up(business)
    document = screened(pressure_kpa="150")
    document["runs"][0]["length_mm"] = 15.6
    answer = key_client(Scope.MEASURES_READ).post(
        "/api/v1/take-offs", {"measure": document}, content_type="application/json"
    )
    data = {error["pointer"]: error["detail"] for error in answer.json()["errors"]}
    assert answer.status_code == 422
    assert "is it in m? 15.6 m is 15600 mm" in data["#/measure/runs/0/length_mm"]
    assert "is it in Pa? 150 Pa is 0.15 kPa" in data["#/measure/strength/pressure_kpa"]


def test_heavier_posts_are_found_and_priced_in_another_system(key_client: Any, business: Business) -> None:
    stock_up(business)
    client = key_client(Scope.MEASURES_READ, Scope.QUOTES_READ)
    body = {"measure": screened(pressure_kpa="0.60")}

    def section() -> Any:
        return suggested_changes_of(client.post("/api/v1/take-offs", body, content_type="application/json"))["section"]

    assert section()["cost"] is None
    light: dict[str, Any] = json.loads((settings.ROOT / "demo/catalogue/corrugated-50.json").read_text())
    steel = light["strength"] | {"channel": {"depth_mm": 50, "flange_mm": 40, "thickness_mm": 6}}
    heavy = light | {
        "code": "heavy-50",
        "label": "Heavy posts",
        "strength": steel,
        "hole": light["hole"] | {"diameter_mm": 420, "end_diameter_mm": 420},
    }
    heavy["strength"]["square"] = {"side_mm": 50, "thickness_mm": 6}
    store_system(business=business, actor=SYSTEM, document=heavy)
    data = section()
    assert "as in Heavy posts" in data["text"]
    assert "not enough by itself" in data["text"]  # its footings are still over
    assert Decimal(data["cost"]) > 0  # wider holes


def test_every_colour_of_the_chart_is_the_page_s_own_by_night() -> None:
    drawn = set(re.findall(r'(?:fill|stroke)="(#[0-9A-F]{6})"', draw_chart(calculate_chart(_screening()))))
    styles = (settings.ROOT / "quotes/office/static/office/measure.css").read_text()
    assert drawn
    assert [colour for colour in sorted(drawn) if f'"{colour}"' not in styles] == []


def _screening() -> Screening:
    system = read_system(json.loads((settings.ROOT / "demo/catalogue/corrugated-50.json").read_text()))
    return screen(take_off(read_measure(screened(), system), system))
