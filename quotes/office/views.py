"""Today, looking for something, the list of jobs, a new job, and a job's own sheet."""

from __future__ import annotations

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from catalogue.queries import systems
from quotes.jobs import queries, services
from quotes.jobs.job_copies import copy_job
from quotes.jobs.measure_services import start_measure
from quotes.jobs.models import MOVES, Customer, Job, JobState
from quotes.office.job_forms import JobDetails, JobForm
from quotes.office.search import find_matches
from quotes.office.today import today_groups
from quotes.quoting.queries import quotes
from shared.business.roles import Scope
from shared.common.dates import today as local_today
from shared.common.problems import Problem
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.forms import entries
from shared.web.seen_version import acting_on

JOBS_A_SHEET = 50
EVENTS_SHOWN = 60
AGREED = (JobState.ACCEPTED, JobState.BUILT, JobState.CLOSED)


@require_safe
@require_scope(Scope.JOBS_READ)
def today(request: MemberRequest) -> HttpResponse:
    """Show open tasks; a new user sees the next step."""
    groups = today_groups(request.business, request.actor)
    empty = not groups and not queries.jobs(request.business).exists()
    may_start = request.actor.may(Scope.JOBS_WRITE)
    bare = empty and request.actor.may(Scope.CATALOGUE_WRITE) and not systems(request.business).exists()
    data = {
        "groups": groups,
        "newcomer": empty,
        "may_start": may_start,
        "bare": bare,
        "today": local_today(request.business),
    }
    return render(request, "office/today.html", data)


@require_safe
@require_scope(Scope.JOBS_READ)
def search(request: MemberRequest) -> HttpResponse:
    """Jobs, customers and quotes by words."""
    words = request.GET.get("q", "").strip()[:100]
    found = find_matches(request.business, request.actor, words) if words else []
    return render(request, "office/search.html", {"words": words, "groups": found})


@require_safe
@require_scope(Scope.JOBS_READ)
def jobs(request: MemberRequest) -> HttpResponse:
    """Jobs by state, the newest first, a sheet at a time."""
    state = request.GET.get("status", "")
    state = state if state in JobState.values else ""
    rows = queries.jobs(request.business, {"status": state}).select_related("customer", "site").order_by("-id")
    before = request.GET.get("before", "")
    if before.isascii() and before.isdigit() and len(before) < 19:
        rows = rows.filter(id__lt=int(before))
    found = list(rows[: JOBS_A_SHEET + 1])
    more = found[JOBS_A_SHEET - 1].pk if len(found) > JOBS_A_SHEET else None
    data = {"jobs": found[:JOBS_A_SHEET], "more": more, "state": state, "states": JobState.choices}
    return render(request, "office/jobs.html", {**data, "may_start": request.actor.may(Scope.JOBS_WRITE)})


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.JOBS_WRITE)
def new_job(request: MemberRequest) -> HttpResponse:
    """Create a job with its customer and site; the measure comes next."""
    form = JobForm(request.business, **entries(request))
    if form.is_valid():
        with transaction.atomic():
            job = form.open(request.actor)
            measure = start_measure(job=job, actor=request.actor) if request.actor.may(Scope.MEASURES_WRITE) else None
        return redirect("measure", measure.ref) if measure else redirect("job", job.ref)
    return render(request, "office/new_job.html", {"form": form}, status=form.status)


@require_safe
@require_scope(Scope.JOBS_READ)
def job(request: MemberRequest, ref: str) -> HttpResponse:
    """One job: where it stands, its measures and quotes, and everything that happened."""
    row = find(queries.jobs(request.business).select_related("customer", "site"), ref)
    may = request.actor.may
    data = {
        "job": row,
        "facts": _job_facts(row),
        "measures": queries.measures(request.business).filter(job=row).order_by("id")
        if may(Scope.MEASURES_READ)
        else [],
        "quotes": quotes(request.business, {"job": ref}).order_by("-id") if may(Scope.QUOTES_READ) else [],
        "events": queries.events(row).order_by("-id")[:EVENTS_SHOWN],
        "moves": sorted(MOVES[row.state]) if may(Scope.JOBS_WRITE) else [],
        "may_write": may(Scope.JOBS_WRITE),
        "may_compare": may(Scope.PRICES_READ) and row.state in AGREED,
    }
    return render(request, "office/job.html", data)


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.JOBS_WRITE)
def job_details(request: MemberRequest, ref: str) -> HttpResponse:
    """Change a job's label, dates and notes, and the details of its customer and site."""
    rows = queries.jobs(request.business).select_related("customer__business", "site", "business")
    form = JobDetails(find(rows, ref), **entries(request))
    if form.is_valid():
        try:
            with acting_on(request, rows, ref, _details_facts, exact=True, also=JobDetails.ROWS):
                form.save(request.actor)
        except Problem as problem:
            form.refuse(problem)
        else:
            messages.success(request, "Details saved.")
            return redirect("job", ref)
    row = find(rows, ref)
    facts = {"facts": _details_facts(row), "customer_facts": _customer_facts(row.customer)}
    return render(request, "office/job_details.html", {"job": row, "form": form, **facts}, status=form.status)


def _details_facts(row: Job) -> dict[str, str]:
    """Return the stored details of a job, its customer and its site, by label."""
    return JobDetails(row).facts()


@require_POST
@require_scope(Scope.JOBS_WRITE)
def archive_customer(request: MemberRequest, ref: str) -> HttpResponse:
    """Remove a job's customer from the lists. Jobs and quotes do not change."""
    customer = find(queries.jobs(request.business).select_related("customer"), ref).customer
    rows = queries.customers(request.business, archived=True).select_related("business")
    try:
        with acting_on(request, rows, customer.ref, _customer_facts) as row:
            services.archive_customer(customer=row, actor=request.actor)
        messages.success(request, f"{customer.name} is archived.")
    except Problem as problem:
        messages.error(request, problem.detail, extra_tags="Failed")
    return redirect("job-details", ref)


def _customer_facts(row: Customer) -> dict[str, str]:
    """Return what the page shows of a customer, by label."""
    return {"Customer": row.name, "Archived": "yes" if row.archived_at else "no"}


@require_POST
@require_scope(Scope.JOBS_WRITE)
def job_copy(request: MemberRequest, ref: str) -> HttpResponse:
    """Copy a job with its measures."""
    row = find(queries.jobs(request.business), ref)
    copy = copy_job(job=row, actor=request.actor)
    messages.success(
        request, f"{copy.number} is a copy of {row.number} with its current measures. Quotes were not copied."
    )
    return redirect("job", copy.ref)


@require_POST
@require_scope(Scope.JOBS_WRITE)
def job_note(request: MemberRequest, ref: str) -> HttpResponse:
    """One more thing on the time line."""
    row = find(queries.jobs(request.business), ref)
    text = request.POST.get("text", "").strip()[:2_000]
    if text:
        services.add_note(job=row, text=text, actor=request.actor)
    return redirect("job", ref)


@require_POST
@require_scope(Scope.JOBS_WRITE)
def job_move(request: MemberRequest, ref: str) -> HttpResponse:
    """Change the status of a job."""
    try:
        with acting_on(request, queries.jobs(request.business), ref, _job_facts) as row:
            services.move_job(job=row, to=request.POST.get("to", ""), actor=request.actor)
    except Problem as problem:
        messages.error(request, problem.detail, extra_tags="Failed")
    return redirect("job", ref)


def _job_facts(row: Job) -> dict[str, str]:
    """Return what decides about the status of a job, by label."""
    return {"Status": str(row.get_state_display()), "Job name": row.label}
