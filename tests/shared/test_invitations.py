"""Asking somebody in by mail: a link that works once and for a while, for who is new; only a word for who is not."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.test import Client

from shared.business import invitations, pages
from shared.business.models import Business, Member, Person
from shared.tracing import masked
from tests.conftest import Cast

JSON = "application/json"
NEW = {"email": "Nora@example.test", "role": "estimator", "name": "Nora"}
WORDS = "seven wet posts in a row"
Letters = list[EmailMessage]
Send = Callable[..., Any]


@pytest.fixture
def invite(owner_client: Client, django_capture_on_commit_callbacks: Any) -> Send:
    """Invites by the API, and lets the letter go."""

    def send(key: str = "one", client: Client = owner_client, **change: str) -> Any:
        with django_capture_on_commit_callbacks(execute=True):
            return client.post("/api/v1/invitations", {**NEW, **change}, JSON, headers={"Idempotency-Key": key})

    return send


def link_in(letter: EmailMessage) -> str:
    found = re.search(r"http://localhost:8000(/welcome/\S+)", str(letter.body))
    assert found
    return found[1]


def opened(client: Client, link: str) -> Any:
    return client.get(link, follow=True)


def set_password(client: Client, link: str, words: str = WORDS) -> Any:
    page = opened(client, link)
    return client.post(page.redirect_chain[-1][0], {"new_password1": words, "new_password2": words})


def test_somebody_new_sets_a_password_by_the_link_and_is_in(
    invite: Send, mailoutbox: Letters, owner_client: Client, business: Business
) -> None:
    answer = invite()
    told = answer.json()
    assert (answer.status_code, told["email"], told["has_password"]) == (201, "nora@example.test", False)
    assert owner_client.get(answer["Location"]).json() == told
    letter = mailoutbox[0]
    assert (letter.to, business.name in letter.from_email) == (["nora@example.test"], True)
    client = Client(enforce_csrf_checks=False)
    page = opened(client, link_in(letter))
    assert page.redirect_chain[-1][0].endswith("/set-password")  # the secret has left the address
    assert "no-store" in page["Cache-Control"]
    assert "<script" not in page.content.decode()
    assert set_password(client, link_in(letter)).status_code == 302
    assert client.get("/api/v1/business").json()["name"] == business.name
    assert client.get("/api/v1/members").status_code == 403  # an estimator
    signs_in = Client().post("/sign-in", {"username": "nora@example.test", "password": WORDS})
    assert signs_in.status_code == 302


def test_the_same_call_twice_sends_one_letter(invite: Send, mailoutbox: Letters) -> None:
    assert invite("one").json() == invite("one").json()
    assert len(mailoutbox) == 1
    assert invite("two", role="crew").status_code == 201  # another letter, for who lost the first; the role follows
    assert len(mailoutbox) == 2
    assert Member.objects.get(person__email="nora@example.test").role == "crew"


def test_a_link_works_once(invite: Send, mailoutbox: Letters) -> None:
    invite("one")
    invite("two")
    first, second = (link_in(letter) for letter in mailoutbox)
    assert set_password(Client(), first).status_code == 302
    for link in (first, second):
        again = opened(Client(), link)
        assert (again.status_code, "This link is over" in again.content.decode()) == (404, True)


def test_a_link_ends_after_its_days(invite: Send, mailoutbox: Letters, monkeypatch: pytest.MonkeyPatch) -> None:
    invite()
    link, now = link_in(mailoutbox[0]), datetime.now()  # noqa: DTZ005 - as Django's generator counts
    for later, status in ((timedelta(days=2, hours=23), 200), (timedelta(days=3, minutes=1), 404)):
        monkeypatch.setattr(invitations.TOKENS, "_now", lambda later=later: now + later)
        assert opened(Client(), link).status_code == status, later


def test_wrong_links_and_one_of_somebody_taken_out_look_the_same(invite: Send, mailoutbox: Letters) -> None:
    ref = invite().json()["ref"]
    link = link_in(mailoutbox[0])
    changed = link[:-1] + ("0" if link[-1] != "0" else "1")
    other = re.sub(r"/welcome/[^/]+", "/welcome/nobody", link)
    wrong = [opened(Client(), address) for address in (changed, other, f"/welcome/{ref}/set-password")]
    Member.objects.get(ref=ref).delete()
    pages_ = {re.sub(r'value="[^"]+"', "", page.content.decode()) for page in [*wrong, opened(Client(), link)]}
    assert len(pages_) == 1
    assert {page.status_code for page in wrong} == {404}


def test_a_weak_password_is_told_and_the_link_still_works(invite: Send, mailoutbox: Letters) -> None:
    invite()
    client, link = Client(), link_in(mailoutbox[0])
    assert set_password(client, link, "short").status_code == 422
    assert set_password(client, link).status_code == 302


def test_somebody_known_is_added_and_told_without_a_link(invite: Send, mailoutbox: Letters, cast: Cast) -> None:
    before = cast.stranger.password
    told = invite(email=cast.stranger.email, name="Not their name").json()
    assert (told["has_password"], told["name"]) == (True, cast.stranger.name)
    assert "/welcome/" not in str(mailoutbox[0].body)
    assert "/sign-in" in str(mailoutbox[0].body)
    cast.stranger.refresh_from_db()
    assert cast.stranger.password == before
    assert not invitations.TOKENS.check_token(cast.stranger, invitations.TOKENS.make_token(cast.stranger))
    again = invite("two", email=cast.stranger.email)
    assert (again.status_code, again.json()["errors"][0]["code"]) == (422, "member.already")
    assert len(mailoutbox) == 1


def test_only_an_owner_invites(invite: Send, cast: Cast, signed_in: Callable[[Person], Client]) -> None:
    for person in (cast.estimator, cast.crew, cast.bookkeeper):
        assert invite(client=signed_in(person)).status_code == 403
    assert not Person.objects.filter(email="nora@example.test").exists()


def test_an_invitation_without_a_key_for_its_retry_is_refused(owner_client: Client) -> None:
    assert owner_client.post("/api/v1/invitations", NEW, JSON).status_code == 400


def test_guessing_links_is_slowed_down(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pages, "_TRIES", 3)
    assert [Client().get(f"/welcome/nobody/{n}").status_code for n in range(4)] == [404, 404, 404, 429]


def test_a_business_sends_no_flood_of_letters(
    invite: Send, mailoutbox: Letters, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(invitations, "_A_DAY", 1)
    assert [invite(str(n)).status_code for n in range(2)] == [201, 422]
    assert len(mailoutbox) == 1


def test_the_secret_of_a_link_is_in_no_log_line() -> None:
    assert masked("/welcome/0123456789abcdefghijkl/cabc12-0123456789abcdef") == "/welcome/0123456789abcdefghijkl/***"


def test_the_members_page_invites_and_sends_the_link_again(
    owner_client: Client, mailoutbox: Letters, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        page = owner_client.post("/settings/members", {**NEW, "password": ""}, follow=True)
    assert "a letter is on its way to nora@example.test" in page.content.decode()
    assert "Has set no password yet" in page.content.decode()
    member = Member.objects.get(person__email="nora@example.test")
    with django_capture_on_commit_callbacks(execute=True):
        owner_client.post(f"/settings/members/{member.ref}", {"do": "letter"})
    assert len(mailoutbox) == 2
    assert set_password(Client(), link_in(mailoutbox[1])).status_code == 302
