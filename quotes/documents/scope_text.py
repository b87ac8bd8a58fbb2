"""Scope of a build in sentences: form, height, finish, posts and gates of each run, and the removed fence."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fencing.model.faults import join_words
from fencing.model.measure import Form, GateKind
from quotes.documents.number_format import metres
from quotes.quoting.party_content import ShownBuild
from shared.common.figures import localize

Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class ScopeSection:
    heading: str
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Fence:
    """Texts that runs may have in common; empty if stated elsewhere."""

    height: str
    form: str
    finish: str

    @property
    def built(self) -> str:
        return ", ".join(filter(None, (self.height, self.form)))

    def sentences(self) -> Iterable[str]:
        if self.built:
            yield f"Prepainted steel sheet fence, {self.built}."
        if self.finish:
            yield f"Finish: {self.finish}."


NOTHING = _Fence("", "", "")


def scope(build: ShownBuild) -> tuple[ScopeSection, ...]:
    """Return the scope of a build: what all runs share, then each run, each retrofit and the footings."""
    takeoff, measure, licensed = build.takeoff, build.measure, build.licensed_removals
    measured = {row["id"]: row for row in measure["runs"]}
    fences = [_fence(run, measured[run["id"]], build) for run in takeoff["runs"]]
    common = _common(fences)
    parts = [ScopeSection("All runs", tuple(common.sentences()))] if common != NOTHING else []
    parts += [
        ScopeSection(
            f"Run {run['id']}, {metres(run['length_mm'])} m",
            tuple(_run(run, measured[run["id"]], fence, common, licensed)),
        )
        for run, fence in zip(takeoff["runs"], fences, strict=True)
    ]
    parts += [
        ScopeSection(f"Lattice on existing fence {item['id']}", tuple(_retrofit(item)))
        for item in takeoff.get("retrofits", [])
    ]
    if takeoff["concrete"]["holes"]:
        parts.append(ScopeSection("Footings", (_footings(takeoff, build.system),)))
    return tuple(parts)


def _fence(run: Document, measured: Document, build: ShownBuild) -> _Fence:
    lattice = measured["lattice_mm"]
    top = f", including {lattice} mm of lattice at the top" if lattice else ""
    finish = _finish(measured["finishes"], build.finishes)
    return _Fence(f"{measured['height_mm']} mm high{top}", Form(run["form"]).scope, finish)


def _finish(finishes: Document, names: Document) -> str:
    """
    >>> _finish({"post": "a", "rail": "a", "sheet": "b"}, {"a": "Saltmarl", "b": "Fogthistle"})
    'post and rail Saltmarl, sheet Fogthistle'
    """
    parts: dict[str, list[str]] = {}
    for part, code in finishes.items():
        parts.setdefault(code, []).append(part)
    return ", ".join(f"{join_words(found, 'and')} {names.get(code, code)}" for code, found in parts.items())


def _common(fences: list[_Fence]) -> _Fence:
    """Return the texts that all runs share; none if there is only one run."""
    if len(fences) < 2:
        return NOTHING
    heights, forms, finishes = zip(*((fence.height, fence.form, fence.finish) for fence in fences), strict=True)
    return _Fence(*(values[0] if len(set(values)) == 1 else "" for values in (heights, forms, finishes)))


def _run(
    run: Document, measured: Document, fence: _Fence, common: _Fence, licensed: Mapping[str, bool]
) -> Iterable[str]:
    own = _Fence(
        "" if common.height else fence.height, "" if common.form else fence.form, "" if common.finish else fence.finish
    )
    counted = f"{_counted(len(run['bays']), 'bay')} between {_counted(len(run['posts']), 'post')}."
    data = list(own.sentences())
    if common.built and own.built:  # the material is stated once for all runs
        data[0] = f"{own.built[:1].upper()}{own.built[1:]}."
    yield from [f"{data[0]} {counted}", *data[1:]] if own.built else [counted, *data]
    taper = measured.get("taper")
    if taper:
        which = {"start": "first", "end": "last"}[taper["at"]]
        bays = f"{which} bay runs" if taper["bays"] == 1 else f"{which} {taper['bays']} bays run"
        yield f"The {bays} down to {taper['height_mm']} mm at the {taper['at']}."
    for gate in run["gates"]:
        yield _gate(gate, measured)
    old = measured.get("existing_fence")
    if old:
        yield _removal(old, licensed)


def _removal(old: Document, licensed: Mapping[str, bool]) -> str:
    fence = f"The old fence ({old['kind']}, {metres(old['length_mm'])} m)"
    if old["kind"] not in licensed:
        return f"{fence} is removed and carted away."
    if licensed[old["kind"]]:
        return f"{fence} is hazardous. A licensed contractor removes it and disposes of it; the price includes this."
    return f"{fence} is hazardous. A licensed contractor removes it before our work begins; the price does not include this."


def _gate(gate: Document, measured: Document) -> str:
    kinds = {item["id"]: item["kind"] for item in measured["gates"]}
    widths = " and ".join(str(leaf["width_mm"]) for leaf in gate["leaves"])
    leaf = "leaf" if len(gate["leaves"]) == 1 else "leaves"
    kind = GateKind(kinds[gate["id"]]).label
    return (
        f"{gate['id']}: {kind} gate in an opening of {gate['opening_mm']} mm at {metres(gate['from_mm'])} m, "
        f"{leaf} {widths} mm wide and {gate['leaves'][0]['height_mm']} mm high."
    )


def _retrofit(built: Document) -> Iterable[str]:
    widths = Counter(bay["to_mm"] - bay["from_mm"] for bay in built["bays"])
    data = ", ".join(f"{count} of {width} mm" for width, count in widths.items())
    height = built.get("lattice_mm") or built["bays"][0]["lattice"][0]["height_mm"]
    yield f"A lattice top of {height} mm is added to {_counted(len(built['bays']), 'bay')} ({data}) on post extensions."


def _footings(takeoff: Document, system: Document) -> str:
    hole = system["hole"]
    shape = {"straight": "", "belled": ", wider at the bottom", "flared": ", wider at the top"}[hole["shape"]]
    holes = takeoff["concrete"]["holes"]
    return (
        f"{_counted(holes, 'hole')}, {hole['depth_mm']} mm deep and {hole['diameter_mm']} mm across{shape}, with "
        f"{localize(takeoff['concrete']['total_m3'])} m³ of concrete in all, finished to shed water."
    )


def _counted(count: int, noun: str) -> str:
    """
    >>> _counted(1, "bay"), _counted(3, "bay")
    ('1 bay', '3 bays')
    """
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
