"""Measuring in Chromium: typed as a tape is read, drawn at once, kept through a lost connection, by thumb and by keyboard."""

from __future__ import annotations

import gzip
import json
import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

import pytest
from playwright.sync_api import Browser, Page, Request, Response, expect

from quotes.jobs.measure_services import save_draft, start_measure
from quotes.jobs.models import MeasureVersion, StoredMeasure
from quotes.office import measure_views
from quotes.office.measure_drafts import save_entries
from shared.models import Business
from tests.browser.dead_spot import tunnel
from tests.browser.looking import check_page, new_page, photograph, sign_in
from tests.conftest import Cast
from tests.quotes.quoting.cast import actor_of, measure, new_job, stock_up

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WEIGHT = 150_000
LENGTH = "#f-runs-0-length_mm"


@pytest.fixture
def empty(business: Business) -> StoredMeasure:
    """Start a measure in a business that measured once before."""
    stock_up(business)
    job, _ = new_job(business, measure(9000))
    return start_measure(job=job, actor=actor_of(business), label="New boundary")


@pytest.fixture(params=[1280, 360])
def page(browser: Browser, request: Any, cast: Cast, signed_in: Any, live_server: Any) -> Iterator[Page]:
    with new_page(browser, request.param) as page:
        sign_in(page, signed_in(cast.estimator), live_server.url)
        yield page


@pytest.fixture
def wide(browser: Browser, cast: Cast, signed_in: Any, live_server: Any) -> Iterator[Page]:
    with new_page(browser, 1280) as page:
        sign_in(page, signed_in(cast.estimator), live_server.url)
        yield page


def _open(page: Page, live_server: Any, measure: StoredMeasure) -> None:
    page.goto(f"{live_server.url}/measures/{measure.ref}")


def _wait_until_saved(page: Page) -> None:
    expect(page.locator("#keeping")).to_have_text("saved")
    assert page.evaluate("Object.keys(localStorage).length") == 0


def _looked_after(page: Page) -> None:
    """Wait until the service worker controls the page and has a copy of it."""
    page.evaluate("""new Promise((done) => navigator.serviceWorker.controller
        ? done() : navigator.serviceWorker.addEventListener("controllerchange", () => done()))""")
    page.reload()
    expect(page.locator("#drawing")).to_be_visible()


def _draft(measure: StoredMeasure) -> dict[str, Any]:
    measure.refresh_from_db()
    draft: dict[str, Any] = json.loads(measure.draft)
    return draft


@pytest.mark.parametrize("typed", ["18.24", "18,24 m", "18240"])
def test_a_length_is_understood_as_it_is_typed_and_said_back(
    wide: Page, live_server: Any, empty: StoredMeasure, typed: str
) -> None:
    _open(wide, live_server, empty)
    wide.fill(LENGTH, typed)
    expect(wide.locator(f"{LENGTH}-note")).to_have_text("18.240 m")
    expect(wide.locator("#drawing svg").first).to_be_visible()
    _wait_until_saved(wide)
    assert _draft(empty)["runs"] == [{"end": "free", "id": "A", "length_mm": 18240, "start": "free"}]


def test_a_stepped_corner_with_a_gate_is_measured_drawn_and_kept(
    page: Page, live_server: Any, empty: StoredMeasure
) -> None:
    _open(page, live_server, empty)
    check_page(page)
    page.fill(LENGTH, "18.24")
    page.select_option("#f-runs-0-ground", "fall")
    page.fill("#f-runs-0-levels-1-1", "-0,9")
    expect(page.locator("#f-runs-0-levels-1-1-note")).to_have_text("-0.900 m")
    page.get_by_role("button", name="Add run at corner").click()
    expect(page.locator("#f-runs-1-length_mm")).to_be_focused()
    page.keyboard.type("11.76")
    expect(page.locator("#f-runs-1-length_mm-note")).to_have_text("11.760 m")
    before = page.locator("#answer").inner_text()
    page.locator("#drawing svg").last.locator("[data-bay='A-3']").first.dispatch_event("click")
    expect(page.locator("#f-runs-0-gates-0-opening_mm")).to_be_focused()
    assert page.locator("#answer").inner_text() != before
    check_page(page)
    photograph(page, "measure")
    page.get_by_role("button", name="Save and view take-off").click()
    expect(page.get_by_role("heading", name="Quantities")).to_be_visible()
    check_page(page)
    photograph(page, "take-off")
    document = json.loads(MeasureVersion.objects.of(empty.business).get(measure=empty).document)
    assert [run["length_mm"] for run in document["runs"]] == [18240, 11760]
    assert document["runs"][1]["turn_deg"] == 90
    assert len(document["runs"][0]["gates"]) == 1


def test_a_fault_stands_at_its_field_and_in_a_summary_that_takes_the_focus(
    page: Page, live_server: Any, empty: StoredMeasure
) -> None:
    _open(page, live_server, empty)
    page.fill(LENGTH, "eighteen")
    expect(page.locator(LENGTH)).to_have_attribute("aria-invalid", "true")
    expect(page.locator(f"{LENGTH}-note")).to_contain_text(
        "'eighteen' is not valid here; enter a length, such as 18.24"
    )
    page.get_by_role("button", name="Save and view take-off").click()
    expect(page.locator("#summary")).to_be_focused()
    check_page(page)
    photograph(page, "measure-fault")
    page.reload()
    expect(page.locator(LENGTH)).to_have_value("eighteen")


def test_enter_moves_on_and_never_sends(wide: Page, live_server: Any, empty: StoredMeasure) -> None:
    _open(wide, live_server, empty)
    wide.focus(LENGTH)
    wide.keyboard.type("6")
    wide.keyboard.press("Enter")
    expect(wide.locator("#f-runs-0-start")).to_be_focused()


def test_the_keyboard_alone_measures_and_keeps(wide: Page, live_server: Any, empty: StoredMeasure) -> None:
    _open(wide, live_server, empty)
    wide.focus(LENGTH)
    wide.keyboard.type("6 m")
    expect(wide.locator(f"{LENGTH}-note")).to_have_text("6.000 m")
    _tab_to(wide, "Save and view take-off")
    wide.keyboard.press("Enter")
    expect(wide.get_by_role("heading", name="Quantities")).to_be_visible()


def _tab_to(page: Page, words: str) -> None:
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent.trim()") == words:
            return
    raise AssertionError(f"{words} can't be reached by Tab")


@pytest.fixture
def slow_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Delay the answers of the server, like a weak signal."""

    def slow(*args: Any, **named: Any) -> StoredMeasure:
        time.sleep(0.5)
        return save_entries(*args, **named)

    monkeypatch.setattr(measure_views, "save_entries", slow)


def test_what_is_typed_while_an_answer_is_on_its_way_stands(
    page: Page, live_server: Any, empty: StoredMeasure, slow_answers: None
) -> None:
    _open(page, live_server, empty)
    page.get_by_role("button", name="Add run at corner").click()
    page.focus(LENGTH)
    page.keyboard.type("18.24", delay=30)
    expect(page.locator("#f-runs-1-length_mm")).to_be_visible()
    expect(page.locator(LENGTH)).to_be_focused()
    page.keyboard.type("5", delay=30)
    page.get_by_role("button", name="Add gate").first.click()
    page.fill("#f-runs-1-length_mm", "7.5")
    expect(page.locator("#f-runs-0-gates-0-from_mm")).to_be_visible()
    page.get_by_role("button", name="Remove run A").click()
    page.fill("#f-runs-1-length_mm", "8.25")
    expect(page.locator("#f-runs-1-length_mm")).to_have_count(0)
    expect(page.locator(LENGTH)).to_have_value("8.25")
    _wait_until_saved(page)
    assert _draft(empty)["runs"][0]["length_mm"] == 8250


def test_sixty_metres_are_redrawn_by_one_call_whose_time_is_recorded(
    wide: Page, live_server: Any, business: Business, cast: Cast, signed_in: Any
) -> None:
    stock_up(business)
    levels = [[0, 0], [10_000, -150], [20_000, -500], [30_000, -900]]
    gates = [{"from_mm": 5200, "opening_mm": 1000}]
    document = measure(30_000, 30_000, form="auto", levels=levels, gates=gates)
    document["runs"][0] |= {"end": "corner"}
    document["runs"][1] |= {"start": "corner", "turn_deg": 90, "levels": [[0, -900], [30_000, -1300]]}
    job, _ = new_job(business, measure(9000))
    begun = save_draft(measure=start_measure(job=job, actor=actor_of(business)), text=json.dumps(document))
    _open(wide, live_server, begun)
    wide.evaluate("""() => {
      window.took = [];
      let began = 0;
      document.body.addEventListener("htmx:beforeSwap", () => { began = performance.now(); });
      document.body.addEventListener("htmx:afterSwap", () => { window.took.push(performance.now() - began); });
    }""")
    asked: list[Request] = []
    wide.on("request", lambda item: asked.append(item) if item.method == "POST" else None)
    for millimetres in range(1, 5):
        wide.fill(LENGTH, f"{30_000 + millimetres}")
        expect(wide.locator(f"{LENGTH}-note")).to_have_text(f"30.00{millimetres} m")
    assert len(asked) == 4  # one for each figure typed
    swap = min(wide.evaluate("window.took"))
    client, computed = signed_in(cast.estimator), []
    posted = dict(parse_qsl(asked[-1].post_data or "", keep_blank_values=True))
    # recorded, not judged: the goal is 150 ms on a laptop, and the test machine may be half as fast as before
    for _ in range(6):
        began = time.thread_time()
        client.post(
            f"/measures/{begun.ref}",
            posted,
            headers={"HX-Request": "true"},
        )
        computed.append((time.thread_time() - began) * 1000)
    waited = int(re.findall(r"input delay:(\d+)ms", wide.content())[0])
    print(f"\n60 m redrawn: {waited} ms waited, {min(computed):.0f} ms on the server, {swap:.0f} ms in the browser")
    assert waited < 50


def test_a_levelling_book_shows_its_reduction_and_its_arithmetic(
    page: Page, live_server: Any, empty: StoredMeasure
) -> None:
    _open(page, live_server, empty)
    page.fill(LENGTH, "9")
    page.select_option("#f-runs-0-ground", "book")
    for number, cells in enumerate(
        [{"backsight_m": "1.452"}, {"at_mm": "0", "intermediate_m": "1.210"}, {"at_mm": "9", "foresight_m": "0.933"}]
    ):
        if number:
            page.get_by_role("button", name="Add reading").click()
        for cell, value in cells.items():
            page.fill(f"#f-runs-0-book-{number}-{cell}", value)
    page.get_by_text("Rise and fall: check passed").click()
    expect(page.locator("#book-0")).to_contain_text("Backsights 1.452 minus foresights 0.933 is 0.519")
    check_page(page)
    photograph(page, "measure-book")
    page.fill("#f-runs-0-book-2-level_mm", "0.55")
    expect(page.locator("#book-0")).to_contain_text("Misclosure 31 mm")


def test_a_notice_is_rid_of_by_the_button_beside_it(page: Page, live_server: Any, empty: StoredMeasure) -> None:
    _open(page, live_server, empty)
    page.fill(LENGTH, "12")
    page.select_option("#f-runs-0-ground", "fall")
    page.fill("#f-runs-0-levels-1-1", "-0.9")
    expect(page.locator("#answer .fault")).to_be_visible()
    check_page(page)
    photograph(page, "measure-notice")
    page.get_by_role("button", name="Use stepped for run A").click()
    expect(page.locator("#answer .fault")).to_have_count(0)
    expect(page.locator("#f-runs-0-form")).to_have_value("stepped")


def test_the_posts_are_screened_for_strength_where_it_is_asked(
    page: Page, live_server: Any, empty: StoredMeasure
) -> None:
    _open(page, live_server, empty)
    page.fill(LENGTH, "12")
    page.get_by_text("Wind and soil").click()
    page.select_option("#f-strength-method", "given_pressure")
    page.fill("#f-strength-pressure_kpa", "0,6")
    page.select_option("#f-strength-soil_class", "clay")
    _wait_until_saved(page)
    check_page(page)
    assert _draft(empty)["strength"] == {"method": "given_pressure", "pressure_kpa": "0.6", "soil_class": "clay"}


def test_every_way_to_build_a_run_has_its_price_and_is_one_tap_away(
    page: Page, live_server: Any, empty: StoredMeasure
) -> None:
    _open(page, live_server, empty)
    page.fill(LENGTH, "18.24")
    _wait_until_saved(page)
    page.get_by_role("link", name="Compare build options").click()
    rows = page.locator("#ways-0 table").first.locator("tbody tr")
    expect(rows).to_have_count(3)
    check_page(page)
    page.get_by_role("button", name="Use this option: raked").first.click()
    expect(page.locator("#f-runs-0-form")).to_have_value("raked")
    _wait_until_saved(page)
    assert _draft(empty)["runs"][0]["form"] == "raked"


def test_what_was_typed_without_a_connection_survives_a_closed_tab_and_is_sent_once(
    wide: Page, live_server: Any, empty: StoredMeasure
) -> None:
    with tunnel(live_server.url) as way:
        _open(wide, way, empty)
        _looked_after(wide)
        context = wide.context
        way.cut(context)
        wide.fill(LENGTH, "18.24")
        expect(wide.locator("#keeping")).to_have_text("saved on this device, not sent yet")
        wide.get_by_role("button", name="Add run at corner").click()
        expect(wide.locator("#f-runs-1-length_mm")).to_be_focused()
        wide.keyboard.type("7.5")
        wide.close()
        again = context.new_page()
        again.goto(f"{way.url}/measures/{empty.ref}")
        expect(again.locator(LENGTH)).to_have_value("18.24")
        expect(again.locator("#f-runs-1-length_mm")).to_have_value("7.5")
        before = empty.version
        way.restore(context)
        _wait_until_saved(again)
        assert [run["length_mm"] for run in _draft(empty)["runs"]] == [18240, 7500]
        assert empty.version == before + 1


def test_a_new_version_of_a_script_runs_with_the_next_load_and_is_kept_for_the_one_without_a_connection(
    wide: Page, live_server: Any, empty: StoredMeasure, settings: Any, tmp_path: Path
) -> None:
    with tunnel(live_server.url) as way:
        _open(wide, way, empty)
        _looked_after(wide)
        before = wide.evaluate(
            "[...document.scripts].map((one) => one.src).find((src) => src.includes('office/measure.'))"
        )
        script = settings.ROOT / "quotes/office/static/office/measure.js"
        (tmp_path / "office").mkdir()
        (tmp_path / "office" / "measure.js").write_text(
            "document.documentElement.dataset.version = 'new';" + script.read_text()
        )
        settings.STATICFILES_DIRS = [tmp_path, *settings.STATICFILES_DIRS]
        wide.reload()
        expect(wide.locator("html")).to_have_attribute("data-version", "new")
        names = "Promise.all(all.map(async (one) => (await caches.open(one)).keys()))"
        gone = f"(old) => caches.keys().then(async (all) => !(await {names}).flat().some((one) => one.url === old))"
        wide.wait_for_function(gone, arg=before)
        way.cut(wide.context)
        wide.reload()
        expect(wide.locator("html")).to_have_attribute("data-version", "new")


@pytest.mark.parametrize(
    ("button", "start", "turn"), [("Add run at corner", "corner", 90), ("Add separate run", "free", None)]
)
def test_a_run_added_without_a_connection_is_the_run_that_is_added_with_one(
    wide: Page, live_server: Any, empty: StoredMeasure, button: str, start: str, turn: int | None
) -> None:
    drafts = []
    for connected in (True, False):
        measure = empty if connected else start_measure(job=empty.job, actor=actor_of(empty.business), label="Again")
        with tunnel(live_server.url) as way:
            _open(wide, way, measure)
            wide.fill(LENGTH, "18.24")
            _wait_until_saved(wide)
            if not connected:
                way.cut(wide.context)
            wide.get_by_role("button", name=button).click()
            expect(wide.locator("#f-runs-1-length_mm")).to_be_focused()
            wide.keyboard.type("7.5")
            if not connected:
                expect(wide.locator("#keeping")).to_have_text("saved on this device, not sent yet")
                way.restore(wide.context)
            _wait_until_saved(wide)
            drafts.append(_draft(measure)["runs"])
            context = wide.context
            wide.close()
            wide = context.new_page()
    with_one, without = drafts
    assert without == with_one
    assert (without[0]["end"], without[1]["start"], without[1].get("turn_deg")) == (start, start, turn)


def test_what_is_not_recalculated_without_a_connection_is_marked_as_old(
    page: Page, live_server: Any, empty: StoredMeasure
) -> None:
    with tunnel(live_server.url) as way:
        _open(page, way, empty)
        page.fill(LENGTH, "18.24")
        _wait_until_saved(page)
        expect(page.locator(".old-note")).to_have_count(0)
        expect(page.locator(f"{LENGTH}-note")).to_have_text("18.240 m")
        way.cut(page.context)
        page.fill(LENGTH, "20")
        expect(page.locator("#answer .old-note")).to_have_text("not recalculated")
        expect(page.locator("#drawing .old-note")).to_be_visible()
        expect(page.locator(f"{LENGTH}-note")).not_to_contain_text("18.240")
        check_page(page)
        photograph(page, "measure-not-recalculated")
        way.restore(page.context)
        _wait_until_saved(page)
        expect(page.locator(".old-note")).to_have_count(0)
        expect(page.locator(f"{LENGTH}-note")).to_have_text("20.000 m")


def test_two_devices_are_put_side_by_side_and_nothing_is_written_over(
    wide: Page, live_server: Any, empty: StoredMeasure, browser: Browser, cast: Cast, signed_in: Any
) -> None:
    _open(wide, live_server, empty)
    with new_page(browser, 360) as phone:
        sign_in(phone, signed_in(cast.owner), live_server.url)
        _open(phone, live_server, empty)
        phone.fill(LENGTH, "7")
        _wait_until_saved(phone)
    wide.fill(LENGTH, "9")
    expect(wide.get_by_role("alertdialog")).to_contain_text("Edited in two places")
    check_page(wide)
    photograph(wide, "measure-conflict")
    assert _draft(empty)["runs"][0]["length_mm"] == 7000
    wide.get_by_role("button", name="Save my changes").click()
    _wait_until_saved(wide)
    assert _draft(empty)["runs"][0]["length_mm"] == 9000


def test_signing_out_leaves_no_cache_and_no_draft(wide: Page, live_server: Any, empty: StoredMeasure) -> None:
    _open(wide, live_server, empty)
    _looked_after(wide)
    wide.evaluate("localStorage.setItem('draft:x', '1')")
    wide.on("dialog", lambda dialog: dialog.accept())
    wide.locator("details.who summary").click()
    wide.get_by_role("button", name="Sign out").click()
    expect(wide.get_by_role("heading", name="Sign in")).to_be_visible()
    assert wide.evaluate("caches.keys().then((names) => names.length + localStorage.length)") == 0


def test_the_sheet_works_without_script(
    browser: Browser, live_server: Any, empty: StoredMeasure, cast: Cast, signed_in: Any
) -> None:
    with new_page(browser, 360, script=False) as plain:
        sign_in(plain, signed_in(cast.estimator), live_server.url)
        _open(plain, live_server, empty)
        plain.fill(LENGTH, "18.24")
        plain.get_by_role("button", name="Update drawing").last.click()
        expect(plain.locator("#drawing svg").first).to_be_visible()
        plain.get_by_role("button", name="Add gate").click()
        plain.fill("#f-runs-0-gates-0-from_mm", "4.5")
        plain.get_by_role("button", name="Save and view take-off").click()
        expect(plain.get_by_role("heading", name="Quantities")).to_be_visible()


@pytest.mark.parametrize("runs", [0, 60])
def test_no_run_and_sixty_runs_fit_the_sheet(page: Page, live_server: Any, business: Business, runs: int) -> None:
    stock_up(business)
    job, _ = new_job(business, measure(9000))
    document = measure(9000) | {"label": "A boundary with an uncommonly long name " * 4}
    document["runs"] = [{"id": f"R{number}", "length_mm": 4000 + number} for number in range(runs)]
    kept = save_draft(measure=start_measure(job=job, actor=actor_of(business)), text=json.dumps(document))
    _open(page, live_server, kept)
    expect(page.locator("fieldset[data-run]")).to_have_count(runs)
    check_page(page)
    if not runs:  # sixty runs are more than a picture holds
        photograph(page, "measure-no-run")


def test_the_sheet_weighs_less_than_150_kb_and_has_no_inline_style(
    wide: Page, live_server: Any, business: Business
) -> None:
    stock_up(business)
    _, version = new_job(business, measure(30000, 30000))
    answers: list[Response] = []
    wide.on("response", lambda answer: answers.append(answer))
    _open(wide, live_server, version.measure)
    wide.wait_for_load_state("networkidle")
    weights = {item.url: len(gzip.compress(item.body())) for item in answers if item.ok and "worker" not in item.url}
    assert sum(weights.values()) < WEIGHT, weights
    assert not re.search(r'\sstyle="|<style', wide.content())
