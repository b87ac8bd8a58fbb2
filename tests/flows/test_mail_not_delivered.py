"""Mail that does not arrive is shown to those who can do something about it; a business always has an address."""

from __future__ import annotations

import re
import smtplib
from typing import Any

import pytest
from django.core.mail import EmailMessage
from django.test import Client

from quotes.quoting.models import Revision, SignedLink
from quotes.quoting.services import send
from shared.background.outgoing_mail import OutgoingMail, send_again
from shared.business.models import Business
from shared.database.audit_log import AuditEntry
from tests.flows.test_settings_pages import face
from tests.forms import press
from tests.quotes.quoting.cast import PARTIES, actor_of, drafted, stock_up, token

pytestmark = pytest.mark.django_db


@pytest.fixture
def refused(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Simulate a mail server that rejects all recipients, until the returned function is called."""
    real = EmailMessage.send

    def refuse(letter: EmailMessage, fail_silently: bool = False) -> int:
        raise smtplib.SMTPRecipientsRefused(dict.fromkeys(letter.to, (550, b"no such user")))

    monkeypatch.setattr(EmailMessage, "send", refuse)
    return lambda: monkeypatch.setattr(EmailMessage, "send", real)


@pytest.fixture
def mailed(business: Business, refused: Any, django_capture_on_commit_callbacks: Any) -> Revision:
    stock_up(business)
    with django_capture_on_commit_callbacks(execute=True):
        return send(revision=drafted(business), actor=actor_of(business))


def test_a_quote_that_could_not_be_delivered_is_shown_and_sent_again(
    mailed: Revision,
    refused: Any,
    owner_client: Client,
    mailoutbox: list[Any],
    django_capture_on_commit_callbacks: Any,
) -> None:
    today = owner_client.get("/").content.decode()
    assert "Mail not delivered" in today
    assert "could not be delivered" in today
    page = owner_client.get(f"/revisions/{mailed.ref}").content.decode()
    assert "550 no such user" in page
    assert "mailed " not in page.replace("being mailed", "")
    refused()
    for letter in re.findall(r'name="letter" value="([^"]+)"', page):
        with django_capture_on_commit_callbacks(execute=True):
            owner_client.post(f"/revisions/{mailed.ref}/send-again", {"letter": letter})
    assert sorted(item.to[0].split("<")[-1] for item in mailoutbox) == ["ada@example.test>", "ben@example.test>"]
    assert not SignedLink.objects.of(mailed.business).filter(mailed_at=None).exists()
    assert "Mail not delivered" not in owner_client.get("/").content.decode()
    assert "could not be delivered" not in owner_client.get(f"/revisions/{mailed.ref}").content.decode()


def delivery(client: Client, revision: Revision) -> dict[str, tuple[str, str]]:
    """Return the delivery status and error of each party's link, which the list and the revision show equally."""
    listed = client.get(f"/api/v1/revisions/{revision.ref}/parties").json()["items"]
    assert listed == client.get(f"/api/v1/revisions/{revision.ref}").json()["parties"]
    links = {party["key"]: party["link"] for party in listed}
    return {key: (link["delivery_status"], link["delivery_error"]) for key, link in links.items()}


def test_the_api_shows_whether_a_link_was_delivered(
    mailed: Revision, refused: Any, owner_client: Client, django_capture_on_commit_callbacks: Any
) -> None:
    failed = delivery(owner_client, mailed)
    assert {status for status, _ in failed.values()} == {"failed"}
    assert failed["owner"][1].endswith("550 no such user")
    refused()
    for row in OutgoingMail.objects.all():
        with django_capture_on_commit_callbacks(execute=True):
            send_again(row, actor=actor_of(mailed.business))
    assert delivery(owner_client, mailed) == {"owner": ("sent", ""), "neighbour": ("sent", "")}


def test_the_api_shows_a_link_whose_email_is_not_delivered_yet(
    business: Business, owner_client: Client, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    def fail(*_: object, **__: object) -> int:
        raise smtplib.SMTPDataError(451, b"try later")

    stock_up(business)
    monkeypatch.setattr(EmailMessage, "send", fail)
    parties = [PARTIES[0], {**PARTIES[1], "email": ""}]
    with django_capture_on_commit_callbacks(execute=False) as callbacks:
        revision = send(revision=drafted(business, {"parties": parties}), actor=actor_of(business))
    assert delivery(owner_client, revision) == {"owner": ("sending", ""), "neighbour": ("none", "")}
    for callback in callbacks:
        callback()
    assert delivery(owner_client, revision) == {"owner": ("delayed", "451 try later"), "neighbour": ("none", "")}


def test_the_link_can_be_copied_without_ending_it(mailed: Revision, owner_client: Client) -> None:
    revision = f"/revisions/{mailed.ref}"
    page = press(owner_client, revision, {"do": "show"}, f"{revision}/parties/owner/link")
    assert f"/q/{token(mailed, 'owner')}" in page.content.decode()
    assert page["Cache-Control"] == "no-store"
    assert SignedLink.objects.of(mailed.business).count() == 2
    assert AuditEntry.objects.filter(action="link.shown").count() == 1


def test_a_crew_member_is_not_shown_mail(mailed: Revision, signed_in: Any, cast: Any) -> None:
    assert "Mail not delivered" not in signed_in(cast.crew).get("/").content.decode()


# -- the address of the business ------------------------------------------------------
def test_a_new_business_has_the_address_of_its_owner(business: Business) -> None:
    assert business.email == "olive@example.test"


def test_an_address_can_not_be_taken_away(owner_client: Client, business: Business) -> None:
    page = press(owner_client, "/settings", face(business, email=""))
    assert page.status_code == 422
    assert "questions and responses of customers" in page.content.decode()
    etag = owner_client.get("/api/v1/business")["ETag"]
    body, headers = {"email": ""}, {"If-Match": etag}
    assert owner_client.patch("/api/v1/business", body, "application/json", headers=headers).status_code == 422


def test_settings_warn_until_a_test_letter_was_sent(
    owner_client: Client, business: Business, mailoutbox: list[Any], django_capture_on_commit_callbacks: Any
) -> None:
    assert "Not tested" in owner_client.get("/settings").content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        owner_client.post("/settings/test-mail")
    assert [(item.to, item.subject) for item in mailoutbox] == [(["olive@example.test"], "Test e-mail")]
    page = owner_client.get("/settings").content.decode()
    assert "Not tested" not in page
    assert "Tested on" in page
    press(owner_client, "/settings", face(business, email="office@example.test"))
    assert "Not tested" in owner_client.get("/settings").content.decode()


def test_settings_say_why_a_test_letter_did_not_arrive(
    owner_client: Client, refused: Any, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        owner_client.post("/settings/test-mail")
    page = owner_client.get("/settings").content.decode()
    assert "550 no such user" in page
    assert "Tested on" not in page


def test_a_service_without_a_mail_server_says_so(owner_client: Client, settings: Any) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
    assert "No mail server" in owner_client.get("/settings").content.decode()


def test_zone_and_locale_are_chosen_from_lists(owner_client: Client, business: Business) -> None:
    page = owner_client.get("/settings").content.decode()
    zones = re.search(r'<select id="f-time_zone".*?</select>', page, re.DOTALL)
    locales = re.search(r'<select id="f-locale".*?</select>', page, re.DOTALL)
    assert zones
    assert locales
    assert re.findall(r'value="([^"]+)"', zones.group())[:3] == [
        "Pacific/Auckland",
        "Pacific/Chatham",
        "Africa/Abidjan",
    ]
    assert re.findall(r'value="([^"]+)"', locales.group())[:2] == ["en_NZ", "mi_NZ"]
    assert '<option value="UTC" selected>' in zones.group()
    press(owner_client, "/settings", face(business, time_zone="Pacific/Chatham", locale="mi_NZ"))
    business.refresh_from_db()
    assert (business.time_zone, business.locale) == ("Pacific/Chatham", "mi_NZ")
