"""Customer page of a quote: read, choose options, ask, accept, decline. It works without script.

The token of the signed link is exchanged for a cookie. The cookie lasts one hour and is valid for one address without the token.
A GET changes no response. The forms have their own signed mark instead of Django's CSRF check: a page without a referrer sends
``Origin: null``, which that check rejects.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.conf import settings
from django.core.signing import Signer
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.crypto import constant_time_compare
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_safe

from fencing.model.faults import InvalidDocument
from quotes.documents.document_kind import DocumentKind
from quotes.documents.kinds.acceptance import ACCEPTANCE
from quotes.documents.kinds.quote import QUOTE, quote_values
from quotes.documents.models import Document, DocumentState
from quotes.documents.page_parts import drawings
from quotes.documents.views import not_ready
from quotes.quoting.customer_responses import NEUTRAL, accept, ask, decline, link_of, open_link
from quotes.quoting.party_documents import PartyView
from shared.common.dates import dates_by
from shared.common.problems import Problem
from shared.database.errors import retry_deadlock
from shared.web import rate_limit
from shared.web.page_errors import error_page

COOKIE = "quote"
LIVES_S = 3600
WRONG_A_MINUTE = 20
LINK_ADVICE = (
    "A link stops working when we send a new one. A page expires after one hour. "
    "Open the link in the newest message again."
)
LONGEST = {"name": 120, "decliner": 120, "reason": 2_000, "text": 2_000}


@dataclass(frozen=True, slots=True)
class FormFeedback:
    """Feedback to a submitted form: notice, errors by field, entered values."""

    notice: str = ""
    faults: Mapping[str, str] = field(default_factory=dict)
    typed: Mapping[str, str] = field(default_factory=lambda: dict.fromkeys(LONGEST, ""))
    status: int = 200


@require_safe
@retry_deadlock
def enter(request: HttpRequest, token: str) -> HttpResponse:
    """Exchange the token for the cookie and redirect to an address without a secret."""
    try:
        link_of(token)
    except Problem:
        caller = f"ip:{rate_limit.client_ip(request)}"
        standing = rate_limit.count(caller, policy="link", quota=WRONG_A_MINUTE, window_s=60)
        return _too_many(request, standing) if standing.exceeded else no_quote(request)
    handle = _handle(token)
    return _remember(_private(redirect("party-quote", handle)), handle, token)


@csrf_exempt  # the form's own mark is checked instead: see the module docstring
@require_http_methods(["GET", "HEAD", "POST"])
@retry_deadlock
def party_quote(request: HttpRequest, handle: str) -> HttpResponse:
    """Show the customer page, or process one of its forms."""
    token = _token(request, handle)
    try:
        response = _answer(request, token, handle) if request.method == "POST" else _page(request, token, handle)
    except Problem as problem:
        if problem.code != "gone":
            raise
        return no_quote(request)
    return _remember(response, handle, token)


@require_safe
def party_pdf(request: HttpRequest, handle: str) -> HttpResponse:
    """Return the party's PDF that was created when the quote was sent."""
    return _made(request, handle, QUOTE)


@require_safe
def party_record(request: HttpRequest, handle: str) -> HttpResponse:
    """Return the party's acceptance record: selected options, price, payments and terms."""
    return _made(request, handle, ACCEPTANCE)


def _made(request: HttpRequest, handle: str, kind: DocumentKind) -> HttpResponse:
    try:
        link = link_of(_token(request, handle))
    except Problem:
        return no_quote(request)
    row = (
        Document.objects.of(link.business).filter(revision=link.revision, kind=kind.code, party=link.party.key).first()
    )
    if row is None or row.pdf is None:
        return _private(not_ready(request, 404))
    response = _private(HttpResponse(bytes(row.pdf), content_type="application/pdf"))
    name = f"{kind.file_name}-{link.revision.quote.number}-{link.revision.number}.pdf"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def no_quote(request: HttpRequest) -> HttpResponse:
    """Return the same page for a link that is wrong, revoked or expired."""
    return _invalid_link(request, 410, NEUTRAL)


def _too_many(request: HttpRequest, standing: rate_limit.RateLimitStatus) -> HttpResponse:
    response = _invalid_link(request, 429, "Wait a minute, then try again.")
    for name, value in standing.headers().items():
        response[name] = value
    return response


def _invalid_link(request: HttpRequest, status: int, text: str) -> HttpResponse:
    title = "This link is not valid"
    return _private(error_page(request, status, title, title, text, LINK_ADVICE, is_ours=False))


def _answer(request: HttpRequest, token: str, handle: str) -> HttpResponse:
    if not constant_time_compare(request.POST.get("mark", ""), _mark(token)):
        return _page(
            request, token, handle, FormFeedback("This form is out of date. Please send it again.", status=403)
        )
    actions: dict[str, Callable[[HttpRequest, str], None]] = {"accept": _accept, "decline": _decline, "ask": _ask}
    typed = {name: request.POST.get(name, "").strip() for name in LONGEST}
    if request.POST.get("do") == "review":
        return _page(request, token, handle, FormFeedback(typed=typed), is_review=True)
    action = actions.get(request.POST.get("do", ""))
    if action is None:
        return _page(request, token, handle, FormFeedback(typed=typed))
    try:
        action(request, token)
    except _AgainError as again:
        data = FormFeedback(again.notice, again.faults, typed, again.status)
        return _page(request, token, handle, data, is_review=action is _accept)
    except InvalidDocument as refused:
        text = " ".join(fault.text for fault in refused.faults)
        return _page(request, token, handle, FormFeedback(text, typed=typed, status=422))
    except Problem as problem:
        if problem.code == "gone":
            raise
        return _page(request, token, handle, FormFeedback(problem.detail, typed=typed, status=problem.status))
    there = "#ask" if action is _ask else ""  # the question is shown there
    return _private(redirect(reverse("party-quote", args=[handle]) + there))


class _AgainError(Exception):
    """Raised to show the form again with its errors."""

    def __init__(self, notice: str, faults: Mapping[str, str] | None = None, status: int = 422) -> None:
        super().__init__(notice)
        self.notice, self.faults, self.status = notice, faults or {}, status


def _accept(request: HttpRequest, token: str) -> None:
    choices = chosen(request)
    view = open_link(token, choices)
    if view.can_respond and not constant_time_compare(request.POST.get("agreed", ""), _agreed(token, view)):
        raise _AgainError("Check the quote, then select “Accept this quote”.", status=409)
    name = _text(request, "name", "Enter your full name. It counts as your signature.")
    settles = view.can_respond and view.document.party.chooses_options
    accept(token=token, name=name, content_sha256=request.POST.get("content", ""), choices=choices if settles else None)


def _decline(request: HttpRequest, token: str) -> None:
    name = _text(request, "decliner", "Enter your name.", "name")
    decline(token=token, name=name, reason=request.POST.get("reason", "").strip()[: LONGEST["reason"]])


def _ask(request: HttpRequest, token: str) -> None:
    ask(token=token, text=_text(request, "text", "Enter your question."))


def _text(request: HttpRequest, field_name: str, missing: str, kind: str = "") -> str:
    text = request.POST.get(field_name, "").strip()
    most = LONGEST[kind or field_name]
    if not text or len(text) > most or "\x00" in text:
        fault = missing if not text else f"Enter at most {most} characters ({len(text)} entered)."
        raise _AgainError(fault, {field_name: fault})
    return text


def chosen(request: HttpRequest) -> dict[str, Any]:
    """Return the selected build and options of a form."""
    return {"build": request.POST.get("build", "base"), "options": request.POST.getlist("option")[:40]}


def _page(
    request: HttpRequest, token: str, handle: str, feedback: FormFeedback | None = None, *, is_review: bool = False
) -> HttpResponse:
    """Show the quote, or the second step of accepting it if the party may respond."""
    business, feedback = link_of(token).business, feedback or FormFeedback()
    with dates_by(business.time_zone, business.locale):
        try:
            view = open_link(token, chosen(request) if request.method == "POST" else None)
        except InvalidDocument as refused:
            text = " ".join(fault.text for fault in refused.faults)
            view, is_review = open_link(token), False
            feedback = FormFeedback(text, feedback.faults, feedback.typed, 422)
        page = "party_review" if is_review and view.can_respond else "party_quote"
        values = _values(view, token, handle, feedback)
        return _private(render(request, f"documents/{page}.html", values, status=feedback.status))


def _values(view: PartyView, token: str, handle: str, feedback: FormFeedback) -> dict[str, Any]:
    document, values = view.document, quote_values(view.document)
    link = link_of(token)
    kept = Document.objects.of(link.business).filter(revision=link.revision, kind=QUOTE.code, party=link.party.key)
    return {
        "view": view,
        "document": document,
        "sheet": values["sheet"],
        "face": values["face"],
        "drawings": values["sheet"]["drawings"],
        "phone_drawings": drawings(document.build, "phone_drawings"),
        "locale": document.business.locale,
        "page_language": document.business.language,
        "currency": document.currency,
        "chooses_options": view.can_respond
        and document.party.chooses_options
        and bool(document.builds or document.options),
        "feedback": feedback,
        "mark": _mark(token),
        "has_pdf": kept.filter(state=DocumentState.READY).exists(),
        "pdf": reverse("party-pdf", args=[handle]),
        "accepted": view.receipt is not None and view.receipt.response == "accepted",
        "record": reverse("party-record", args=[handle]),
        "agreed": _agreed(token, view),
    }


def _handle(token: str) -> str:
    """Return the handle in the address of a cookie. It does not reveal the token and gives no access on its own."""
    return hashlib.sha256(f"address:{token}".encode()).hexdigest()[:20]


def _agreed(token: str, view: PartyView) -> str:
    """Return the proof that the second step showed these choices at this price. Accepting requires it."""
    document = view.document
    chosen_keys = [build.key for build in document.builds if build.chosen]
    chosen_keys += [option.key for option in document.options if option.chosen]
    shown = json.dumps([token, view.content_sha256, str(document.total), chosen_keys])
    return Signer(salt="party agreement").signature(shown)


def _mark(token: str) -> str:
    return Signer(salt="party form").signature(token)


def _token(request: HttpRequest, handle: str) -> str:
    token = request.get_signed_cookie(COOKIE, default="", salt=f"party page {handle}", max_age=LIVES_S)
    return token if token and _handle(token) == handle else ""


def _remember(response: HttpResponse, handle: str, token: str) -> HttpResponse:
    response.set_signed_cookie(
        COOKIE,
        token,
        salt=f"party page {handle}",
        max_age=LIVES_S,
        path=reverse("party-quote", args=[handle]),
        secure=settings.SECURE,
        httponly=True,
        samesite="Lax",
    )
    return response


def _private(response: HttpResponse) -> HttpResponse:
    response["Cache-Control"] = "no-store"
    response["Referrer-Policy"] = "no-referrer"
    response["X-Robots-Tag"] = "noindex, nofollow"
    return response
