"""Cut list: the pieces of a job by material. The set-out sheet ends with it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fencing.model.roles import ROLES
from quotes.documents.document_kind import DocumentKind, from_content
from quotes.documents.kinds.saw_sheet import saw_cautions
from quotes.documents.number_format import ranges, strip
from quotes.documents.page_parts import face, job_name, place_of
from quotes.documents.pdf import Variant, markup, render
from quotes.quoting.content import Content
from quotes.quoting.json_values import plain
from quotes.quoting.party_content import CrewContent, ShownBuild
from quotes.quoting.party_documents import crew_document
from quotes.quoting.totals import NOTHING_CHOSEN, Choices

Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class CutRow:
    count: int
    length: str
    width: str
    finish: str
    component: str
    places: str


@dataclass(frozen=True, slots=True)
class CutGroup:
    """A material of the cut list, longest pieces first."""

    material: str
    rows: tuple[CutRow, ...]
    pieces: int
    named: bool

    @property
    def wide(self) -> bool:
        """Return whether the pieces have widths."""
        return any(row.width for row in self.rows)


def cut_list(takeoff: Document, finishes: Mapping[str, str] | None = None) -> tuple[CutGroup, ...]:
    """Return the cut list by material, in the order of the take-off. ``finishes`` are the names of finish codes."""
    groups: dict[str, list[CutRow]] = {}
    for piece in takeoff["pieces"]:
        role = ROLES[piece["role"]]
        groups.setdefault(role.heading or role.plural.capitalize(), []).append(_cut(piece, finishes or {}))
    return tuple(
        CutGroup(material, tuple(rows), sum(row.count for row in rows), any(row.component for row in rows))
        for material, rows in groups.items()
    )


def _cut(piece: Document, finishes: Mapping[str, str]) -> CutRow:
    places: Sequence[str] = piece["used_at"]
    finish = piece.get("finish") or ""
    return CutRow(
        count=piece["count"],
        length=str(piece["length_mm"]),
        width=str(piece.get("width_mm") or ""),
        finish=finishes.get(finish, finish),
        component=piece.get("component") or "",
        places=ranges(places),
    )


def cuts(build: ShownBuild) -> dict[str, Any]:
    """Return the values of the cut list of a build."""
    return {
        "cuts": cut_list(build.takeoff, build.finishes),
        "saw_cautions": saw_cautions(),
        "cut_note": f"A saw cut takes {build.system['rails']['kerf_mm']} mm.",
    }


def crew_page(document: CrewContent, made: datetime) -> dict[str, Any]:
    """Return what each of the crew's documents prints: letterhead, footer, job and place."""
    job, named = job_name(document.job), f"quote {document.number}, revision {document.revision}"
    return {
        "face": face(document.business),
        "strip": strip(job, named, document.business.name),
        "made": plain(made),
        "sheet": {"job": job, "place": place_of(document.site)},
    }


def cut_list_pdf(content: Content, choices: Choices = NOTHING_CHOSEN) -> bytes:
    """Return the cut list as PDF."""
    document = crew_document(content, choices)
    values = {**crew_page(document, content.dates.sent_at), **cuts(document.build)}
    return render(markup("cutlist", values), Variant.ACCESSIBLE, content.dates.sent_at)


CUT_LIST = DocumentKind(
    code="cut_list",
    label="cut list",
    make=from_content(cut_list_pdf),
    asked_at="quote.accepted",
    for_crew=True,
    in_pack=cut_list_pdf,
)
