"""The saw sheet of agreed jobs: each bar to scale with its cuts, for the person at the saw."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.utils import timezone

from catalogue.bridge import market
from fencing.lines import Cutting
from fencing.purchase import purchase
from fencing.saw_sheet import saw_sheets
from quotes.documents.sawsheet import sawsheet_pdf
from quotes.jobs.models import Job
from quotes.offers.content import face
from quotes.offers.queries import agreed_build
from quotes.orders.market import offered, read_pieces, read_quantities
from shared.problems import Problem

WIDTH, HEIGHT = 180.0, 220.0  # mm of paper


def cuttings_of(job: Job) -> tuple[Cutting, ...]:
    """How the bars of one agreed job are cut, by material. 409 where nothing is agreed."""
    build = agreed_build(job)
    if build is None:
        raise Problem("conflict", f"Nothing is agreed on {job.number} yet; bars are cut for an agreed job.")
    known = market(job.business)
    takeoff: Mapping[str, Any] = build["takeoff"]
    offers = offered(known, (), build["system"]["rails"]["kerf_mm"])
    bought = purchase(read_pieces(takeoff), read_quantities(takeoff, known), offers)
    return tuple(one for one in bought.cuttings if any(len(bar.pieces) > 1 or bar.left for bar in one.bars))


def saw_pdf(job: Job) -> bytes:
    """The saw sheet of one agreed job."""
    drawings: Sequence[str] = [svg for one in cuttings_of(job) for svg in saw_sheets(one, job.number, WIDTH, HEIGHT)]
    return sawsheet_pdf(f"{job.number} {job.label}", drawings, face(job.business), timezone.now())
