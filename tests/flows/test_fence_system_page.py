"""A fence system by its page: kept as the next version, tried out, refused without losing what was typed, begun from another."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client

from catalogue.models import Component, FenceSystem, FenceSystemVersion
from shared.models import Business
from tests.conftest import Cast
from tests.forms import Values, press, seen_on, system_entries
from tests.quotes.quoting.cast import stock_up

pytestmark = pytest.mark.django_db


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
