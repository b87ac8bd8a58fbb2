"""Saw sheets of accepted jobs: each bar to scale with its cuts, for the person at the saw."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from catalogue.engine.engine_input import market
from fencing.buying.needs import ORDER_POLICY
from fencing.buying.purchase import purchase
from fencing.buying.purchase_lines import Blank, Cutting, Purchase
from fencing.buying.stock_options import stock_options
from fencing.drawing.saw_sheet import draw_saw_sheets
from fencing.model.fence import Piece
from quotes.documents.kinds.saw_sheet import saw_sheet_pdf
from quotes.jobs.models import Job
from quotes.purchasing.job_materials import read_needs, strip_width
from quotes.quoting.models import Revision
from quotes.quoting.queries import agreed, content_and_choices
from quotes.quoting.totals import build_of
from shared.common.problems import Problem

WIDTH, HEIGHT = 180.0, 116.0  # mm of paper; half a page, so that the rest of a page is used


def sawn(bought: Purchase) -> tuple[Cutting, ...]:
    """Return the materials with at least one cut bar."""
    return tuple(item for item in bought.cuttings if any(len(bar.pieces) > 1 or bar.left for bar in item.bars))


def ripped(bought: Purchase) -> tuple[Blank, ...]:
    """Return the sheets whose ripped strip is used elsewhere."""
    return tuple(blank for blank in bought.blanks if len(blank.takes) > 1)


def last_agreed(job: Job) -> Revision:
    """Return the last accepted build of a job. Raise 409 if there is none."""
    revision = agreed(job)
    if revision is None:
        raise Problem("conflict", f"Job {job.number} has no accepted quote. Bars are cut after acceptance.")
    return revision


def bought_for(revision: Revision) -> Purchase:
    """Return the purchase of one accepted job as if bought new."""
    build = build_of(*content_and_choices(revision))
    known = market(revision.business)
    takeoff: Mapping[str, Any] = build.takeoff
    system = build.system
    own = read_needs(takeoff, known, system["rails"]["kerf_mm"], strip_width([system]))
    own = replace(own, pieces=tuple(placed(own.pieces, takeoff)))
    return purchase(own, stock_options(known, own, ORDER_POLICY))


def placed(pieces: Iterable[Piece], takeoff: Mapping[str, Any]) -> list[Piece]:
    """Return the pieces with their position in the bay or leaf after its id, such as ``A-1 top``."""
    places: dict[tuple[str, str, int], list[str]] = {}
    for run in takeoff["runs"]:
        leaves = [(gate["id"], leaf) for gate in run["gates"] for leaf in gate["leaves"]]
        for role, holders in (("rail", [(bay["id"], bay) for bay in run["bays"]]), ("gate.rail", leaves)):
            for name, holder in holders:
                for rail in holder["rails"]:
                    places.setdefault((role, name, rail["length_mm"]), []).append(rail["position"])
    return [replace(piece, used_at=_piece_names(piece, places)) for piece in pieces]


def _piece_names(piece: Piece, places: Mapping[tuple[str, str, int], Sequence[str]]) -> tuple[str, ...]:
    """Return each id with its next position of that length."""
    seen: Counter[str] = Counter()
    named: list[str] = []
    for name in piece.used_at:
        own = places.get((piece.role, name, piece.length), ())
        named.append(f"{name} {own[seen[name]]}" if seen[name] < len(own) else name)
        seen[name] += 1
    return tuple(named)


def saw_pdf(revision: Revision) -> bytes:
    """Return the saw sheet of an accepted revision with the bars that are sold now. It has the date of the quote."""
    bought, (content, choices) = bought_for(revision), content_and_choices(revision)
    job, name = content.job.number, f"{content.job.number} {content.job.label}"
    names = build_of(content, choices).finishes
    cuttings = [replace(item, finish=names.get(item.finish or "", item.finish)) for item in sawn(bought)]
    drawings: Sequence[str] = [svg for item in cuttings for svg in draw_saw_sheets(item, job, WIDTH, HEIGHT)]
    return saw_sheet_pdf(name, drawings, content.business, content.dates.sent_at, ripped(bought), names)
