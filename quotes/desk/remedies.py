"""The way out beside a notice: what somebody could type to be rid of it, as one button.

A button says ``mend:<field>=<value>``, which is read as if that had been typed into that field, or ``meet:<run>=<mm>``, which
moves all levels of a run. Alike notices of one run share the buttons of the first of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from fencing.faults import Notice
from fencing.fence import BuiltRun, HungGate
from fencing.ground import Ground
from fencing.measure import Form, Run
from fencing.plan import corners
from fencing.takeoff import TakeOff, grounds_of


@dataclass(frozen=True, slots=True)
class WayOut:
    do: str
    words: str


@dataclass(frozen=True, slots=True)
class Said:
    """A notice with the ways out of it."""

    level: str
    where: str
    text: str
    ways: tuple[WayOut, ...]


@dataclass(frozen=True, slots=True)
class Site:
    """Where a notice stands: the run's place in the measure, and what was made of it."""

    place: int
    built: BuiltRun
    taken: TakeOff

    @property
    def run(self) -> Run:
        """The run as measured."""
        return self.taken.measure.runs[self.place]


def notices_of(taken: TakeOff | None, notices: Mapping[str, list[Notice]], run_id: str) -> list[Said]:
    """The notices of a run or retrofit, the ways out at the first of each kind."""
    found = notices.get(run_id, [])
    place = next((place for place, run in enumerate(taken.runs if taken else ()) if run.id == run_id), None)
    site = Site(place, taken.runs[place], taken) if taken is not None and place is not None else None
    seen = set[tuple[WayOut, ...]]()
    said = []
    for notice in found:
        ways = tuple(_ways(notice, site)) if site else ()
        said.append(Said(notice.level.value, notice.where, notice.text, () if ways in seen else ways))
        seen.add(ways)
    return said


def _ways(notice: Notice, site: Site) -> Iterable[WayOut]:
    find = _REMEDIES.get(notice.code)
    return find(notice, site) if find else ()


def _form(site: Site, form: Form, words: str) -> list[WayOut]:
    built_so = site.built.form == form
    return [] if built_so else [WayOut(f"mend:runs/{site.place}/form={form.value}", f"{words} run {site.built.id}")]


def _gap(notice: Notice, site: Site) -> list[WayOut]:
    if any(gate.id == notice.where for gate in site.built.gates):
        return []  # only a spade helps
    return [*_form(site, Form.STEPPED, "Step"), *_form(site, Form.RAKED, "Rake")]


def _step(notice: Notice, site: Site) -> list[WayOut]:
    return _form(site, Form.RAKED, "Rake")


def _rake(notice: Notice, site: Site) -> list[WayOut]:
    return _form(site, Form.STEPPED, "Step")


def _lattice(notice: Notice, site: Site) -> list[WayOut]:
    bare = WayOut(f"mend:runs/{site.place}/lattice_mm=0", f"Leave the lattice off run {site.built.id}")
    return [*_form(site, Form.STEPPED, "Step"), bare]


def _leaf(notice: Notice, site: Site) -> list[WayOut]:
    number, gate = _gate(notice, site)
    wider = {"single": ("wide", "double"), "wide": ("double",)}.get(gate.kind, ())
    words = {"wide": "Make it one wide leaf", "double": "Make it two leaves"}
    return [WayOut(f"mend:runs/{site.place}/gates/{number}/kind={kind}", words[kind]) for kind in wider]


def _swing(notice: Notice, site: Site) -> list[WayOut]:
    number, gate = _gate(notice, site)
    if gate.kind == "double":
        return []
    side = "right" if gate.hang == "left" else "left"
    return [WayOut(f"mend:runs/{site.place}/gates/{number}/hang={side}", f"Hang it on the {side}")]


def _gate(notice: Notice, site: Site) -> tuple[int, HungGate]:
    return next((number, gate) for number, gate in enumerate(site.built.gates) if gate.id == notice.where)


def _corner(notice: Notice, site: Site) -> list[WayOut]:
    """The run that starts at the corner is moved up or down as a whole: it was levelled from another datum."""
    runs = site.taken.measure.runs
    shared = corners(runs)
    grounds: list[Ground] = grounds_of(runs, shared)
    found = []
    for after, before in shared.items():
        if site.taken.runs[after].posts[0].id == notice.where:
            by = grounds[before].at(runs[before].length) - grounds[after].at(0)
            found.append(
                WayOut(f"meet:{after}={by}", f"Move run {runs[after].id} {_up(by)} to meet run {runs[before].id}")
            )
    return found


def _up(by: int) -> str:
    return f"{'up' if by > 0 else 'down'} {abs(by)} mm"


_REMEDIES: Mapping[str, Callable[[Notice, Site], list[WayOut]]] = {
    "gap.high": _gap,
    "step.high": _step,
    "rake.high": _rake,
    "lattice.raked": _lattice,
    "leaf.wide": _leaf,
    "gate.swing": _swing,
    "corner.levels": _corner,
}
