"""Walk what stands and count it by hand-written rules."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from fractions import Fraction

from fencing.model.measure import Finishes, Gate, GateKind, Measure, Retrofit
from fencing.model.system import Hole, HoleShape, PostSection, System
from tests.fencing.naive.setting_out import set_out
from tests.fencing.naive.standing import StandingBay, StandingGate, StandingPost, StandingRun, StandingSheet
from tests.fencing.naive.sums import diagonal, half_up, on_slope, screws_in_a_row, share_out, sheets_across

PieceKey = tuple[str, str | None, int, int | None]


@dataclass
class CountedMember:
    section: str
    bay: str | None
    top: int
    length: int
    stock: int | None
    embedment: int
    short: bool


@dataclass
class CountedLeaf:
    width: int
    height: int
    diagonal: int
    hinges: tuple[int, ...]
    clip: int | None
    rail: int
    sheets: list[tuple[int, int]]


@dataclass
class Count:
    runs: list[StandingRun]
    hole_depth: int
    members: dict[str, list[CountedMember]] = field(default_factory=dict)
    leaves: dict[str, list[CountedLeaf]] = field(default_factory=dict)
    pieces: Counter[PieceKey] = field(default_factory=Counter)
    things: Counter[tuple[str, str | None]] = field(default_factory=Counter)
    half_caps: Counter[str | None] = field(default_factory=Counter)
    screws: Counter[str] = field(default_factory=Counter)
    holes: int = 0
    concrete_mm3: int = 0

    def screw(self, place: str, finish: str | None, how_many: int) -> None:
        self.screws[place] += how_many
        self.things["screw", finish] += how_many


def count(measure: Measure, system: System) -> Count:
    counted = Count(set_out(measure, system), system.hole.depth)
    done: set[str] = set()
    for here in counted.runs:
        for bay in here.bays:
            fill_bay(bay, system)
            count_bay(counted, bay, system)
        for post in here.posts:
            if post.id not in done:
                done.add(post.id)
                count_post(counted, post, system)
        for hung in here.gates:
            count_gate(counted, hung, system)
    for retrofit in measure.retrofits:
        count_retrofit(counted, retrofit, system)
    for finish, halves in counted.half_caps.items():
        counted.things["cap.pair", finish] += (halves + 1) // 2
    return counted


def lattice_finish(finishes: Finishes) -> str | None:
    return finishes.lattice or finishes.rail


def screw_finish(finishes: Finishes) -> str | None:
    return finishes.screw or finishes.rail


def cap_finish(finishes: Finishes) -> str | None:
    return finishes.cap or finishes.post


def gate_finish(finishes: Finishes) -> str | None:
    return finishes.gate or finishes.post


def fill_bay(bay: StandingBay, system: System) -> None:
    spacing = bay.end - bay.start
    width = spacing - bay.setbacks[0] - bay.setbacks[1]
    bay.bottom_rail = on_slope(width, bay.base[1] - bay.base[0], spacing)
    bay.top_rail = on_slope(width, bay.top[1] - bay.top[0], spacing)
    sheets = system.sheets
    for left_edge, sheet_width in sheets_across(width, sheets.cover, sheets.lap, sheets.slack):
        bay.sheets.append(cut_sheet(bay, bay.setbacks[0] + left_edge, sheet_width, system))


def cut_sheet(bay: StandingBay, x: int, width: int, system: System) -> StandingSheet:
    spacing = bay.end - bay.start
    foot_left = bay.base[0] + Fraction((bay.base[1] - bay.base[0]) * x, spacing)
    foot_right = bay.base[0] + Fraction((bay.base[1] - bay.base[0]) * (x + width), spacing)
    head_left = bay.top[0] + Fraction((bay.top[1] - bay.top[0]) * x, spacing)
    head_right = bay.top[0] + Fraction((bay.top[1] - bay.top[0]) * (x + width), spacing)
    off = system.sheets.deduction + bay.run.lattice
    if abs(foot_left - foot_right) <= system.rails.seat:
        foot = "square"
        foot_left = foot_right = max(foot_left, foot_right)
    else:
        foot = "cut"
    blank = math.ceil(max(head_left, head_right) - min(foot_left, foot_right) - off)
    left, right = half_up(head_left - foot_left - off), half_up(head_right - foot_right - off)
    return StandingSheet(x, width, blank, left, right, foot)


def count_bay(counted: Count, bay: StandingBay, system: System) -> None:
    finishes = bay.run.finishes
    for _, length in bay.rails():
        counted.pieces["rail", finishes.rail, length, None] += 1
        counted.screw("rail ends", screw_finish(finishes), 2 * system.screws.per_rail_end)
    for sheet in bay.sheets:
        counted.pieces["sheet", finishes.sheet, sheet.blank, sheet.width] += 1
    if bay.run.lattice:
        counted.pieces["lattice", lattice_finish(finishes), bay.top_rail, bay.run.lattice] += 1
        counted.screw("lattice", screw_finish(finishes), system.screws.per_lattice)


def stand_member(section: PostSection, name: str, bay: str | None, top: int, ground: int, hole: Hole) -> CountedMember:
    above = top - ground
    for stock in section.stock:
        if stock >= above + section.embedment_min:
            deepest = max(section.embedment_min, hole.depth - hole.bedding)
            embedment = min(stock - above, deepest)
            return CountedMember(name, bay, top, above + embedment, stock, embedment, short=False)
    longest = section.stock[-1]
    if longest <= above:
        needed = above + section.embedment_min
        return CountedMember(name, bay, top, needed, None, section.embedment_min, short=True)
    return CountedMember(name, bay, top, longest, longest, longest - above, short=True)


def count_post(counted: Count, post: StandingPost, system: System) -> None:
    members = []
    if post.kind == "square":
        top = max([top for _, top in post.channels] + post.gate_tops)
        members.append(stand_member(system.square, "square", None, top, post.ground, system.hole))
    for bay, top in post.channels:
        members.append(stand_member(system.channel, "channel", bay, top, post.ground, system.hole))
    counted.members[post.id] = members
    for member in members:
        counted.pieces[f"post.{member.section}", post.run.finishes.post, member.length, None] += 1
    count_caps(counted, post, system)
    count_stitching(counted, post, system)
    counted.holes += 1
    counted.concrete_mm3 += concrete_in_hole(members, system)


def count_caps(counted: Count, post: StandingPost, system: System) -> None:
    cap, screw = cap_finish(post.run.finishes), screw_finish(post.run.finishes)
    whole, half = system.screws.per_cap, (system.screws.per_cap + 1) // 2
    tops = [top for _, top in post.channels]
    if post.kind == "square":
        counted.things["cap.square", cap] += 1
        counted.screw("caps", screw, whole)
    elif post.kind == "single":
        counted.half_caps[cap] += 1
        counted.screw("caps", screw, half)
    elif tops[0] == tops[1]:
        counted.things["cap.pair", cap] += 1
        counted.screw("caps", screw, whole)
    else:
        counted.half_caps[cap] += 2
        counted.screw("caps", screw, 2 * half)


def count_stitching(counted: Count, post: StandingPost, system: System) -> None:
    tops = [top for _, top in post.channels]
    if post.kind == "line":
        rows = [min(tops)]
    elif post.kind == "square" or post.against == "join":
        rows = tops
    else:
        rows = []
    screws = system.screws
    for top in rows:
        length = (top - screws.pair_from_top) - (post.ground + screws.pair_above_ground)
        how_many = screws_in_a_row(length, screws.pair_spacing_max)
        counted.screw("stitching", screw_finish(post.run.finishes), how_many)


def concrete_in_hole(members: list[CountedMember], system: System) -> int:
    hole = system.hole
    other = hole.diameter if hole.shape is HoleShape.STRAIGHT else hole.end_diameter
    mouth = hole.end_diameter if hole.shape is HoleShape.FLARED else hole.diameter
    pi = Fraction(math.pi)
    squares = hole.diameter * hole.diameter + hole.diameter * other + other * other
    volume = pi * squares * hole.depth / 12 + pi * mouth * mouth * hole.crown / 12
    for member in members:
        area = system.square.steel_area if member.section == "square" else system.channel.steel_area
        volume -= area * member.embedment
    return half_up(volume)


def leaf_widths(gate: Gate, system: System) -> list[int]:
    rules = system.gates
    if gate.kind is GateKind.DOUBLE:
        return share_out(gate.opening - rules.clearance_double, 2)
    if gate.kind is GateKind.WIDE:
        return [gate.opening - rules.clearance_wide]
    return [gate.opening - rules.clearance_single]


def count_gate(counted: Count, hung: StandingGate, system: System) -> None:
    gate, finishes = hung.gate, hung.run.finishes
    frame = gate_finish(finishes)
    counted.leaves[gate.id] = []
    for width in leaf_widths(gate, system):
        counted.leaves[gate.id].append(count_leaf(counted, gate, width, finishes, system))
    if "latch" in gate.hardware:
        counted.things["latch", frame] += 1
    if gate.kind is GateKind.DOUBLE or "drop_bolt" in gate.hardware:
        counted.things["drop_bolt", frame] += 1


def count_leaf(counted: Count, gate: Gate, width: int, finishes: Finishes, system: System) -> CountedLeaf:
    rules, sheets, frame, screw = system.gates, system.sheets, gate_finish(finishes), screw_finish(finishes)
    inside = width - 2 * rules.stile
    blank = gate.height - gate.lattice - sheets.deduction
    rails = 3 if gate.lattice else 2
    counted.pieces["gate.stile", frame, gate.height, None] += 2
    counted.pieces["gate.rail", frame, inside, None] += rails
    counted.screw("gate joints", screw, 2 * rails * rules.screws_per_joint)
    counted.things["stile_plug", frame] += 2
    across = sheets_across(inside, sheets.cover, sheets.lap, sheets.slack)
    for _, sheet_width in across:
        counted.pieces["sheet", finishes.sheet, blank, sheet_width] += 1
    if gate.lattice:
        counted.pieces["lattice", lattice_finish(finishes), inside, gate.lattice] += 1
        counted.screw("lattice", screw, system.screws.per_lattice)
        counted.things["lattice_clip", frame] += 2
    hinges: tuple[int, ...] = ()
    if "hinges" in gate.hardware:
        hinges = (rules.hinge_from_bottom, gate.height - rules.hinge_from_top)
        counted.things["hinge", frame] += 2
        counted.screw("hinges", screw, 2 * rules.hinge_screws)
    clip = blank - rules.clip_below_sheet_top if gate.lattice else None
    return CountedLeaf(
        width, gate.height, diagonal(width, gate.height), hinges, clip, inside, [(blank, item) for _, item in across]
    )


def count_retrofit(counted: Count, retrofit: Retrofit, system: System) -> None:
    finishes, screws = retrofit.finishes, system.screws
    screw = screw_finish(finishes)
    extension = retrofit.lattice + system.retrofit_overlap
    for spacing in retrofit.bays:
        rail = spacing - 2 * system.channel.setback
        counted.pieces["post.extension", finishes.post, extension, None] += 2
        counted.pieces["rail", finishes.rail, rail, None] += 1
        counted.pieces["lattice", lattice_finish(finishes), rail, retrofit.lattice] += 1
        counted.screw("rail ends", screw, 2 * screws.per_rail_end)
        counted.screw("lattice", screw, screws.per_lattice)
        counted.screw("extension feet", screw, 2 * screws.per_rail_end)
    for _ in range(len(retrofit.bays) - 1):
        length = extension - screws.pair_from_top - system.retrofit_overlap
        counted.screw("stitching", screw, screws_in_a_row(length, screws.pair_spacing_max))
    for _ in range(len(retrofit.bays) + 1):
        counted.things["cap.pair", cap_finish(finishes)] += 1
        counted.screw("caps", screw, screws.per_cap)
