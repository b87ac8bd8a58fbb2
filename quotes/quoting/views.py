"""Views of the estimator's quote pages."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from fencing.model.faults import InvalidDocument
from quotes.jobs.models import Job, MeasureVersion
from quotes.jobs.queries import jobs, versions
from quotes.quoting import queries, services
from quotes.quoting.customer_responses import reply
from quotes.quoting.draft_setup import setup_of
from quotes.quoting.emails import letters_of
from quotes.quoting.models import Quote, Revision, RevisionState
from quotes.quoting.signed_links import address_of, reissue_link, revoke_link, show_link
from quotes.quoting.version_view import (
    FormErrors,
    IssuedLink,
    acting_on_revision,
    draft_form,
    party_names,
    refused_page,
    revision_facts,
    revision_page,
    whole_revisions,
)
from shared.background.outgoing_mail import send_again
from shared.business.roles import Scope
from shared.common.problems import Problem
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.page_errors import faults_by_pointer
from shared.web.seen_version import refuse_other_version


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.QUOTES_READ)
def job_price(request: MemberRequest, ref: str) -> HttpResponse:
    """Redirect to the newest revision of a job, or show the page that creates its first quote."""
    job = find(jobs(request.business).select_related("customer", "site", "business"), ref)
    if request.method == "POST":
        return _start(request, job)
    newest = queries.revisions(request.business, {"job": job.ref}).order_by("-id").first()
    return redirect("revision", newest.ref) if newest else render(request, "quoting/start.html", _starting(job))


def _starting(job: Job, notice: str = "") -> dict[str, object]:
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
        return revision_page(request, row)
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
        return refused_page(request, ref, problem)


def _save(request: MemberRequest, row: Revision) -> HttpResponse:
    refusal = _save_draft(request, row)
    if refusal:
        return revision_page(request, row, refusal)
    messages.success(request, "Draft saved.")
    return redirect("revision", row.ref)


def _save_draft(request: MemberRequest, row: Revision) -> FormErrors | None:
    draft, others = draft_form(row, request.POST), list[str]()
    if draft.is_valid():
        try:
            services.change_draft(revision=row, actor=request.actor, setup=draft.setup)
        except InvalidDocument as refused:
            others = draft.show_faults(faults_by_pointer(refused))
        else:
            return None
    return FormErrors(" ".join(["Not saved. Correct the marked fields.", *others]), draft)


def _send(request: MemberRequest, row: Revision) -> HttpResponse:
    refusal = _save_draft(request, row)
    if refusal:
        return revision_page(request, row, refusal)
    reason = request.POST.get("override_reason", "").strip()
    try:
        sent = services.send(revision=row, actor=request.actor, override_reason=reason)
    except InvalidDocument as refused:
        faults, draft = faults_by_pointer(refused), draft_form(row)
        draft.show_faults(faults)
        return revision_page(request, row, FormErrors("Quote not sent: " + " ".join(faults.values()), draft, reason))
    messages.success(request, f"{sent} is being sent to {party_names(sent)}.", extra_tags="Sent")
    return redirect("revision", sent.ref)


def _discard(request: MemberRequest, row: Revision) -> HttpResponse:
    job = row.quote.job.ref
    services.discard_draft(revision=row, actor=request.actor)
    messages.success(request, "Draft deleted.")
    return redirect("job-price", job)


def _use_newest_measure(request: MemberRequest, row: Revision) -> HttpResponse:
    """Change a draft to the newest version of its measure."""
    rows = versions(request.business).filter(measure=row.measure_version.measure_id)
    services.change_draft(
        revision=row, actor=request.actor, setup=setup_of(row), version=rows.order_by("-number").first()
    )
    return redirect("revision", row.ref)


@require_POST
@require_scope(Scope.QUOTES_WRITE)
def revise(request: MemberRequest, ref: str) -> HttpResponse:
    """Create the next draft of a quote, from the newest version of its measure."""
    quote: Quote = find(queries.quotes(request.business).select_related("job", "business"), ref)
    try:
        with transaction.atomic():
            services.lock_quote(quote)
            rows = whole_revisions(request.business).filter(quote=quote)
            last = rows.select_for_update(no_key=True, of=("self",)).latest("number")
            refuse_other_version(request, last, revision_facts)
            measured = versions(request.business).filter(measure=last.measure_version.measure_id)
            version = measured.select_related("measure").order_by("-number").first()
            draft = services.revise(quote=quote, actor=request.actor, version=version)
    except Problem as problem:
        messages.error(request, problem.detail, extra_tags="Failed")
        return redirect("job-price", quote.job.ref)
    return redirect("revision", draft.ref)


@require_POST
@require_scope(Scope.QUOTES_WRITE)
def party_link(request: MemberRequest, ref: str, key: str) -> HttpResponse:
    """Revoke a party's link, show it, or create a new one."""
    asked = request.POST.get("do", "")
    try:
        with acting_on_revision(request, ref) as row:
            party = queries.parties(row).select_related("business", "revision").filter(key=key).first()
            if party is None:
                raise Http404
            link = queries.live_links(row).get(party.pk)
            issued = None
            if asked == "revoke":
                if link:
                    revoke_link(link=link, actor=request.actor)
            elif asked != "show":
                issued = IssuedLink(party, address_of(reissue_link(party=party, actor=request.actor)), is_new=True)
            elif link:
                issued = IssuedLink(party, show_link(link=link, actor=request.actor), is_new=False)
            else:
                raise Problem("conflict", f"The link of {party.name} is revoked. Create a new link.")
    except Problem as problem:
        return refused_page(request, ref, problem)
    if issued is None:
        messages.success(request, f"The link of {party.name} is revoked.", extra_tags="Revoked")
        return redirect("revision", ref)
    response = revision_page(request, row, issued=issued)
    response["Cache-Control"] = "no-store"
    return response


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
        return refused_page(request, question.revision.ref, problem, question=question.ref, reply=text)
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
