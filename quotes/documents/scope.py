"""What will be built, in sentences: a run's form, height, finish, posts, gates and what is taken away."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fencing.drawing.lettering import pointed
from quotes.documents.figures import metres

Document = Mapping[str, Any]

FORMS = {
    "level": "level along its whole length",
    "stepped": "stepped down the slope, each panel level",
    "raked": "following the slope of the ground",
}
KINDS = {"single": "single gate", "wide": "extra-wide gate", "double": "double gate"}


@dataclass(frozen=True, slots=True)
class Part:
    heading: str
    sentences: tuple[str, ...]


def scope(build: Document) -> tuple[Part, ...]:
    """The scope of a build: a part for each run and each retrofit, then the ground works."""
    takeoff, measure = build["takeoff"], build["measure"]
    measured = {row["id"]: row for row in measure.get("runs", [])}
    defaults, finishes = measure.get("defaults", {}), build.get("finishes", {})
    parts = [
        Part(
            f"Run {run['id']}, {metres(run['length_mm'])} m", tuple(_run(run, measured[run["id"]], defaults, finishes))
        )
        for run in takeoff["runs"]
    ]
    parts += [
        Part(f"Lattice on the standing fence {one['id']}", tuple(_retrofit(one)))
        for one in takeoff.get("retrofits", [])
    ]
    if takeoff["concrete"]["holes"]:
        parts.append(Part("Footings", (_footings(takeoff, build["system"]),)))
    return tuple(parts)


def _run(run: Document, measured: Document, defaults: Document, finishes: Document) -> Iterable[str]:
    height = measured.get("height_mm", defaults.get("height_mm"))
    lattice = measured.get("lattice_mm", defaults.get("lattice_mm", 0))
    text = f"Prepainted steel sheet fence, {height} mm high, {FORMS[run['form']]}"
    if lattice:
        text += f"; the top {lattice} mm is lattice"
    yield f"{text}. {_counted(len(run['bays']), 'bay')} between {_counted(len(run['posts']), 'post')}."
    colours = {**defaults.get("colours", {}), **measured.get("colours", {})}
    if colours:
        yield "Finish: " + ", ".join(f"{part} {finishes.get(code, code)}" for part, code in colours.items()) + "."
    taper = measured.get("taper")
    if taper:
        yield f"The last {_counted(taper['bays'], 'bay')} at the {taper['at']} run down to {taper['height_mm']} mm."
    for gate in run["gates"]:
        yield _gate(gate, measured)
    old = measured.get("remove")
    if old:
        yield f"The old fence ({old['kind']}, {metres(old['length_mm'])} m) is taken down and carted away."


def _gate(gate: Document, measured: Document) -> str:
    kinds = {
        one.get("id", f"{measured['id']}-G{place}"): one.get("kind", "single")
        for place, one in enumerate(measured.get("gates", []), 1)  # a gate without a name is named by its place
    }
    widths = " and ".join(str(leaf["width_mm"]) for leaf in gate["leaves"])
    leaf = "leaf" if len(gate["leaves"]) == 1 else "leaves"
    kind = KINDS.get(kinds.get(gate["id"], "single"), "gate")
    return (
        f"{gate['id']}: {kind} in an opening of {gate['opening_mm']} mm at {metres(gate['from_mm'])} m, "
        f"{leaf} {widths} mm wide and {gate['leaves'][0]['height_mm']} mm high."
    )


def _retrofit(built: Document) -> Iterable[str]:
    widths = Counter(bay["to_mm"] - bay["from_mm"] for bay in built["bays"])
    told = ", ".join(f"{count} of {width} mm" for width, count in widths.items())
    height = built.get("lattice_mm") or built["bays"][0]["lattice"][0]["height_mm"]
    yield f"A lattice top of {height} mm is added to {_counted(len(built['bays']), 'bay')} ({told}) on post extensions."


def _footings(takeoff: Document, system: Document) -> str:
    hole = system["hole"]
    shape = {"straight": "", "belled": ", wider at the bottom", "flared": ", wider at the top"}[hole["shape"]]
    holes = takeoff["concrete"]["holes"]
    return (
        f"{_counted(holes, 'hole')}, {hole['depth_mm']} mm deep and {hole['diameter_mm']} mm across{shape}, with "
        f"{pointed(takeoff['concrete']['total_m3'])} m³ of concrete in all, finished to shed water."
    )


def _counted(count: int, noun: str) -> str:
    """
    >>> _counted(1, "bay"), _counted(3, "bay")
    ('1 bay', '3 bays')
    """
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
