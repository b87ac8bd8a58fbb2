"""One-click fixes for notices on the measure page.

A fix ``fix:<field>=<value>`` enters a value into a field. ``meet:<run>=<mm>`` moves all levels of a run.
Notices of one run that differ only in figures are merged, and their fixes too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from fencing.model.faults import Notice
from fencing.model.fence import BuiltRun, HungGate
from fencing.model.measure import Form, GateKind, Run
from fencing.quantities.take_off import TakeOff, find_grounds
from fencing.set_out.corners import find_corners
from fencing.set_out.ground import Ground
from quotes.documents.notices import NAMED, gathered, in_one


@dataclass(frozen=True, slots=True)
class Fix:
    do: str
    words: str


@dataclass(frozen=True, slots=True)
class NoticeWithFixes:
    """A notice, or several merged ones, with their elements and fixes."""

    severity: str
    places: tuple[str, ...]
    text: str
    ways: tuple[Fix, ...]
    others: int = 0
    """Places that are not named, where there are many."""


@dataclass(frozen=True, slots=True)
class NoticeContext:
    """The run of a notice: its index in the measure, and its take-off."""

    place: int
    built: BuiltRun
    taken: TakeOff

    @property
    def run(self) -> Run:
        """The run as measured."""
        return self.taken.measure.runs[self.place]


def notices_of(taken: TakeOff | None, notices: Mapping[str, list[Notice]], run_id: str) -> list[NoticeWithFixes]:
    """Return the notices of a run or retrofit, merged if they differ only in figures. Each fix appears once."""
    found = notices.get(run_id, [])
    place = next((place for place, run in enumerate(taken.runs if taken else ()) if run.id == run_id), None)
    site = NoticeContext(place, taken.runs[place], taken) if taken is not None and place is not None else None
    seen = set[Fix]()
    merged = []
    for group in gathered(found, lambda item: (item.severity.value, item.text)):
        ways = tuple(way for way in _ways_of(group, site) if way not in seen)
        data = tuple(dict.fromkeys(item.element for item in group))
        merged.append(
            NoticeWithFixes(
                group[0].severity.value, data[:NAMED], in_one([item.text for item in group]), ways, len(data[NAMED:])
            )
        )
        seen.update(ways)
    return merged


def _ways_of(notices: Iterable[Notice], site: NoticeContext | None) -> tuple[Fix, ...]:
    """Return the fixes for any of the notices, each once; none if the run has no take-off."""
    if site is None:
        return ()
    known = [(_REMEDIES[notice.code], notice) for notice in notices if notice.code in _REMEDIES]
    return tuple(dict.fromkeys(way for find, notice in known for way in find(notice, site)))


def _form(site: NoticeContext, form: Form) -> list[Fix]:
    if site.built.form == form:
        return []
    return [Fix(f"fix:runs/{site.place}/form={form.value}", f"Use {form.label} for run {site.built.id}")]


def _gap(notice: Notice, site: NoticeContext) -> list[Fix]:
    if any(gate.id == notice.element for gate in site.built.gates):
        return []  # only a spade helps
    return [*_form(site, Form.STEPPED), *_form(site, Form.RAKED)]


def _lattice(notice: Notice, site: NoticeContext) -> list[Fix]:
    bare = Fix(f"fix:runs/{site.place}/lattice_mm=0", f"Remove lattice from run {site.built.id}")
    return [*_form(site, Form.STEPPED), bare]


def _leaf(notice: Notice, site: NoticeContext) -> list[Fix]:
    number, gate = _gate(notice, site)
    kinds = tuple(GateKind)  # from the narrowest leaf to the widest gate
    wider = kinds[kinds.index(GateKind(gate.kind)) + 1 :]
    field = f"fix:runs/{site.place}/gates/{number}/kind"
    return [Fix(f"{field}={kind.value}", f"Make {gate.id} a {kind.label} gate") for kind in wider]


def _swing(notice: Notice, site: NoticeContext) -> list[Fix]:
    number, gate = _gate(notice, site)
    if gate.kind == "double":
        return []
    side = "right" if gate.hinge_side == "left" else "left"
    return [Fix(f"fix:runs/{site.place}/gates/{number}/hinge_side={side}", f"Hang {gate.id} on the {side}")]


def _gate(notice: Notice, site: NoticeContext) -> tuple[int, HungGate]:
    return next((number, gate) for number, gate in enumerate(site.built.gates) if gate.id == notice.element)


def _corner(notice: Notice, site: NoticeContext) -> list[Fix]:
    """Return the fix that moves the run after the corner as a whole, because it was levelled from another datum."""
    runs = site.taken.measure.runs
    shared = find_corners(runs)
    grounds: list[Ground] = find_grounds(runs, shared)
    found = []
    for after, before in shared.items():
        if site.taken.runs[after].posts[0].id == notice.element:
            by = grounds[before].find_level(runs[before].length) - grounds[after].find_level(0)
            move = f"{'Raise' if by > 0 else 'Lower'} run {runs[after].id} by {abs(by)} mm"
            found.append(Fix(f"meet:{after}={by}", f"{move} to match run {runs[before].id}"))
    return found


_REMEDIES: Mapping[str, Callable[[Notice, NoticeContext], list[Fix]]] = {
    "gap.high": _gap,
    "step.high": lambda notice, site: _form(site, Form.RAKED),
    "rake.high": lambda notice, site: _form(site, Form.STEPPED),
    "lattice.raked": _lattice,
    "leaf.wide": _leaf,
    "gate.swing": _swing,
    "corner.levels": _corner,
}
