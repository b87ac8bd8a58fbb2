"""The set-out sheet's values: every hole by chainage, every bay's corners, every gate, read from a take-off document."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fencing.drawing.lettering import pointed
from quotes.documents.figures import level, metres, ranges
from quotes.documents.notice_key import NoticeRow, marked

Document = Mapping[str, Any]

KINDS = {"square": "square", "line": "pair", "single": "single channel"}


@dataclass(frozen=True, slots=True)
class HoleRow:
    """One hole in the order of digging; levels and chainage in metres, lengths in mm, as printed."""

    post: str
    at: str
    spacing: str
    kind: str
    ground: str
    depth: str
    uprights: tuple[str, ...]
    shared: bool


@dataclass(frozen=True, slots=True)
class BayRow:
    """One bay for the installer: where its rails run, how its sheets are cut."""

    bay: str
    width: str
    base: str
    top: str
    note: str
    rails: str
    sheets: tuple[str, ...]


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


@dataclass(frozen=True, slots=True)
class CutRow:
    count: int
    length: str
    width: str
    colour: str
    component: str
    places: str


@dataclass(frozen=True, slots=True)
class CutGroup:
    """One material of the cut list, longest pieces first."""

    material: str
    rows: tuple[CutRow, ...]
    pieces: int
    named: bool


MATERIALS = {
    "post.square": "Square posts",
    "post.channel": "Channel posts",
    "post.extension": "Post extensions",
    "rail": "Rails",
    "sheet": "Sheets",
    "lattice": "Lattice panels",
    "gate.stile": "Gate stiles",
    "gate.rail": "Gate rails",
}


def run_sheets(takeoff: Document, joint_screws: int) -> tuple[RunSheet, ...]:
    """One sheet for each run, in the order of the measure; a corner post is dug with the first of its runs."""
    seen = set[str]()
    return tuple(_run_sheet(run, takeoff, joint_screws, seen) for run in takeoff["runs"])


def _run_sheet(run: Document, takeoff: Document, joint_screws: int, seen: set[str]) -> RunSheet:
    rows, before = list[HoleRow](), None
    for post in run["posts"]:
        rows.append(_hole(post, before, post["id"] in seen))
        seen.add(post["id"])
        before = post["at_mm"]
    places = {run["id"], *(one["id"] for kind in ("posts", "bays", "gates") for one in run[kind])}
    return RunSheet(
        run=run["id"],
        summary=f"{metres(run['length_mm'])} m, {run['form']}, {len(run['bays'])} bays, {len(run['posts'])} posts",
        holes=tuple(rows),
        bays=tuple(_bays(run["bays"])),
        gates=tuple(_gate(gate, joint_screws) for gate in run["gates"]),
        notices=marked(takeoff, places),
    )


def _hole(post: Document, before: int | None, shared: bool) -> HoleRow:
    return HoleRow(
        post=post["id"],
        at=metres(post["at_mm"]),
        spacing="" if before is None else str(post["at_mm"] - before),
        kind=KINDS[post["kind"]],
        ground=level(post["ground_mm"]),
        depth=str(post["hole_depth_mm"]),
        uprights=tuple(_uprights(post)),
        shared=shared,
    )


def _uprights(post: Document) -> Iterable[str]:
    """What stands in a hole, members of one size in one line: "A-1, A-2: top +1.860; 1860 out, 600 in; 2460 trim 20"."""
    sizes: dict[tuple[Any, ...], list[str]] = {}
    for member in post["members"]:
        size = (member["top_mm"], member["length_mm"], member["stock_mm"], member["embedment_mm"])
        sizes.setdefault(size, []).append(member["bay"] or member["section"])
    for (top, length, stock, embedment), names in sizes.items():
        told = f"{', '.join(names)}: top {level(top)}; {top - post['ground_mm']} out, {embedment} in"
        if stock is None:
            yield f"{told}; no stock post is long enough"
        else:
            yield f"{told}; {stock}" + (f" trim {stock - length}" if stock > length else "")


def _bays(bays: Sequence[Document]) -> Iterable[BayRow]:
    """A row for each different bay, in order; bays alike but for their name and place share one."""
    alike: dict[BayRow, list[str]] = {}
    for bay in bays:
        alike.setdefault(_bay(bay), []).append(bay["id"])
    return (replace(row, bay=ranges(names)) for row, names in alike.items())


def _bay(bay: Document) -> BayRow:
    sheets = Counter(_sheet(sheet) for sheet in bay["sheets"])
    return BayRow(
        bay="",
        width=str(bay["to_mm"] - bay["from_mm"]),
        base=_line(bay["base_mm"]),
        top=_line(bay["top_mm"]),
        note=", ".join(_bay_notes(bay)),
        rails=_rails(bay["rails"]),
        sheets=tuple(f"{count} × {text}" if count > 1 else text for text, count in sheets.items()),
    )


def _line(pair: Sequence[int]) -> str:
    return level(pair[0]) if pair[0] == pair[1] else f"{level(pair[0])} / {level(pair[1])}"


def _rails(rails: Sequence[Document]) -> str:
    lengths = {rail["length_mm"] for rail in rails}
    if len(lengths) == 1:
        return f"{len(rails)} × {lengths.pop()}"
    return ", ".join(f"{rail['place']} {rail['length_mm']}" for rail in rails)


def _bay_notes(bay: Document) -> Iterable[str]:
    gap = bay["gap_mm"]
    yield f"gap {gap['least']}" if gap["least"] == gap["most"] else f"gap {gap['least']} to {gap['most']}"
    if bay["step_mm"]:
        yield f"step {bay['step_mm']}"
    if float(bay["slope_deg"]):
        yield pointed(f"rake {bay['slope_deg']}°")
    if bay["lattice"]:
        yield "lattice top"


def _sheet(sheet: Document) -> str:
    if sheet["left_mm"] == sheet["right_mm"] == sheet["blank_mm"]:
        return f"{sheet['width_mm']} × {sheet['blank_mm']}"
    foot = "foot square" if sheet["foot"] == "square" else "foot cut"
    return (
        f"{sheet['width_mm']} × blank {sheet['blank_mm']}, left {sheet['left_mm']}, right {sheet['right_mm']}, {foot}"
    )


def _gate(gate: Document, joint_screws: int) -> GateRow:
    start, end = gate["from_mm"], gate["from_mm"] + gate["opening_mm"]
    several = len(gate["leaves"]) > 1
    return GateRow(
        gate=gate["id"],
        place=(
            f"{metres(start)} to {metres(end)} m, opening {gate['opening_mm']} between {' and '.join(gate['posts'])}; "
            f"foot at {level(gate['base_mm'])}, top at {level(gate['top_mm'])}; hung {gate['hang']}, opens {gate['opens']}"
        ),
        leaves=tuple(
            f"leaf{f' {number}' if several else ''} {leaf['width_mm']} × {leaf['height_mm']}, "
            f"both diagonals {leaf['diagonal_mm']}"
            for number, leaf in enumerate(gate["leaves"], 1)
        ),
        parts=tuple(dict.fromkeys(text for leaf in gate["leaves"] for text in _leaf_parts(leaf, joint_screws))),
    )


def _leaf_parts(leaf: Document, joint_screws: int) -> Iterable[str]:
    """What a leaf is put together from; alike for both leaves of a pair where they are."""
    stiles = " and ".join(str(length) for length in leaf["stiles_mm"])
    yield f"frame: stiles {stiles}, {_rails(leaf['rails'])} rails between them"
    yield (
        f"frame screws: {joint_screws} in each of the {2 * len(leaf['rails'])} joints, "
        f"through the stile at both ends of the {', '.join(rail['place'] for rail in leaf['rails'])} rail"
    )
    yield "sheets from the hinge side: " + ", ".join(_sheet(sheet) for sheet in leaf["sheets"])
    top, foot = _by(leaf["top_notch_mm"]), _by(leaf["notch_mm"])
    yield f"notch the sheets' corners, width × height: {top} at the top, {foot} at the foot"
    for panel in leaf["lattice"]:
        yield f"lattice panel {panel['length_mm']} × {panel['height_mm']}"
    if leaf["hinge_mm"]:
        yield "hinges at " + " and ".join(str(height) for height in leaf["hinge_mm"]) + " above the foot"
    if leaf["clip_mm"] is not None:
        yield f"lattice clip {leaf['clip_mm']} above the foot of the sheet"


def _by(pair: Sequence[int]) -> str:
    return f"{pair[0]} × {pair[1]}"


def cut_list(takeoff: Document) -> tuple[CutGroup, ...]:
    """The cut list by material, in the order of the take-off."""
    groups: dict[str, list[CutRow]] = {}
    for piece in takeoff["pieces"]:
        material = MATERIALS.get(piece["role"], piece["role"])
        groups.setdefault(material, []).append(_cut(piece))
    return tuple(
        CutGroup(material, tuple(rows), sum(row.count for row in rows), any(row.component for row in rows))
        for material, rows in groups.items()
    )


def _cut(piece: Document) -> CutRow:
    places: Sequence[str] = piece["for"]
    return CutRow(
        count=piece["count"],
        length=str(piece["length_mm"]),
        width=str(piece.get("width_mm") or ""),
        colour=piece.get("colour") or "",
        component=piece.get("component") or "",
        places=ranges(places),
    )
