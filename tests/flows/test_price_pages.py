"""Pages of prices: a quote priced, sent and revised, and a fence system kept as its next version."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client

from catalogue.models import Component, FenceSystem, FenceSystemVersion
from quotes.quoting.models import Question, Revision
from shared.models import Business
from tests.conftest import Cast
from tests.forms import Values, press, seen_on, system_entries
from tests.quotes.quoting.cast import PARTIES, drafted, measure, sent, stock_up, token

pytestmark = pytest.mark.django_db


@pytest.fixture
def estimator(cast: Cast, signed_in: Any) -> Client:
    stock_up(cast.business)
    client: Client = signed_in(cast.estimator)
    return client


def form_of(revision: Revision, **changes: str) -> dict[str, str]:
    """Return the form of a draft with one customer, as the page shows it."""
    party = revision.setup["parties"][0]
    data = {f"parties-0-{name}": party.get(name, "") for name in ("key", "name", "email")}
    return {**data, "parties-0-must_accept": "1", "chooses_options": party["key"], **changes}


def test_a_page_keeps_what_it_has_no_box_for(estimator: Client, business: Business) -> None:
    option = {"key": "mow", "label": "Mowing strip", "net": "200.00", "shares": {"owner": "1"}}
    draft = drafted(business, {"parties": PARTIES[:1], "options": [option]}, measure(12000))
    typed = {"options-0-key": "mow", "options-0-label": "Mowing strip", "options-0-net": "210"}
    press(estimator, f"/revisions/{draft.ref}", form_of(draft, **typed, do="save"))
    draft.refresh_from_db()
    assert draft.setup["options"] == [{**option, "net": "210"}]


def test_sending_keeps_what_was_typed_in_the_same_breath(estimator: Client, business: Business) -> None:
    draft = drafted(business, {"parties": PARTIES[:1]}, measure(12000))
    typed = {"extra_items-0-label": "Clearing", "extra_items-0-net": "1 200,50"}
    press(estimator, f"/revisions/{draft.ref}", form_of(draft, **typed, do="send"))
    draft.refresh_from_db()
    assert draft.state == "sent"
    assert [row["net"] for row in draft.setup["extra_items"]] == ["1200.50"]


def test_stops_are_sent_only_with_a_reason(estimator: Client, business: Business) -> None:
    document = measure(12000, form="stepped")
    document["runs"][0]["levels"] = [[0, 0], [12000, -6000]]
    draft = drafted(business, {"parties": PARTIES[:1]}, document)
    page = press(estimator, f"/revisions/{draft.ref}", form_of(draft, do="send"))
    assert page.status_code == 422
    assert "override_reason" in page.content.decode()
    press(estimator, f"/revisions/{draft.ref}", form_of(draft, do="send", override_reason="A wall comes first"))
    draft.refresh_from_db()
    assert (draft.state, draft.override_reason) == ("sent", "A wall comes first")


def test_sent_twice_is_sent_once_and_said(estimator: Client, business: Business) -> None:
    draft = drafted(business, {"parties": PARTIES[:1]}, measure(12000))
    form = {**seen_on(estimator, f"/revisions/{draft.ref}"), **form_of(draft, do="send")}
    assert press(estimator, f"/revisions/{draft.ref}", form).status_code == 302
    again = press(estimator, f"/revisions/{draft.ref}", form)
    assert again.status_code == 412
    assert "This has changed since you opened the page" in again.content.decode()


def test_a_preview_is_the_pdf_of_a_party(estimator: Client, business: Business) -> None:
    draft = drafted(business, {"parties": PARTIES[:1]}, measure(12000))
    answer = estimator.get(f"/revisions/{draft.ref}/preview/owner.pdf")
    assert answer.content.startswith(b"%PDF-")
    assert estimator.get(f"/revisions/{draft.ref}/preview/no-party.pdf").status_code == 404


def test_a_link_is_ended_and_made_anew(estimator: Client, business: Business) -> None:
    revision = sent(business, {"parties": PARTIES[:1]}, measure(12000))
    old = token(revision, "owner")
    page = press(
        estimator, f"/revisions/{revision.ref}", {"do": "issue"}, f"/revisions/{revision.ref}/parties/owner/link"
    )
    new = token(revision, "owner")
    assert f"/q/{new}" in page.content.decode()
    assert page["Cache-Control"] == "no-store"
    assert (Client().get(f"/q/{old}").status_code, Client().get(f"/q/{new}").status_code) == (410, 302)
    press(estimator, f"/revisions/{revision.ref}", {"do": "revoke"}, f"/revisions/{revision.ref}/parties/owner/link")
    assert Client().get(f"/q/{new}").status_code == 410


def test_the_next_revision_and_throwing_it_away(estimator: Client, business: Business) -> None:
    revision = sent(business, {"parties": PARTIES[:1]}, measure(12000))
    page = press(estimator, f"/revisions/{revision.ref}", {}, f"/quotes/{revision.quote.ref}/revise")
    draft = Revision.objects.of(business).get(number=2)
    assert page["Location"] == f"/revisions/{draft.ref}"
    press(estimator, f"/revisions/{draft.ref}", {"do": "discard"})
    assert Revision.objects.of(business).count() == 1


def test_a_question_is_answered(estimator: Client, business: Business) -> None:
    revision = sent(business, {"parties": PARTIES[:1]}, measure(12000))
    party = revision.parties.get()
    question = Question.objects.of(business).create(party=party, revision=revision, text="When?")
    press(estimator, f"/revisions/{revision.ref}", {"text": "In May."}, f"/questions/{question.ref}/reply")
    question.refresh_from_db()
    assert question.reply == "In May."


def test_who_may_read_but_not_write_is_shown_no_costs_and_changes_nothing(
    business: Business, cast: Cast, signed_in: Any
) -> None:
    stock_up(business)
    draft = drafted(business, {"parties": PARTIES[:1]}, measure(12000))
    bookkeeper = signed_in(cast.bookkeeper)
    page = bookkeeper.get(f"/revisions/{draft.ref}").content.decode()
    assert "Margin" not in page
    assert bookkeeper.post(f"/revisions/{draft.ref}", form_of(draft, do="send")).status_code == 403
    assert signed_in(cast.crew).get(f"/revisions/{draft.ref}").status_code == 403
    assert signed_in(cast.stranger).get(f"/revisions/{draft.ref}").status_code == 404


@pytest.fixture
def owner(owner_client: Client, business: Business) -> Client:
    stock_up(business)
    return owner_client


@pytest.fixture
def system(owner: Client, business: Business) -> FenceSystem:
    return FenceSystem.objects.of(business).get(is_default=True)


def _last(system: FenceSystem) -> FenceSystemVersion:
    return FenceSystemVersion.objects.of(system.business).filter(system=system).order_by("-number")[0]


def _entries(system: FenceSystem, **changes: str) -> dict[str, str]:
    data = system_entries(_last(system).document) | {path.replace("__", "/"): text for path, text in changes.items()}
    return data | {"do": data.get("do", "keep")}


def test_a_field_that_is_changed_makes_the_next_version_and_nothing_else_changes(
    owner: Client, system: FenceSystem
) -> None:
    before = _last(system)
    press(owner, f"/prices/systems/{system.ref}", _entries(system, pitch_mm="2 300"))
    now = _last(system)
    assert now.number == before.number + 1
    assert now.document == {**before.document, "pitch_mm": 2300}


def test_what_is_kept_unchanged_makes_no_version(owner: Client, system: FenceSystem) -> None:
    before = _last(system).number
    page = press(owner, f"/prices/systems/{system.ref}", _entries(system), follow=True).content.decode()
    assert (_last(system).number, "No changes to save." in page) == (before, True)


def test_every_fault_stands_beside_its_field_and_what_was_typed_stays(owner: Client, system: FenceSystem) -> None:
    before = _last(system).number
    data = _entries(system, hole__depth_mm="0.7", rails__kerf_mm="thin", label="Half typed")
    del data["code"]  # it is shown and not asked again
    answer = press(owner, f"/prices/systems/{system.ref}", data)
    page = answer.content.decode()
    assert (answer.status_code, _last(system).number) == (422, before)
    assert all(f'value="{text}"' in page for text in ("0.7", "thin", "Half typed"))
    assert 'id="f-hole/depth_mm-fault"' in page
    assert 'id="f-rails/kerf_mm-fault"' in page
    assert "2 errors" in page
    assert f'<span class="fixed">{system.code}</span>' in page


def test_trying_out_tells_what_a_new_stock_length_would_lack_and_keeps_nothing(
    owner: Client, system: FenceSystem
) -> None:
    before = _last(system).number
    stock = f"{system_entries(_last(system).document)['posts/channel/stock_mm']}, 3777"
    page = press(
        owner, f"/prices/systems/{system.ref}", _entries(system, posts__channel__stock_mm=stock) | {"do": "check"}
    )
    assert page.status_code == 200
    assert "No 3777 post channel in" in page.content.decode()
    assert "It is not saved" in page.content.decode()
    assert _last(system).number == before


def test_what_is_lacking_leads_to_a_form_that_is_begun_and_back_again(
    owner: Client, system: FenceSystem, business: Business
) -> None:
    stock = f"{system_entries(_last(system).document)['posts/channel/stock_mm']}, 3777"
    press(owner, f"/prices/systems/{system.ref}", _entries(system, posts__channel__stock_mm=stock))
    page = owner.get(f"/prices/systems/{system.ref}").content.decode()
    way = re.search(r'href="(/prices/components/new\?role=post\.channel[^"]+length_mm=3777[^"]*)"', page)
    assert way
    begun = owner.get(way[1].replace("&amp;", "&")).content.decode()
    assert 'value="3777"' in begun
    assert '<option value="post.channel" selected>' in begun
    finish = re.search(r'<option value="(\w+)" selected>[^<]+\(\1\)', begun)
    assert finish
    data = {"sku": "CH-3777", "name": "Post channel 3777", "role": "post.channel", "length_mm": "3777",
            "finish": finish[1], "for": system.ref}  # fmt: skip
    assert owner.post("/prices/components/new", data)["Location"] == f"/prices/systems/{system.ref}"
    assert Component.objects.of(business).filter(sku="CH-3777").exists()
    page = owner.get(f"/prices/systems/{system.ref}").content.decode()
    assert "/prices/supplier-prices/new?component=CH-3777" in page


def test_a_version_kept_meanwhile_is_not_gone_over_unseen(owner: Client, system: FenceSystem) -> None:
    mine, at = _entries(system, pitch_mm="2300"), f"/prices/systems/{system.ref}"
    opened = seen_on(owner, at)
    press(owner, at, _entries(system, rails__kerf_mm="3"))
    answer = owner.post(at, {**opened, **mine})
    page = answer.content.decode()
    assert answer.status_code == 412
    assert re.search(r"Rails: Saw kerf, mm was [\d.]+ and is now 3\.", page)
    assert 'value="2300"' in page
    assert _last(system).document["rails"]["kerf_mm"] == 3


def test_a_fence_system_is_begun_from_another_under_its_own_code(
    owner: Client, system: FenceSystem, business: Business
) -> None:
    page = owner.get(f"/prices/systems/new?from={system.ref}").content.decode()
    assert Values(page).shown["code"] == ""
    data = _entries(system, code="tall-50", label="Tall") | {"model": system.ref}
    owner.post("/prices/systems/new", data)
    made = FenceSystem.objects.of(business).get(code="tall-50")
    assert (made.label, made.latest_version, made.is_default) == ("Tall", 1, False)
    taken = owner.post("/prices/systems/new", data)
    assert (taken.status_code, 'id="f-code-fault"' in taken.content.decode()) == (422, True)
    shouted = owner.post("/prices/systems/new", {**data, "code": "Tall 50"})
    assert (shouted.status_code, 'id="f-code-fault"' in shouted.content.decode()) == (422, True)


def test_a_business_without_one_begins_from_nothing(owner_client: Client, business: Business) -> None:
    assert owner_client.get("/prices/systems/new").status_code == 200
    answer = owner_client.post("/prices/systems/new", {"do": "keep", "code": "first"})
    assert answer.status_code == 422
    assert "Pitch and closing bay: Pitch, mm" in answer.content.decode()


def test_json_is_read_exactly_and_all_its_errors_are_shown(owner: Client, system: FenceSystem) -> None:
    data = {"do": "json", "document": '{"schema": "system-2", "rake_max_deg": 10.5, "pitch_mm": 0}'}
    page = press(owner, f"/prices/systems/{system.ref}", data).content.decode()
    assert "/pitch_mm" in page
    assert "/hole" in page
    assert "/rake_max_deg" not in page  # 10.5 is a number and read as one


def test_the_default_can_not_end_and_another_can(owner: Client, system: FenceSystem, business: Business) -> None:
    refused = press(owner, f"/prices/systems/{system.ref}", {"do": "end"})
    assert (refused.status_code, "stays active" in refused.content.decode()) == (422, True)
    owner.post("/prices/systems/new", _entries(system, code="other-50") | {"model": system.ref})
    other = FenceSystem.objects.of(business).get(code="other-50")
    press(owner, f"/prices/systems/{other.ref}", {"do": "end"})
    other.refresh_from_db()
    assert not other.active


def test_another_business_and_the_crew_do_not_see_it(cast: Cast, signed_in: Any, system: FenceSystem) -> None:
    for person, status in ((cast.crew, 403), (cast.bookkeeper, 403), (cast.stranger, 404)):
        client = signed_in(person)
        assert client.get(f"/prices/systems/{system.ref}").status_code == status
        assert press(client, f"/prices/systems/{system.ref}", {"do": "keep"}).status_code == status
    assert signed_in(cast.stranger).get(f"/prices/systems/new?from={system.ref}").status_code == 404
