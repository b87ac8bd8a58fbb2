"""No entry is lost: keys pressed while answers are late, a session that ended, a button pressed twice."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from playwright.sync_api import Browser, Page, Route, expect

from quotes.jobs.measure_services import start_measure
from quotes.jobs.models import Job, StoredMeasure
from shared.models import Business
from tests.browser.looking import new_page, sign_in
from tests.conftest import PASSWORD, Cast
from tests.quotes.quoting.cast import actor_of, measure, new_job, stock_up

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
LENGTH = "#f-runs-0-length_mm"
LATE = """(() => {
  const send = XMLHttpRequest.prototype.send, late = [700, 0, 350, 800, 150];
  let turn = 0;
  XMLHttpRequest.prototype.send = function (...args) { setTimeout(() => send.apply(this, args), late[turn++ % late.length]); };
})()"""
"""Every answer is 0 to 800 ms late, as over a weak signal."""


@pytest.fixture
def empty(business: Business) -> StoredMeasure:
    """Start a measure."""
    stock_up(business)
    job, _ = new_job(business, measure(9000))
    return start_measure(job=job, actor=actor_of(business), label="New boundary")


@pytest.fixture
def phone(browser: Browser, cast: Cast, signed_in: Any, live_server: Any) -> Iterator[Page]:
    with new_page(browser, 360) as page:
        sign_in(page, signed_in(cast.estimator), live_server.url)
        yield page


def _draft(measure: StoredMeasure) -> dict[str, Any]:
    measure.refresh_from_db()
    draft: dict[str, Any] = json.loads(measure.draft)
    return draft


def test_no_key_is_lost_and_no_button_is_pressed_twice_while_answers_are_late(
    phone: Page, live_server: Any, empty: StoredMeasure
) -> None:
    phone.add_init_script(LATE)
    phone.goto(f"{live_server.url}/measures/{empty.ref}")
    corner = phone.get_by_role("button", name="Add run at corner")
    phone.focus(LENGTH)
    phone.keyboard.type("18.24", delay=20)
    corner.click()
    phone.keyboard.type("11.76", delay=20)  # its field is not there yet
    expect(phone.locator("#f-runs-1-length_mm")).to_be_focused()
    phone.keyboard.type("5", delay=20)
    corner.click()
    phone.focus("#f-runs-0-id")  # went elsewhere before the answer came, and stays there
    phone.keyboard.press("End")
    expect(phone.locator("#f-runs-2-length_mm")).to_be_visible()
    phone.keyboard.type("1", delay=20)
    expect(phone.locator("#f-runs-0-id")).to_be_focused()
    phone.get_by_role("button", name="Remove run B").click()
    phone.fill("#f-runs-2-length_mm", "7.5")  # what is typed moves up with its run, and nowhere else
    expect(phone.locator("#f-runs-2-length_mm")).to_have_count(0)
    expect(phone.locator("#keeping")).to_have_text("saved")
    runs = [(run["id"], run["length_mm"]) for run in _draft(empty)["runs"]]
    assert runs == [("A1", 18240), ("C", 7500)]
    expect(phone.locator("#f-runs-1-length_mm-note")).to_have_text("7.500 m")


def test_what_is_typed_before_the_script_is_loaded_is_drawn_and_kept(
    phone: Page, live_server: Any, empty: StoredMeasure
) -> None:
    held: list[Route] = []
    phone.route(re.compile(r"/office/measure\.[^/]*js$"), lambda route: held.append(route))
    phone.goto(f"{live_server.url}/measures/{empty.ref}", wait_until="commit")
    phone.fill(LENGTH, "18.24")
    phone.wait_for_timeout(500)  # longer than typing is waited for
    held[0].continue_()
    expect(phone.locator(f"{LENGTH}-note")).to_have_text("18.240 m")
    expect(phone.locator("#keeping")).to_have_text("saved")
    assert _draft(empty)["runs"][0]["length_mm"] == 18240


def test_half_a_number_takes_no_drawing_away(phone: Page, live_server: Any, empty: StoredMeasure) -> None:
    phone.goto(f"{live_server.url}/measures/{empty.ref}")
    phone.fill(LENGTH, "6")
    expect(phone.locator("#drawing svg").first).to_be_visible()
    phone.fill(LENGTH, "6..")
    expect(phone.locator("#drawing .before")).to_contain_text("Last valid drawing")
    expect(phone.locator("#drawing svg").first).to_be_visible()
    phone.fill(LENGTH, "6.1")
    expect(phone.locator("#drawing .before")).to_have_count(0)


def test_what_was_typed_when_the_session_had_ended_comes_back(
    phone: Page, live_server: Any, empty: StoredMeasure, cast: Cast
) -> None:
    phone.goto(f"{live_server.url}/measures/{empty.ref}")
    phone.context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    phone.fill(LENGTH, "12.5")
    expect(phone.locator("#keeping")).to_have_text("signed out, saved on this device: sign in again")
    with phone.context.expect_page() as beside:
        phone.get_by_role("link", name="sign in again").click()
    _sign_in_at(beside.value, cast)
    beside.value.close()
    phone.bring_to_front()
    phone.fill(LENGTH, "12.55")  # the page is older than the session, and its token with it
    expect(phone.locator("#keeping")).to_have_text("saved")
    assert _draft(empty)["runs"][0]["length_mm"] == 12550

    phone.goto(f"{live_server.url}/jobs/new")
    phone.fill("#f-name", "Ada Quill")
    phone.fill("#f-address", "9 Sedge Row")
    phone.context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    phone.get_by_role("button", name="Create job and measure").click()
    expect(phone.get_by_text("Sign in to restore your entries")).to_be_visible()
    _sign_in_at(phone, cast)
    expect(phone.get_by_text("Your entries are restored")).to_be_visible()
    expect(phone.locator("#f-name")).to_have_value("Ada Quill")
    phone.get_by_role("button", name="Create job and measure").dblclick()
    expect(phone.locator(LENGTH)).to_be_visible()
    assert Job.objects.of(empty.business).filter(site__address="9 Sedge Row").count() == 1


def _sign_in_at(page: Page, cast: Cast) -> None:
    page.get_by_label("E-mail").fill(cast.estimator.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Sign in")).to_have_count(0)
