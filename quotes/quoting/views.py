"""Views of the estimator's quote pages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from catalogue.queries import price_rules_on, site_words_on
from catalogue.rules.discounts import DiscountRule
from fencing.model.faults import InvalidDocument
from quotes.jobs.models import Job, MeasureVersion
from quotes.jobs.queries import jobs, versions
from quotes.quoting import queries, services
from quotes.quoting.customer_responses import reply
from quotes.quoting.draft_form import read_draft, sections, shares_of, wholes
from quotes.quoting.draft_setup import read_setup
from quotes.quoting.mail_status import letter_to, letters_of
from quotes.quoting.models import Party, Quote, Revision, RevisionState
from quotes.quoting.price_summary import priced
from quotes.quoting.signed_links import address_of, reissue_link, revoke_link, show_link
from quotes.quoting.version_view import (
    acting_on_revision,
    last_revision,
    revision_facts,
    shown_content,
    whole_revisions,
)
from shared.background.outgoing_mail import send_again
from shared.business.roles import Scope
from shared.common.form_fields import faults_by_pointer
from shared.common.problems import Problem
from shared.members.access import MemberRequest, require_scope
from shared.models import Business
from shared.web.etags import find
from shared.web.seen_version import refuse_other_version


@dataclass(frozen=True, slots=True)
class FormErrors:
    """Errors of a submitted form and its entered values."""

    faults: Mapping[str, str] = field(default_factory=dict)
    notice: str = ""
    setup: Mapping[str, Any] | None = None
    reason: str = ""
    question: str = ""
    """Ref of the question that ``reply`` answers."""
    reply: str = ""
    status: int = 422


NOTHING = FormErrors(status=200)


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.QUOTES_READ)
def job_price(request: MemberRequest, ref: str) -> HttpResponse:
    """Redirect to the newest revision of a job, or show the page that creates its first quote."""
    job = find(jobs(request.business).select_related("customer", "site", "business"), ref)
    if request.method == "POST":
        return _start(request, job)
    newest = queries.revisions(request.business, {"job": job.ref}).order_by("-id").first()
    return redirect("revision", newest.ref) if newest else render(request, "quoting/start.html", _starting(job))


def _starting(job: Job, notice: str = "") -> dict[str, Any]:
    newest: dict[int, MeasureVersion] = {}
    for row in versions(job.business).filter(measure__job=job).select_related("measure").order_by("-id")[:100]:
        newest.setdefault(row.measure_id, row)
    return {"job": job, "versions": list(newest.values()), "notice": notice}


def _start(request: MemberRequest, job: Job) -> HttpResponse:
    _may_write(request)
    rows = versions(request.business).filter(measure__job=job).select_related("measure")
    asked = request.POST.get("measure", "")
    version = rows.filter(measure__ref=asked).order_by("-number").first() if asked else rows.order_by("-id").first()
    if version is None:
        return render(request, "quoting/start.html", _starting(job, "Measure the fence first."), status=409)
    try:
        draft = services.start_quote(job=job, version=version, actor=request.actor)
    except Problem as problem:
        return render(request, "quoting/start.html", _starting(job, problem.detail), status=problem.status)
    return redirect("revision", draft.ref)


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.QUOTES_READ)
def revision(request: MemberRequest, ref: str) -> HttpResponse:
    """Show a revision: the form of a draft, or a sent revision with its responses."""
    row = find(whole_revisions(request.business), ref)
    if request.method != "POST":
        return _sheet(request, row)
    _may_write(request)
    actions: dict[str, Callable[[MemberRequest, Revision], HttpResponse]] = {
        "save": _save,
        "send": _send,
        "discard": _discard,
        "measure": _use_newest_measure,
    }
    asked = request.POST.get("do", "")
    try:
        with acting_on_revision(request, ref, exact=asked == "send") as row:
            return actions.get(asked, _save)(request, row)
    except Problem as problem:
        row = find(whole_revisions(request.business), ref)
        return _sheet(
            request, row, FormErrors(notice=problem.detail, status=problem.status, **_entered_values(request, row))
        )


def _entered_values(request: MemberRequest, row: Revision) -> dict[str, Any]:
    """Return the entered draft, so that a rejected action loses nothing."""
    if request.POST.get("do") not in ("save", "send") or row.state != RevisionState.DRAFT:
        return {}
    return {"setup": read_draft(request.POST, row.setup), "reason": request.POST.get("override_reason", "").strip()}


def _save(request: MemberRequest, row: Revision) -> HttpResponse:
    refusal = _save_draft(request, row)
    if refusal:
        return _sheet(request, row, refusal)
    messages.success(request, "Draft saved.")
    return redirect("revision", row.ref)


def _save_draft(request: MemberRequest, row: Revision) -> FormErrors | None:
    typed = read_draft(request.POST, row.setup)
    try:
        services.change_draft(revision=row, actor=request.actor, setup=read_setup(typed))
    except InvalidDocument as refused:
        return FormErrors(faults_by_pointer(refused), "Not saved. Correct the marked fields.", typed)
    return None


def _send(request: MemberRequest, row: Revision) -> HttpResponse:
    refusal = _save_draft(request, row)
    if refusal:
        return _sheet(request, row, refusal)
    reason = request.POST.get("override_reason", "").strip()
    try:
        sent = services.send(revision=row, actor=request.actor, override_reason=reason)
    except InvalidDocument as refused:
        faults = faults_by_pointer(refused)
        return _sheet(request, row, FormErrors(faults, "Quote not sent: " + " ".join(faults.values()), reason=reason))
    messages.success(request, f"{sent} is being sent to {_names(sent)}.", extra_tags="Sent")
    return redirect("revision", sent.ref)


def _discard(request: MemberRequest, row: Revision) -> HttpResponse:
    job = row.quote.job.ref
    services.discard_draft(revision=row, actor=request.actor)
    messages.success(request, "Draft deleted.")
    return redirect("job-price", job)


def _use_newest_measure(request: MemberRequest, row: Revision) -> HttpResponse:
    """Change a draft to the newest version of its measure."""
    rows = versions(request.business).filter(measure=row.measure_version.measure_id)
    services.change_draft(revision=row, actor=request.actor, setup=row.setup, version=rows.order_by("-number").first())
    return redirect("revision", row.ref)


@require_POST
@require_scope(Scope.QUOTES_WRITE)
def revise(request: MemberRequest, ref: str) -> HttpResponse:
    """Create the next draft of a quote, from the newest version of its measure."""
    quote: Quote = find(queries.quotes(request.business).select_related("job", "business"), ref)
    try:
        with transaction.atomic():
            services.lock_quote(quote)
            last = last_revision(quote)
            refuse_other_version(request, last, revision_facts)
            rows = versions(request.business).filter(measure=last.measure_version.measure_id)
            version = rows.select_related("measure").order_by("-number").first()
            draft = services.revise(quote=quote, actor=request.actor, version=version)
    except Problem as problem:
        messages.error(request, problem.detail, extra_tags="Failed")
        return redirect("job-price", quote.job.ref)
    return redirect("revision", draft.ref)


@require_POST
@require_scope(Scope.QUOTES_WRITE)
def party_link(request: MemberRequest, ref: str, key: str) -> HttpResponse:
    """Revoke a party's link, show it, or create a new one."""
    actions: dict[str, Callable[[MemberRequest, Revision, Party], Mapping[str, Any] | None]] = {
        "revoke": _revoke,
        "show": _show_link,
    }
    action = actions.get(request.POST.get("do", ""), _reissue)
    try:
        with acting_on_revision(request, ref) as row:
            party = find(queries.parties(row).select_related("business", "revision"), _party_ref(row, key))
            issued = action(request, row, party)
    except Problem as problem:
        return _sheet(
            request,
            find(whole_revisions(request.business), ref),
            FormErrors(notice=problem.detail, status=problem.status),
        )
    if issued is None:
        messages.success(request, f"The link of {party.name} is revoked.", extra_tags="Revoked")
        return redirect("revision", ref)
    response = _sheet(request, row, issued=issued)
    response["Cache-Control"] = "no-store"
    return response


def _revoke(request: MemberRequest, row: Revision, party: Party) -> None:
    link = queries.live_links(row).get(party.pk)
    if link:
        revoke_link(link=link, actor=request.actor)


def _reissue(request: MemberRequest, row: Revision, party: Party) -> Mapping[str, Any]:
    link = reissue_link(party=party, actor=request.actor)
    return {"party": party, "address": address_of(link), "is_new": True}


def _show_link(request: MemberRequest, row: Revision, party: Party) -> Mapping[str, Any]:
    """Return the current link for copying, without revoking or sending anything."""
    link = queries.live_links(row).get(party.pk)
    if link is None:
        raise Problem("conflict", f"The link of {party.name} is revoked. Create a new link.")
    return {"party": party, "address": show_link(link=link, actor=request.actor), "is_new": False}


@require_POST
@require_scope(Scope.QUOTES_WRITE)
def letter_again(request: MemberRequest, ref: str) -> HttpResponse:
    """Send an e-mail about this revision again."""
    row = find(whole_revisions(request.business), ref)
    asked = request.POST.get("letter", "")
    letter = next((item for item in letters_of(row) if f"{item.event.ref}/{item.name}" == asked), None)
    if letter is None:
        messages.error(request, "This e-mail belongs to a revoked link.", extra_tags="Failed")
    else:
        send_again(letter, actor=request.actor)
        messages.success(request, f"The e-mail to {letter.recipient} is being sent again.")
    return redirect("revision", ref)


def _party_ref(row: Revision, key: str) -> str:
    return str(queries.parties(row).filter(key=key).values_list("ref", flat=True).first() or "")


@require_POST
@require_scope(Scope.QUOTES_WRITE)
def answer_question(request: MemberRequest, ref: str) -> HttpResponse:
    """Answer a customer's question."""
    rows = queries.questions(request.business).select_related("party", "revision__quote__job", "business")
    question = find(rows, ref)
    text = request.POST.get("text", "").strip()[:4_000]
    try:
        if text:
            with acting_on_revision(request, question.revision.ref):
                reply(question=question, text=text, actor=request.actor)
            messages.success(request, f"{question.party.name} has been notified.", extra_tags="Answered")
    except Problem as problem:
        row = find(whole_revisions(request.business), question.revision.ref)
        typed = FormErrors(notice=problem.detail, status=problem.status, question=question.ref, reply=text)
        return _sheet(request, row, typed)
    return redirect("revision", question.revision.ref)


@require_GET
@require_scope(Scope.QUOTES_READ)
def quote_list(request: MemberRequest) -> HttpResponse:
    """List the revisions of all quotes with their status."""
    status = request.GET.get("status", "")
    rows = queries.revisions(request.business, {"status": status} if status in RevisionState.values else {})
    rows = rows.select_related("quote__job__customer").order_by("-id")
    data = {"revisions": rows[:200], "states": RevisionState.choices, "selected": status}
    business = request.business
    return render(request, "quoting/quotes.html", {**data, "currency": business.currency, "locale": business.locale})


def _may_write(request: MemberRequest) -> None:
    if not request.actor.may(Scope.QUOTES_WRITE):
        raise PermissionDenied


def _names(row: Revision) -> str:
    names = [party.name for party in queries.parties(row).order_by("position")]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _discounts(business: Business) -> list[DiscountRule]:
    """Return the discounts of today's price rules; none if the rules are invalid, which the page shows elsewhere."""
    try:
        return list(price_rules_on(business).discounts.values())
    except InvalidDocument:
        return []


def _sheet(
    request: MemberRequest, row: Revision, refusal: FormErrors = NOTHING, issued: Mapping[str, Any] | None = None
) -> HttpResponse:
    content, missing = shown_content(row)
    money = priced(content, row.choices) if content else None
    setup = row.setup if refusal.setup is None else refusal.setup
    parties = list(queries.parties(row).order_by("position"))
    links = queries.live_links(row)
    letters = letters_of(row) if row.state != RevisionState.DRAFT else []
    newest = versions(request.business).filter(measure=row.measure_version.measure_id).order_by("-number").first()
    values = {
        "revision": row,
        "job": row.quote.job,
        "is_draft": row.state == RevisionState.DRAFT,
        "content": content,
        "missing": missing,
        "priced": money,
        "sees_costs": request.actor.may(Scope.PRICES_READ),
        "may_write": request.actor.may(Scope.QUOTES_WRITE),
        "sections": sections(setup, refusal.faults, site_words_on(request.business).hazardous),
        "whole": wholes(setup, {**missing, **refusal.faults}, _discounts(request.business)),
        "around": setup.get("site_conditions"),
        "cautions": content["builds"][0]["cautions"]["owner"] if content else [],
        "shares": shares_of(setup, [item["key"] for item in setup.get("parties", [])]),
        "chooser": next((item["key"] for item in setup.get("parties", []) if item.get("chooses_options")), ""),
        "parties": [
            {"party": party, "link": links.get(party.pk), "letter": letter_to(links.get(party.pk), letters)}
            for party in parties
        ],
        "undelivered": [letter for letter in letters if letter.is_late or letter.is_failed],
        "names": _names(row),
        "unreached": [party.name for party in parties if not party.email],
        "questions": queries.questions(request.business, row).select_related("party").order_by("id"),
        "revisions": queries.revisions(request.business, {"quote": row.quote.ref}).order_by("-number"),
        "newer_measure": newest if newest and newest.pk != row.measure_version_id else None,
        "refusal": refusal,
        "facts": revision_facts(row, money),
        "issued": issued,
        "locale": request.business.locale,
        "currency": request.business.currency,
    }
    return render(request, "quoting/revision.html", values, status=refusal.status)
