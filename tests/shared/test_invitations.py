"""Tests of invitations: a link works once and for a few days, and gives no access to another account."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.core.mail import EmailMessage
from django.test import Client
from django.utils import timezone

from shared.business.actors import SYSTEM, member_actor
from shared.business.models import Business, Member, Person
from shared.business.roles import MemberRole
from shared.common.request_id import masked
from shared.database.audit_log import AuditEntry
from shared.members import invitations, views
from shared.members.invitations import address_of
from shared.members.services import add_member
from tests.conftest import PASSWORD, Cast, accept_by_link
from tests.forms import press

pytestmark = pytest.mark.usefixtures("one_window")

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
    data = answer.json()
    assert (answer.status_code, data["email"], data["has_password"]) == (201, "nora@example.test", False)
    assert owner_client.get(answer["Location"]).json() == data
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
        assert (again.status_code, "This link has expired" in again.content.decode()) == (404, True)


def test_a_link_ends_after_its_days(invite: Send, mailoutbox: Letters, monkeypatch: pytest.MonkeyPatch) -> None:
    invite()
    link, now = link_in(mailoutbox[0]), datetime.now()  # noqa: DTZ005 - as Django's generator counts
    for later, status in ((timedelta(days=2, hours=23), 200), (timedelta(days=3, minutes=1), 404)):
        monkeypatch.setattr(invitations.InvitationTokens, "_now", lambda _, later=later: now + later)
        assert opened(Client(), link).status_code == status, later


def test_wrong_links_and_one_of_somebody_taken_out_look_the_same(invite: Send, mailoutbox: Letters) -> None:
    ref = invite().json()["ref"]
    link = link_in(mailoutbox[0])
    changed = link[:-1] + ("0" if link[-1] != "0" else "1")
    other = re.sub(r"/welcome/[^/]+", "/welcome/unknown", link)
    wrong = [opened(Client(), address) for address in (changed, other, f"/welcome/{ref}/set-password")]
    Member.objects.get(ref=ref).delete()
    pages_ = {re.sub(r'value="[^"]+"', "", page.content.decode()) for page in [*wrong, opened(Client(), link)]}
    assert len(pages_) == 1
    assert {page.status_code for page in wrong} == {404}


def test_a_weak_password_is_rejected_and_the_link_still_works(invite: Send, mailoutbox: Letters) -> None:
    invite()
    client, link = Client(), link_in(mailoutbox[0])
    assert set_password(client, link, "short").status_code == 422
    assert set_password(client, link).status_code == 302


def test_a_person_with_a_proved_account_signs_in_as_that_account_and_accepts(
    invite: Send, mailoutbox: Letters, cast: Cast, signed_in: Callable[[Person], Client], business: Business
) -> None:
    Person.objects.filter(pk=cast.stranger.pk).update(email_proved_at=timezone.now())
    before = cast.stranger.password
    member = invite(email=cast.stranger.email, name="Not their name").json()
    assert (member["name"], member["accepted_at"]) == (cast.stranger.name, None)
    link, theirs = link_in(mailoutbox[0]), signed_in(cast.stranger)
    assert theirs.post(f"/businesses/{business.ref}/choose").status_code == 404, "an invitation opens nothing"
    asked = opened(Client(), link)
    assert asked.redirect_chain[-1][0].startswith("/sign-in?next=/welcome/")
    another = opened(signed_in(cast.crew), link)
    assert (another.status_code, "Sign out" in another.content.decode()) == (403, True)
    page = opened(theirs, link)
    assert f"Join {business.name}" in page.content.decode()
    assert "new_password1" not in page.content.decode()
    assert theirs.post(page.redirect_chain[-1][0], {"do": "accept"}).status_code == 302
    assert theirs.get("/api/v1/business").json()["name"] == business.name
    cast.stranger.refresh_from_db()
    assert cast.stranger.password == before
    assert opened(theirs, link).status_code == 404
    again = invite("two", email=cast.stranger.email)
    assert (again.status_code, again.json()["errors"][0]["code"]) == (422, "member.already")
    assert len(mailoutbox) == 1


def test_another_account_cannot_send_the_form_of_an_invitation(
    invite: Send, mailoutbox: Letters, cast: Cast, signed_in: Callable[[Person], Client]
) -> None:
    Person.objects.filter(pk=cast.stranger.pk).update(email_proved_at=timezone.now())
    ref = invite(email=cast.stranger.email).json()["ref"]
    crew = signed_in(cast.crew)
    opened(crew, link_in(mailoutbox[0]))
    for client in (crew, Client(), signed_in(cast.stranger)):  # the last one never opened the link
        client.post(f"/welcome/{ref}/set-password", {"do": "accept"})
    assert Member.objects.get(ref=ref).accepted_at is None


def test_an_invitation_can_be_declined(
    invite: Send, mailoutbox: Letters, cast: Cast, signed_in: Callable[[Person], Client], business: Business
) -> None:
    Person.objects.filter(pk=cast.stranger.pk).update(email_proved_at=timezone.now())
    ref, theirs = invite(email=cast.stranger.email).json()["ref"], signed_in(cast.stranger)
    page = opened(theirs, link_in(mailoutbox[0]))
    assert theirs.post(page.redirect_chain[-1][0], {"do": "decline"}).status_code == 302
    assert not Member.objects.filter(ref=ref).exists()
    assert AuditEntry.objects.filter(business=business, action="member.declined", subject=f"member:{ref}").count() == 1


def reads(client: Client, business: Business) -> bool:
    """Return whether a browser has access to a business."""
    client.post(f"/businesses/{business.ref}/choose")
    answer = client.get("/api/v1/business")
    return answer.status_code == 200 and answer.json()["ref"] == business.ref


VICTIM, FIRST = "victim@example.test", "a first password typed by beta"


def beta_types_a_password(cast: Cast) -> None:
    """Beta's owner sends what the page of members took once: an address and a first password for it."""
    beta = Client()
    beta.force_login(cast.stranger, backend="django.contrib.auth.backends.ModelBackend")
    beta.post("/settings/members", {"email": VICTIM, "role": "crew", "password": FIRST})


def alpha_invites(cast: Cast) -> Member:
    """Alpha's owner invites the same address as an owner."""
    alpha = Client()
    alpha.force_login(cast.owner, backend="django.contrib.auth.backends.ModelBackend")
    alpha.post("/settings/members", {"email": VICTIM, "role": "owner"})
    return Member.objects.get(business=cast.business, person__email=VICTIM)


def beta_signs_in() -> Client:
    client = Client()
    client.post("/sign-in", {"username": VICTIM, "password": FIRST})
    return client


@pytest.mark.parametrize("order", ["beta first", "alpha first"])
@pytest.mark.parametrize("victim_comes", [False, True])
def test_no_business_gets_into_another_by_an_address(cast: Cast, order: str, victim_comes: bool) -> None:
    if order == "beta first":
        beta_types_a_password(cast)
    member = alpha_invites(cast)
    if order == "alpha first":
        beta_types_a_password(cast)
    if victim_comes:
        assert reads(accept_by_link(member), cast.business)
    assert not reads(beta_signs_in(), cast.business)
    assert not reads(beta_signs_in(), cast.strangers_business)


def test_an_account_whose_password_another_person_may_know_gets_a_new_one_before_it_counts(cast: Cast) -> None:
    """Accounts from before invitations were accepted: beta knows the password, and is signed in with it."""
    person = Person.objects.create_user(VICTIM, FIRST)
    add_member(business=cast.strangers_business, person=person, role=MemberRole.CREW, actor=SYSTEM, accepted=True)
    beta = beta_signs_in()
    member = alpha_invites(cast)
    assert not reads(beta, cast.business)
    victim = accept_by_link(member)
    assert reads(victim, cast.business)
    assert not reads(beta, cast.business)  # that session has ended with the old password
    assert not reads(beta_signs_in(), cast.business)


def test_an_invitation_by_beta_that_is_accepted_later_gives_beta_nothing_of_alpha(cast: Cast) -> None:
    beta_types_a_password(cast)
    pending = Member.objects.get(business=cast.strangers_business, person__email=VICTIM)
    victim = accept_by_link(alpha_invites(cast))
    assert not reads(victim, cast.strangers_business)
    page: Any = victim.get(urlsplit(address_of(pending)).path, follow=True)
    assert "new_password1" not in page.content.decode(), "the address is proved: the account confirms"
    victim.post(page.redirect_chain[-1][0], {"do": "accept"})
    assert reads(victim, cast.strangers_business)
    assert not reads(beta_signs_in(), cast.business)


def test_a_member_who_is_only_invited_does_not_keep_a_business_without_owner(cast: Cast, owner_client: Client) -> None:
    alpha_invites(cast)
    own = Member.objects.get(business=cast.business, person=cast.owner)
    page = press(owner_client, "/settings/members", {"do": "remove"}, at=f"/settings/members/{own.ref}", follow=True)
    assert "keeps at least one owner" in page.content.decode()


def test_a_password_of_the_staff_is_not_replaced_by_an_invitation(cast: Cast) -> None:
    head = Person.objects.create_superuser("head@example.test", PASSWORD)
    member = invitations.invite(
        business=cast.business,
        email=head.email,
        name="",
        role=MemberRole.CREW,
        actor=member_actor(cast.owner.memberships.get()),
    )
    page: Any = Client().get(urlsplit(address_of(member)).path, follow=True)
    assert page.redirect_chain[-1][0].startswith("/sign-in")


def test_only_an_owner_invites(invite: Send, cast: Cast, signed_in: Callable[[Person], Client]) -> None:
    for person in (cast.estimator, cast.crew, cast.bookkeeper):
        assert invite(client=signed_in(person)).status_code == 403
    assert not Person.objects.filter(email="nora@example.test").exists()


def test_an_invitation_without_a_key_for_its_retry_is_refused(owner_client: Client) -> None:
    assert owner_client.post("/api/v1/invitations", NEW, JSON).status_code == 400


def test_guessing_links_is_slowed_down(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(views, "_TRIES", 3)
    assert [Client().get(f"/welcome/unknown/{n}").status_code for n in range(4)] == [404, 404, 404, 429]


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
        page = owner_client.post("/settings/members", NEW, follow=True)
    assert "The invitation is being sent to nora@example.test" in page.content.decode()
    assert "Has not accepted yet" in page.content.decode()
    assert 'type="password"' not in page.content.decode()
    member = Member.objects.get(person__email="nora@example.test")
    with django_capture_on_commit_callbacks(execute=True):
        press(owner_client, "/settings/members", {"do": "letter"}, at=f"/settings/members/{member.ref}")
    assert len(mailoutbox) == 2
    assert set_password(Client(), link_in(mailoutbox[1])).status_code == 302
