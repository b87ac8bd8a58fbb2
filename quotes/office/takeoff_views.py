"""The take-off sheet: quantities with their why, what to cut, where to dig, how to saw, and what a change would move."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from catalogue.labels import finish_words
from fencing.buying.needs import BuyingPolicy, Needs
from fencing.buying.purchase import purchase
from fencing.buying.stock_options import stock_options
from fencing.cutting import INTERACTIVE
from fencing.documents.takeoff_document import write_takeoff
from fencing.model.faults import InvalidDocument
from fencing.quantities.take_off import TakeOff
from quotes.documents.kinds.cut_list import cut_list
from quotes.documents.kinds.set_out import run_sheets
from quotes.documents.notices import marked
from quotes.jobs import queries
from quotes.jobs.document_text import parsed
from quotes.jobs.measure_services import newest
from quotes.jobs.takeoff_cache import SystemWithPrices, take_off_measure
from quotes.office.measure_drafts import measure_facts
from quotes.office.measure_preview import NARROW, WIDE, elevation_of
from quotes.office.run_fields import FORM_CHOICES, LAYOUT_CHOICES
from quotes.office.strength_views import strength_panel
from quotes.office.takeoff_rows import Sawing, moved_between, quantity_rows, sawing
from quotes.purchasing.saw_sheets import placed
from quotes.quoting.build_pricing import changed_document
from quotes.quoting.queries import quotes
from shared.business.roles import Scope
from shared.common.typed_entries import HEIGHT, read_length
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find


@require_safe
@require_scope(Scope.MEASURES_READ)
def of_job(request: MemberRequest, ref: str) -> HttpResponse:
    """To the take-off of a job's last measure; to the measure where there is none yet."""
    job = find(queries.jobs(request.business), ref)
    measure = queries.measures(request.business).filter(job=job).order_by("-id").first()
    return redirect("takeoff", measure.ref) if measure and measure.latest_version else redirect("job-measure", ref)


@gzip_page
@require_safe
@require_scope(Scope.MEASURES_READ)
def takeoff(request: MemberRequest, ref: str) -> HttpResponse:
    """Show the take-off of the last saved version, and the effect of another height, slope method or layout."""
    measure = find(queries.measures(request.business).select_related("job"), ref)
    version = newest(measure)
    if version is None:
        return redirect("measure", ref)
    document = parsed(version.document)
    data: dict[str, Any] = {
        "measure": measure,
        "facts": measure_facts(measure),
        "job": measure.job,
        "version": version,
        "forms": FORM_CHOICES,
        "layouts": LAYOUT_CHOICES,
        "heights": [run["id"] for run in document.get("runs", [])],
    }
    try:
        result = take_off_measure(request.business, document)
    except InvalidDocument as refused:
        return render(request, "office/takeoff.html", {**data, "faults": refused.faults}, status=409)
    taken, found = result.takeoff, result.found
    written = write_takeoff(taken)
    return render(
        request,
        "office/takeoff.html",
        {
            **data,
            **_change(request, document, taken),
            "taken": taken,
            "finishes": finish_words(request.business),
            "drawing": elevation_of(taken, NARROW if "narrow" in request.COOKIES else WIDE),
            "notices": marked(written),
            "quantities": quantity_rows(taken),
            "cuts": cut_list(written),
            "sheets": run_sheets(written, taken.system.gates.screws_per_joint),
            "saws": _saws(taken, found, written),
            "to_price": request.actor.may(Scope.QUOTES_WRITE)
            and not quotes(request.business, {"job": measure.job.ref}).exists(),
            "posts": len({post.id for run in taken.runs for post in run.posts}),
            "strength": strength_panel(
                written, taken, found, request.business, priced=request.actor.may(Scope.QUOTES_READ)
            ),
            "may_write": request.actor.may(Scope.MEASURES_WRITE) and not measure.draft_at,
        },
    )


def _change(request: MemberRequest, document: Mapping[str, Any], taken: TakeOff) -> dict[str, Any]:
    """Return the requested change and its effect, or the error if it cannot be built."""
    asked = {key: request.GET.get(key, "").strip()[:40] for key in ("height_mm", "lattice_mm", "form", "layout")}
    change: dict[str, Any] = {key: value for key, value in asked.items() if value and not key.endswith("_mm")}
    change |= {key: read_length(value, HEIGHT) for key, value in asked.items() if value and key.endswith("_mm")}
    if not change:
        return {"asked": asked}
    try:
        other = take_off_measure(request.business, changed_document(document, change)).takeoff
    except InvalidDocument as refused:
        return {"asked": asked, "refused": refused.faults}
    return {"asked": asked, "changed": True, "moved": moved_between(taken, other)}


def _saws(taken: TakeOff, found: SystemWithPrices, written: Mapping[str, Any]) -> list[Sawing]:
    """Return the cutting plan of every material that is cut from stock lengths."""
    policy = BuyingPolicy(INTERACTIVE)
    own = Needs(tuple(placed(taken.pieces, written)), taken.quantities, taken.system.rails.kerf)
    bought = purchase(own, stock_options(found.market, own, policy), policy)
    return [sawing(cutting) for cutting in bought.cuttings if cutting.plan.bars]
