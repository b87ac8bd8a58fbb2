"""Tests of signing in: attempts are limited, and all errors have the same text."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import resolve
from pytest_django import Settings

from shared.business.actors import SYSTEM
from shared.business.models import Person
from shared.business.roles import MemberRole
from shared.members import services, views
from tests.conftest import PASSWORD, Cast

pytestmark = pytest.mark.usefixtures("one_window")


def try_in(client: Client, email: str, password: str, address: str = "10.1.1.1") -> tuple[int, str]:
    answer = client.post("/sign-in", {"username": email, "password": password}, REMOTE_ADDR=address)
    return answer.status_code, answer.content.decode()


def test_a_member_signs_in_with_any_case_and_gets_a_new_session(cast: Cast) -> None:
    client = Client()
    client.get("/sign-in")
    before = client.cookies.get("sessionid")
    status, _ = try_in(client, " OLIVE@example.test ", PASSWORD)
    assert status == 302
    cookie = client.cookies["sessionid"]
    assert before is None or cookie.value != before.value
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"


def test_a_wrong_password_and_an_unknown_person_get_the_same_error(cast: Cast) -> None:
    _, wrong = try_in(Client(), "olive@example.test", "wrong")
    _, unknown = try_in(Client(), "unknown@example.test", "wrong")
    assert "Wrong e-mail address or password" in wrong
    assert "Wrong e-mail address or password" in unknown


def test_guessing_is_stopped_where_it_comes_from_and_nowhere_else(cast: Cast) -> None:
    guesses = [try_in(Client(), "olive@example.test", f"guess {n}")[0] for n in range(12)]
    assert guesses[0] == 200
    assert guesses[-1] == 429
    assert try_in(Client(), "olive@example.test", PASSWORD, address="10.2.2.2")[0] == 302


def test_one_password_on_many_accounts_is_stopped(cast: Cast) -> None:
    tries = [try_in(Client(), f"person{n}@example.test", "spring 2026")[0] for n in range(21)]
    assert tries[-1] == 429


@pytest.mark.parametrize("page", ["/sign-in", "/admin/login/"])
def test_every_sign_in_has_the_same_limits(cast: Cast, page: str) -> None:
    def tried(email: str, address: str) -> int:
        form = {"username": email, "password": "spring 2026"}
        return Client().post(page, form, REMOTE_ADDR=address).status_code

    assert [tried(f"person{n}@example.test", "10.6.6.6") for n in range(21)][-1] == 429, "by address"
    assert [tried("olive@example.test", f"10.7.7.{n}") for n in range(21)][-1] == 429, "by account"


def test_the_sign_in_of_the_admin_is_ours_not_djangos() -> None:
    found: Any = resolve("/admin/login/").func
    assert found.view_class is views.AdminSignIn
    assert issubclass(views.AdminSignIn, views.SignIn)


def test_the_admin_lets_in_staff_alone(cast: Cast) -> None:
    head = Person.objects.create_superuser("head@example.test", PASSWORD)
    form = {"username": head.email, "password": PASSWORD}
    answer = Client().post("/admin/login/?next=/admin/shared/", form)
    assert (answer.status_code, answer["Location"]) == (302, "/admin/shared/")
    refused = Client().post("/admin/login/", {"username": cast.owner.email, "password": PASSWORD})
    assert (refused.status_code, "Wrong e-mail address or password" in refused.content.decode()) == (200, True)
    signed_in = Client()
    signed_in.force_login(cast.owner, backend="django.contrib.auth.backends.ModelBackend")
    assert signed_in.get("/admin/", follow=True).status_code == 200  # the sign-in of the admin, and no circle


def test_a_stranger_who_guesses_on_and_on_keeps_nobody_out_of_a_browser_they_have_used(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(views, "_TRIES", 3)
    used, stolen, olive = Client(), Client(), "olive@example.test"
    assert try_in(used, olive, PASSWORD)[0] == 302
    used.cookies.pop("sessionid")
    for host in range(4):
        try_in(Client(), olive, "guess", address=f"10.2.2.{host}")
    assert try_in(Client(), olive, PASSWORD, address="10.3.3.3")[0] == 429, "guessed too often from anywhere"
    assert try_in(used, olive, PASSWORD)[0] == 302
    known = used.cookies["known"]
    assert (known["httponly"], known["samesite"], known["path"]) == (True, "Lax", "/sign-in")
    # the mark of a browser is good for its own account alone, and for no more guesses than an address has
    stolen.cookies["known"] = known.value
    assert [try_in(stolen, olive, "guess", address=f"10.4.4.{host}")[0] for host in range(4)] == [200, 200, 200, 429]
    assert [try_in(stolen, "ned@example.test", "guess", address=f"10.5.5.{host}")[0] for host in range(4)][-1] == 429


def test_a_post_without_the_token_of_the_page_is_refused(cast: Cast) -> None:
    client = Client(enforce_csrf_checks=True)
    assert client.post("/sign-in", {"username": "olive@example.test", "password": PASSWORD}).status_code == 403
    client.force_login(cast.owner, backend="django.contrib.auth.backends.ModelBackend")
    assert client.post("/api/v1/keys", {}, "application/json").status_code == 403


def test_a_person_of_two_businesses_chooses_one(cast: Cast) -> None:
    services.add_member(
        business=cast.strangers_business, person=cast.owner, role=MemberRole.CREW, actor=SYSTEM, accepted=True
    )
    client = Client()
    client.force_login(cast.owner, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/api/v1/business").json()["name"] == "Tern Bay Fencing"
    client.post(f"/businesses/{cast.strangers_business.ref}/choose", {"next": "https://evil.test/"})
    assert client.get("/api/v1/business").json()["name"] == "Elsewhere Fences"
    assert client.get("/api/v1/members").status_code == 403  # crew there


def test_nobody_chooses_a_business_that_is_not_theirs(cast: Cast) -> None:
    client = Client()
    client.force_login(cast.crew, backend="django.contrib.auth.backends.ModelBackend")
    assert client.post(f"/businesses/{cast.strangers_business.ref}/choose").status_code == 404


@pytest.mark.parametrize(
    "header", ["Content-Security-Policy", "X-Content-Type-Options", "X-Frame-Options", "Referrer-Policy"]
)
def test_pages_carry_the_headers_that_keep_browsers_careful(db: None, header: str) -> None:
    assert header in Client().get("/sign-in")


def test_no_inline_script_or_style_is_allowed(db: None) -> None:
    policy = Client().get("/sign-in")["Content-Security-Policy"]
    assert "unsafe-inline" not in policy
    assert "object-src 'none'" in policy
    assert "base-uri 'none'" in policy


def test_an_unknown_host_is_refused(db: None, settings: Settings) -> None:
    settings.ALLOWED_HOSTS = ["localhost"]
    answer = Client(headers={"Host": "evil.test"}).get("/api/v1/business")
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")


def test_another_sites_script_gets_no_permission(owner_client: Client) -> None:
    answer = owner_client.get("/api/v1/business", headers={"Origin": "https://evil.test"})
    assert "Access-Control-Allow-Origin" not in answer


def test_a_form_sent_without_a_session_leads_back_to_the_sheet_it_stood_on(client: Client, db: None) -> None:
    asked = client.post("/jobs/none/note", {"text": "x"}, headers={"Referer": "http://testserver/jobs/none?page=2"})
    assert asked["Location"] == "/sign-in?next=%2Fjobs%2Fnone%3Fpage%3D2&typed=1"
    foreign = client.post("/jobs/none/note", headers={"Referer": "http://elsewhere.example/jobs/none"})
    assert foreign["Location"] == "/sign-in?next=%2F&typed=1"
    assert client.get("/jobs?status=built")["Location"] == "/sign-in?next=/jobs%3Fstatus%3Dbuilt"


def test_a_script_without_a_session_gets_a_401_and_is_not_redirected(client: Client, db: None) -> None:
    assert client.post("/measures/none", headers={"HX-Request": "true"}).status_code == 401
