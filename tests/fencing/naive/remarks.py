"""Notices of the naive counter: (code, element) of every notice about the built fence."""

from __future__ import annotations

import math
from fractions import Fraction

from fencing.model.measure import Measure, Retrofit
from fencing.model.system import System
from tests.fencing.naive.counter import Count
from tests.fencing.naive.standing import StandingBay, StandingGate, StandingPost, StandingRun
from tests.fencing.naive.sums import between, ground_at, half_up, lowest

Remark = tuple[str, str]


def gaps(bay: StandingBay, here: StandingRun) -> tuple[int, int]:
    """Least and most ground gap over the bay's whole width."""
    found = [
        Fraction(bay.base[0] - half_up(ground_at(here.points, bay.start))),
        Fraction(bay.base[1] - half_up(ground_at(here.points, bay.end))),
    ]
    for x, level in between(here.points, bay.start, bay.end):
        rise = Fraction((bay.base[1] - bay.base[0]) * (x - bay.start), bay.end - bay.start)
        found.append(bay.base[0] + rise - level)
    return half_up(min(found)), half_up(max(found))


def slope(bay: StandingBay) -> float:
    return math.degrees(math.atan2(abs(bay.base[1] - bay.base[0]), bay.end - bay.start))


def remarks(measure: Measure, system: System, counted: Count) -> set[Remark]:
    found: set[Remark] = set()
    for here in counted.runs:
        for bay in here.bays:
            found |= of_bay(bay, here, system)
        for post in here.posts:
            found |= of_post(post, counted)
        for hung in here.gates:
            found |= of_gate(hung, here, counted, system)
    for retrofit in measure.retrofits:
        found |= of_retrofit(retrofit, system)
    return found


def of_post(post: StandingPost, counted: Count) -> set[Remark]:
    found: set[Remark] = set()
    if any(member.short for member in counted.members[post.id]):
        found.add(("post.short", post.id))
    if post.against == "wall" and post.kind == "single":
        found.add(("wall.fixing", post.id))
    return found


def of_retrofit(retrofit: Retrofit, system: System) -> set[Remark]:
    found = {("retrofit.footings", retrofit.id)}
    for i in range(len(retrofit.bays)):
        rail = retrofit.bays[i] - 2 * system.channel.setback
        if rail > max(system.rails.stock):
            found.add(("rail.short", f"{retrofit.id}-{i + 1}"))
        if rail > max(system.lattice.stock):
            found.add(("lattice.short", f"{retrofit.id}-{i + 1}"))
    return found


def of_bay(bay: StandingBay, here: StandingRun, system: System) -> set[Remark]:
    found: set[Remark] = set()
    if gaps(bay, here)[1] > system.ground_gap_max:
        found.add(("gap.high", bay.id))
    if bay.step > system.step_max:
        found.add(("step.high", bay.id))
    if slope(bay) > system.rake_max:
        found.add(("rake.high", bay.id))
    if max(bay.bottom_rail, bay.top_rail) > max(system.rails.stock):
        found.add(("rail.short", bay.id))
    if any(sheet.blank > max(system.sheets.stock) for sheet in bay.sheets):
        found.add(("sheet.short", bay.id))
    if bay.run.lattice and bay.top_rail > max(system.lattice.stock):
        found.add(("lattice.short", bay.id))
    if bay.run.lattice and bay.top[0] != bay.top[1] and not system.lattice.raked:
        found.add(("lattice.raked", bay.id))
    if bay.end - bay.start < system.closing_bay_min:
        found.add(("bay.short", bay.id))
    return found


def of_gate(hung: StandingGate, here: StandingRun, counted: Count, system: System) -> set[Remark]:
    found: set[Remark] = set()
    gate = hung.gate
    if hung.base - lowest(here.points, gate.start, gate.end) > system.ground_gap_max:
        found.add(("gap.high", gate.id))
    for leaf in counted.leaves[gate.id]:
        if leaf.width > system.gates.leaf_max[gate.kind.value]:
            found.add(("leaf.wide", gate.id))
        if any(blank > max(system.sheets.stock) for blank, _ in leaf.sheets):
            found.add(("sheet.short", gate.id))
        if leaf.clip is not None and leaf.rail > max(system.lattice.stock):
            found.add(("lattice.short", gate.id))
    return found
