"""Set-out sheet: holes by chainage, corners of bays, gates, and the cut list. The crew's build page shows its values too."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from types import MappingProxyType
from typing import Any

from quotes.documents.document_kind import DocumentKind, from_content
from quotes.documents.kinds.cut_list import crew_page, cuts
from quotes.documents.notices import NoticeRow, marked
from quotes.documents.number_format import by_locale, called, level, metres, ranges
from quotes.documents.page_parts import drawings
from quotes.documents.pdf import Variant, markup, render
from quotes.documents.retrofit_sheets import retrofit_sheets
from quotes.documents.strength_sheet import strength_sheet
from quotes.documents.variation_text import replaced
from quotes.quoting.content import Content
from quotes.quoting.party_content import CrewContent
from quotes.quoting.party_documents import crew_document
from quotes.quoting.totals import NOTHING_CHOSEN, Choices
from shared.common.figures import localize

Document = Mapping[str, Any]

KINDS = {"square": "square", "line": "pair", "single": "single channel"}


@dataclass(frozen=True, slots=True)
class HoleRow:
    """A hole in digging order. Levels and chainage in metres, lengths in mm, as printed.

    ``post`` is the post's full name, ``called`` the name as its column shows it.
    """

    post: str
    called: str
    at: str
    spacing: str
    kind: str
    ground: str
    depth: str
    uprights: tuple[str, ...]
    shared: bool
    was: str
    """Chainage [m] of a moved hole on the replaced sheet; empty if it did not move."""


@dataclass(frozen=True, slots=True)
class BayRow:
    """A bay: levels of its rails and sizes of its sheets."""

    bay: str
    width: str
    base: str
    top: str
    gap: str
    step: str
    rake: str
    rails: tuple[str, ...]
    sheets: tuple[str, ...]

    @property
    def note(self) -> str:
        """Return gap, step and rake as text."""
        named = (("gap", self.gap), ("step", self.step), ("rake", self.rake))
        return ", ".join(f"{name} {figure}" for name, figure in named if figure)


@dataclass(frozen=True, slots=True)
class GateRow:
    gate: str
    place: str
    leaves: tuple[str, ...]
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RunSheet:
    """A run on the set-out sheet."""

    run: str
    summary: str
    holes: tuple[HoleRow, ...]
    bays: tuple[BayRow, ...]
    gates: tuple[GateRow, ...]
    notices: tuple[NoticeRow, ...]

    @property
    def slants(self) -> bool:
        """Return whether the rails of a bay are higher on one side; the table then has two levels."""
        return any("/" in line for bay in self.bays for line in (bay.base, bay.top))

    @property
    def steps(self) -> bool:
        return any(bay.step for bay in self.bays)

    @property
    def rakes(self) -> bool:
        return any(bay.rake for bay in self.bays)


def run_sheets(
    takeoff: Document, joint_screws: int, moved: Mapping[str, str] = MappingProxyType({})
) -> tuple[RunSheet, ...]:
    """Return a sheet for each run, in the order of the measure; a corner post is dug with the first of its runs.

    ``moved``: former chainages of holes that a variation moves, by post.
    """
    seen = set[str]()
    return tuple(_run_sheet(run, takeoff, joint_screws, seen, moved) for run in takeoff["runs"])


def _run_sheet(
    run: Document, takeoff: Document, joint_screws: int, seen: set[str], moved: Mapping[str, str]
) -> RunSheet:
    rows, before = list[HoleRow](), None
    for post in run["posts"]:
        rows.append(_hole(run["id"], post, before, post["id"] in seen, moved.get(post["id"], "")))
        seen.add(post["id"])
        before = post["at_mm"]
    centres = {post["id"]: post["at_mm"] for post in run["posts"]}
    places = {run["id"], *(item["id"] for kind in ("posts", "bays", "gates") for item in run[kind])}
    return RunSheet(
        run=run["id"],
        summary=f"{metres(run['length_mm'])} m, {run['form']}, {len(run['bays'])} bays, {len(run['posts'])} posts",
        holes=tuple(rows),
        bays=tuple(_bays(run["id"], run["bays"])),
        gates=tuple(_gate(gate, joint_screws, centres) for gate in run["gates"]),
        notices=marked(takeoff, places),
    )


def _hole(run: str, post: Document, before: int | None, shared: bool, was: str) -> HoleRow:
    return HoleRow(
        post=post["id"],
        called=called(run, post["id"]),
        at=metres(post["at_mm"]),
        spacing="" if before is None else str(post["at_mm"] - before),
        kind=KINDS[post["kind"]],
        ground=level(post["ground_mm"]),
        depth=str(post["hole_depth_mm"]),
        uprights=tuple(_uprights(run, post)),
        shared=shared,
        was=was,
    )


def _uprights(run: str, post: Document) -> Iterable[str]:
    """Yield the uprights of a hole, equal sizes in one line: "A-1, A-2: top +1.860; 1860 out, 600 in; 2460 trim 20"."""
    sizes: dict[tuple[Any, ...], list[str]] = {}
    for member in post["uprights"]:
        size = (member["top_mm"], member["length_mm"], member["stock_mm"], member["embedment_mm"])
        sizes.setdefault(size, []).append(called(run, member["bay"] or member["section"]))
    for (top, length, stock, embedment), names in sizes.items():
        data = f"{', '.join(names)}: top {level(top)}; {top - post['ground_mm']} out, {embedment} in"
        if stock is None:
            yield f"{data}; no stock post is long enough"
        else:
            yield f"{data}; {stock}" + (f" trim {stock - length}" if stock > length else "")


def _bays(run: str, bays: Sequence[Document]) -> Iterable[BayRow]:
    """Return a row for each different bay, in order; bays that differ only in name and position share a row."""
    groups: dict[BayRow, list[str]] = {}
    for bay in bays:
        groups.setdefault(_bay(bay), []).append(called(run, bay["id"]))
    return (replace(row, bay=ranges(names)) for row, names in groups.items())


def _bay(bay: Document) -> BayRow:
    gap = bay["gap_mm"]
    lattice = Counter(f"lattice {panel['length_mm']} × {panel['height_mm']}" for panel in bay["lattice"])
    return BayRow(
        bay="",
        width=str(bay["to_mm"] - bay["from_mm"]),
        base=_line(bay["base_mm"]),
        top=_line(bay["top_mm"]),
        gap=str(gap["min"]) if gap["min"] == gap["max"] else f"{gap['min']}–{gap['max']}",
        step=str(bay["step_mm"] or ""),
        rake=localize(f"{bay['slope_deg']}°") if float(bay["slope_deg"]) else "",
        rails=_rails(bay["rails"]),
        sheets=(*_sheets(bay["sheets"]), *_many(lattice)),
    )


def _sheets(sheets: Sequence[Document]) -> Iterable[str]:
    """Yield the sheets of a bay. If all cut sheets have the same foot, it is stated once.

    >>> cut = {"width_mm": 800, "left_mm": 1496, "right_mm": 1496, "blank_mm": 1555, "foot": "cut"}
    >>> list(_sheets([cut, cut, {**cut, "width_mm": 595, "blank_mm": 1540}]))
    ['2 × 800 × 1496 from 1555', '595 × 1496 from 1540', 'feet cut']
    >>> list(_sheets([cut, {**cut, "foot": "square"}]))
    ['800 × 1496 from 1555, foot cut', '800 × 1496 from 1555, foot square']
    """
    feet = {_foot(sheet) for sheet in sheets} - {""}
    yield from _many(Counter(_sheet(sheet) if len(feet) > 1 else _size(sheet) for sheet in sheets))
    if len(feet) == 1:
        yield f"feet {feet.pop()}"


def _many(counted: Counter[str]) -> Iterable[str]:
    return (f"{count} × {text}" if count > 1 else text for text, count in counted.items())


def _line(pair: Sequence[int]) -> str:
    return level(pair[0]) if pair[0] == pair[1] else f"{level(pair[0])} / {level(pair[1])}"


def _rails(rails: Sequence[Document]) -> tuple[str, ...]:
    """
    >>> _rails([{"position": "bottom", "length_mm": 1134}, {"position": "top", "length_mm": 1172}])
    ('bottom 1134', 'top 1172')
    """
    lengths = {rail["length_mm"] for rail in rails}
    if len(lengths) == 1:
        return (f"{len(rails)} × {lengths.pop()}",)
    return tuple(f"{rail['position']} {rail['length_mm']}" for rail in rails)


def _sheet(sheet: Document) -> str:
    """
    >>> _sheet({"width_mm": 800, "left_mm": 1496, "right_mm": 1496, "blank_mm": 1555, "foot": "cut"})
    '800 × 1496 from 1555, foot cut'
    >>> _sheet({"width_mm": 372, "left_mm": 1097, "right_mm": 1194, "blank_mm": 1195, "foot": "square"})
    '372 × 1097/1194 from 1195, foot square'
    """
    foot = _foot(sheet)
    return f"{_size(sheet)}, foot {foot}" if foot else _size(sheet)


def _size(sheet: Document) -> str:
    left, right, blank = sheet["left_mm"], sheet["right_mm"], sheet["blank_mm"]
    high = str(left) if left == right else f"{left}/{right}"
    return f"{sheet['width_mm']} × {high}" + ("" if left == right == blank else f" from {blank}")


def _foot(sheet: Document) -> str:
    """Return the cut of the foot of a sheet from a longer blank; empty for a sheet that is not cut."""
    if sheet["left_mm"] == sheet["right_mm"] == sheet["blank_mm"]:
        return ""
    return "square" if sheet["foot"] == "square" else "cut"


def _gate(gate: Document, joint_screws: int, centres: Mapping[str, int]) -> GateRow:
    start, end = gate["from_mm"], gate["from_mm"] + gate["opening_mm"]
    left, right = (centres[post] for post in gate["posts"])
    several = len(gate["leaves"]) > 1
    return GateRow(
        gate=gate["id"],
        place=(
            f"{metres(start)} to {metres(end)} m, opening {gate['opening_mm']} between {' and '.join(gate['posts'])}, "
            f"their centres {right - left} apart; "
            f"foot at {level(gate['base_mm'])}, top at {level(gate['top_mm'])}; hung {gate['hinge_side']}, opens {gate['swing']}"
        ),
        leaves=tuple(
            f"leaf{f' {number}' if several else ''} {leaf['width_mm']} × {leaf['height_mm']}, "
            f"both diagonals {leaf['diagonal_mm']}"
            for number, leaf in enumerate(gate["leaves"], 1)
        ),
        parts=tuple(dict.fromkeys(text for leaf in gate["leaves"] for text in _leaf_parts(leaf, joint_screws))),
    )


def _leaf_parts(leaf: Document, joint_screws: int) -> Iterable[str]:
    """Yield the parts of a leaf."""
    stiles = " and ".join(str(length) for length in leaf["stiles_mm"])
    yield f"frame: stiles {stiles}, {', '.join(_rails(leaf['rails']))} rails between them"
    yield (
        f"frame screws: {joint_screws} in each of the {2 * len(leaf['rails'])} joints, "
        f"through the stile at both ends of the {', '.join(rail['position'] for rail in leaf['rails'])} rail"
    )
    yield "sheets from the hinge side: " + ", ".join(_sheet(sheet) for sheet in leaf["sheets"])
    top, foot = _by(leaf["top_notch_mm"]), _by(leaf["notch_mm"])
    yield f"notch the sheets' corners, width × height: {top} at the top, {foot} at the foot"
    for panel in leaf["lattice"]:
        yield f"lattice panel {panel['length_mm']} × {panel['height_mm']}"
    if leaf["hinge_heights_mm"]:
        yield "hinges at " + " and ".join(str(height) for height in leaf["hinge_heights_mm"]) + " above the foot"
    if leaf["clip_mm"] is not None:
        yield f"lattice clip {leaf['clip_mm']} above the foot of the sheet"


def _by(pair: Sequence[int]) -> str:
    return f"{pair[0]} × {pair[1]}"


def crew_values(document: CrewContent, made: datetime) -> dict[str, Any]:
    """Return the values that the set-out sheet and the build page show.

    Args:
        document: what is built, without money (``quotes.quoting.party_documents.crew_document``).
        made: the time the revision was sent.
    """
    with by_locale(document.business.locale):
        page = crew_page(document, made)
        return {**page, **cuts(document.build), "sheet": {**page["sheet"], **_sheet_values(document)}}


def _sheet_values(document: CrewContent) -> dict[str, Any]:
    build, system = document.build, document.build.system
    hole = system["hole"]
    # a retrofit has no holes to set out, so its elevation is shown instead
    shown = ("plan", "set_out", "detail") if build.takeoff["runs"] else ("plan", "elevation")
    change = replaced(document)
    return {
        "named": f"Quote {document.number}, revision {document.revision}",
        "system": system["label"],
        "digs": bool(build.takeoff["runs"]),
        "hole": f"{hole['diameter_mm']} across, {hole['shape']}, {hole['bedding_mm']} of concrete under the post",
        "cautions": build.cautions.crew,
        "runs": run_sheets(build.takeoff, system["gates"]["screws_per_joint"], change.moved if change else {}),
        "retrofits": retrofit_sheets(build.takeoff, build.measure),
        "strength": strength_sheet(build.takeoff),
        "drawings": drawings(build, *shown),
        "options": document.options,
        "replaces": change,
    }


def set_out_pdf(content: Content, choices: Choices = NOTHING_CHOSEN) -> bytes:
    """Return the set-out sheet as PDF."""
    values = crew_values(crew_document(content, choices), content.dates.sent_at)
    return render(markup("setout", values), Variant.ACCESSIBLE, content.dates.sent_at)


SET_OUT = DocumentKind(
    code="set_out",
    label="set-out sheet",
    make=from_content(set_out_pdf),
    asked_at="quote.accepted",
    for_crew=True,
    in_pack=set_out_pdf,
)
