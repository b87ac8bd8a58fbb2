"""Settings by pages: the business's face, its logo, members, keys."""

from __future__ import annotations

import io
import re
import struct
import zlib
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from PIL import Image

from shared.business.models import ApiKey, Business, Member
from shared.members.settings_views import SettingsForm
from tests.conftest import Cast
from tests.forms import press

pytestmark = pytest.mark.django_db


def face(business: Business, **changes: Any) -> dict[str, Any]:
    return {**{field.name: field.value() for field in SettingsForm(business)}, **changes}


def picture(width: int = 40, height: int = 30) -> SimpleUploadedFile:
    kept = io.BytesIO()
    Image.new("RGB", (width, height), "red").save(kept, "JPEG")
    return SimpleUploadedFile("logo.jpg", kept.getvalue() + b"<script>", content_type="image/jpeg")


def test_what_is_typed_is_kept_and_audited(owner_client: Client, business: Business) -> None:
    press(
        owner_client,
        "/settings",
        face(business, phone="021 000", terms="Pay us.", care_sheet="Wash it.", how_to_accept="Ring us."),
    )
    business.refresh_from_db()
    assert (business.phone, business.terms, business.custom_texts) == (
        "021 000",
        "Pay us.",
        {"care_sheet": "Wash it.", "how_to_accept": "Ring us."},
    )


def test_a_fault_stands_at_its_field_and_nothing_is_changed(owner_client: Client, business: Business) -> None:
    page = press(owner_client, "/settings", face(business, quote_validity_days="soon", phone="021 000"))
    assert page.status_code == 422
    assert 'aria-describedby="f-quote_validity_days-fault"' in page.content.decode()
    assert 'value="021 000"' in page.content.decode()
    business.refresh_from_db()
    assert business.phone == ""


def test_a_logo_is_drawn_anew_as_png_and_smaller(owner_client: Client, business: Business) -> None:
    press(owner_client, "/settings", face(business, logo=picture(2400, 600)))
    business.refresh_from_db()
    kept = bytes(business.logo_png or b"")
    assert b"<script>" not in kept
    with Image.open(io.BytesIO(kept)) as drawn:
        # 2400 by 600 into 1200 by 600 at most: halved
        assert (drawn.format, drawn.size) == ("PNG", (1200, 300))
    press(owner_client, "/settings", face(business, no_logo="1"))
    business.refresh_from_db()
    assert business.logo_png is None


def bomb(side: int) -> bytes:
    """Return a small PNG whose header claims that it is ``side`` pixels wide and high."""
    chunks = [
        (b"IHDR", struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)),
        (b"IDAT", zlib.compress(b"0")),
        (b"IEND", b""),
    ]
    answer = (
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(answer)


NO_LOGOS = {
    "nothing": b"",
    "a drawing": b"<svg xmlns='http://www.w3.org/2000/svg'/>",
    "a beginning": b"\x89PNG\r\n\x1a\n",
    "too many bytes": b"x" * 3_000_000,
    "25 megapixels": bomb(5_000),
    "100 megapixels": bomb(10_000),
    "900 megapixels": bomb(30_000),
}


@pytest.mark.parametrize("bytes_", NO_LOGOS.values(), ids=NO_LOGOS)
def test_what_is_no_picture_is_no_logo(owner_client: Client, business: Business, bytes_: bytes) -> None:
    upload = SimpleUploadedFile("logo.png", bytes_ or b"\x00", content_type="image/png")
    assert press(owner_client, "/settings", face(business, logo=upload)).status_code == 422
    business.refresh_from_db()
    assert business.logo_png is None


def test_a_member_comes_changes_role_and_goes(owner_client: Client, business: Business) -> None:
    new = {"email": "nora@example.test", "name": "Nora", "role": "crew", "password": "seven wet posts in a row"}
    owner_client.post("/settings/members", new)
    member = Member.objects.get(business=business, person__email="nora@example.test")
    assert (member.accepted_at, member.person.has_usable_password()) == (None, False)
    press(owner_client, "/settings/members", {"do": "role", "role": "estimator"}, at=f"/settings/members/{member.ref}")
    member.refresh_from_db()
    assert member.role == "estimator"
    press(owner_client, "/settings/members", {"do": "remove"}, at=f"/settings/members/{member.ref}")
    assert not Member.objects.filter(pk=member.pk).exists()


def test_a_known_member_is_refused(owner_client: Client, cast: Cast) -> None:
    assert owner_client.post("/settings/members", {"email": cast.crew.email, "role": "crew"}).status_code == 422


def test_the_last_owner_stays(owner_client: Client, business: Business) -> None:
    member = Member.objects.get(business=business, role="owner")
    page = press(owner_client, "/settings/members", {"do": "remove"}, at=f"/settings/members/{member.ref}", follow=True)
    assert "keeps at least one owner" in page.content.decode()


def test_a_key_is_shown_once_works_and_ends(owner_client: Client, business: Business) -> None:
    page = owner_client.post("/settings/keys", {"name": "Till", "scope": ["jobs:read"]})
    assert page["Cache-Control"] == "no-store"
    found = re.search(r'value="(bw[lt]_[0-9A-Za-z]+)"', page.content.decode())
    assert found
    assert found.group(1) not in owner_client.get("/settings/keys").content.decode()
    machine = Client(headers={"Authorization": f"Bearer {found.group(1)}"})
    assert machine.get("/api/v1/jobs").status_code == 200
    owner_client.post(f"/settings/keys/{ApiKey.objects.get(business=business).ref}")
    assert machine.get("/api/v1/jobs").status_code == 401


def test_only_owners_come_here(cast: Cast, signed_in: Any) -> None:
    for person in (cast.estimator, cast.crew, cast.bookkeeper):
        for address in ("/settings", "/settings/members", "/settings/keys"):
            assert signed_in(person).get(address).status_code == 403


def test_a_stranger_reaches_no_member_of_another_business(cast: Cast, signed_in: Any, business: Business) -> None:
    member = Member.objects.get(business=business, role="crew")
    assert signed_in(cast.stranger).post(f"/settings/members/{member.ref}", {"do": "remove"}).status_code == 404
