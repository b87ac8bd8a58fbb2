"""Fence systems and site measures that are valid by the rules, thrown with dice: Hypothesis's or a seeded generator's."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import Protocol, TypeVar

from hypothesis import strategies as st
from hypothesis.strategies import DrawFn

from fencing.model.measure import (
    Finishes,
    Form,
    Gate,
    GateKind,
    Layout,
    Measure,
    MeasureBasis,
    Retrofit,
    Run,
    Station,
    Taper,
    Terminal,
)
from fencing.model.system import (
    Allowance,
    GateRules,
    Hole,
    HoleShape,
    LatticeStock,
    PostSection,
    Rails,
    Screws,
    Sheets,
    SheetSupply,
    System,
)

T = TypeVar("T")

PLAIN_LAYOUTS = (Layout.FROM_START, Layout.FROM_END, Layout.EVEN, Layout.BALANCED, Layout.WHOLE_RAILS)
PLAIN_FORMS = (Form.LEVEL, Form.STEPPED, Form.RAKED)


class Dice(Protocol):
    """Source of the numbers. Both ends are included; the first choice is the simplest."""

    def between(self, low: int, high: int) -> int: ...

    def choice(self, options: Sequence[T]) -> T: ...


@dataclass
class SeededDice:
    source: random.Random

    def between(self, low: int, high: int) -> int:
        return self.source.randint(low, high)

    def choice(self, options: Sequence[T]) -> T:
        return self.source.choice(options)


@dataclass
class DrawnDice:
    draw: DrawFn

    def between(self, low: int, high: int) -> int:
        return self.draw(st.integers(low, high))

    def choice(self, options: Sequence[T]) -> T:
        return self.draw(st.sampled_from(options))


@dataclass(frozen=True)
class JobLimits:
    """Limits of the random jobs; a law that does not hold for every job states its limits here."""

    forms: tuple[Form, ...] = PLAIN_FORMS
    layouts: tuple[Layout, ...] = PLAIN_LAYOUTS
    terminals: tuple[Terminal, ...] = (Terminal.FREE, Terminal.WALL, Terminal.JOIN, Terminal.CORNER)
    bases: tuple[MeasureBasis, ...] = (MeasureBasis.CENTRES, MeasureBasis.OUTSIDE_FACES)
    most_runs: int = 4
    most_gates: int = 2
    uneven: bool = True
    tapers: bool = True
    retrofits: bool = True


def throw_system(dice: Dice) -> System:
    pitch = dice.between(1800, 3000)
    gap = dice.between(30, 80)
    embedment = dice.between(450, 700)
    square_embedment = embedment + dice.choice((0, 0, 50))
    bedding = dice.choice((0, 40, 60))
    channel_setback = dice.between(3, 9)
    square_face = dice.choice((60, 65, 50, 75))
    shape = dice.choice((HoleShape.STRAIGHT, HoleShape.BELLED, HoleShape.FLARED))
    diameter = dice.between(200, 350)
    rail = pitch - 2 * channel_setback - dice.choice((0, 0, 20, 150))
    posts = tuple(range(1500, dice.choice((5401, 5401, 2801)), dice.choice((300, 250, 420))))
    return System(
        code="thrown",
        label="A system thrown with dice",
        pitch=pitch,
        closing_bay_min=dice.between(250, 600),
        ground_gap=gap,
        ground_gap_max=gap + dice.between(60, 200),
        step_max=dice.between(150, 400),
        rake_max=Decimal(dice.between(5, 20)),
        hole=Hole(
            depth=square_embedment + bedding + dice.choice((0, 0, 100)),
            diameter=diameter,
            shape=shape,
            end_diameter=diameter if shape is HoleShape.STRAIGHT else diameter + dice.between(20, 120),
            bedding=bedding,
            crown=dice.choice((0, 25, 40)),
        ),
        channel=PostSection(2 * dice.between(15, 20) + dice.choice((0, 1)), channel_setback, embedment, posts, 290),
        square=PostSection(square_face, square_face // 2 + dice.between(2, 9), square_embedment, posts, 510),
        rails=Rails(stock=(rail, 2 * rail + 3), kerf=3, seat=dice.choice((0, 15, 40))),
        sheets=Sheets(
            cover=dice.between(600, 900),
            lap=dice.between(15, 40),
            slack=dice.choice((0, 20, 60)),
            deduction=dice.between(5, 15),
            supply=SheetSupply.STOCK,
            stock=(900, 1200, 1500, 1800, 2100),
        ),
        lattice=LatticeStock(heights=(280, 340), stock=(rail,), raked=dice.choice((True, False))),
        screws=throw_screws(dice),
        gates=throw_gate_rules(dice),
        retrofit_overlap=dice.between(30, 60),
        allowances={
            "screw": Allowance(percent=Decimal(5)),
            "concrete": Allowance(Decimal(10)),
            "cap": Allowance(each=1),
        },
        bag_yield=Decimal("0.0105"),
    )


def throw_screws(dice: Dice) -> Screws:
    return Screws(
        pair_from_top=dice.between(70, 120),
        pair_above_ground=dice.between(80, 140),
        pair_spacing_max=dice.between(200, 320),
        per_rail_end=dice.between(1, 3),
        per_lattice=dice.between(2, 5),
        per_cap=dice.between(1, 3),
    )


def throw_gate_rules(dice: Dice) -> GateRules:
    return GateRules(
        clearance_single=dice.between(15, 30),
        clearance_wide=dice.between(15, 30),
        clearance_double=dice.between(25, 45),
        stile=dice.between(35, 50),
        leaf_max={"single": 1250, "wide": 1900, "double": 1800},
        clip_below_sheet_top=dice.between(8, 14),
        notch=(5, 11),
        lattice_notch=(9, 33),
        screws_per_joint=dice.between(2, 6),
        hinge_screws=dice.between(3, 8),
        hinge_from_top=dice.between(140, 200),
        hinge_from_bottom=dice.between(180, 240),
    )


def throw_gate(dice: Dice, system: System, gate_id: str, start: int, height: int) -> Gate:
    kind = dice.choice((GateKind.SINGLE, GateKind.WIDE, GateKind.DOUBLE))
    high = height - dice.choice((0, 0, 100))
    longest = system.sheets.stock[-1] + system.sheets.deduction
    tops = [lattice for lattice in (0, 0, *system.lattice.heights) if high - lattice <= longest]
    widths = {GateKind.SINGLE: (800, 1300), GateKind.WIDE: (1200, 1900), GateKind.DOUBLE: (2000, 3700)}
    return Gate(
        id=gate_id,
        start=start,
        opening=dice.between(*widths[kind]),
        kind=kind,
        height=high,
        lattice=dice.choice(tops),
        hinge_side=dice.choice(("left", "right")),
        swing=dice.choice(("in", "out")),
        hardware=dice.choice((("hinges", "latch"), ("hinges",), ("latch",), (), ("hinges", "drop_bolt"))),
    )


def throw_segment(dice: Dice, system: System, bays: int = 4) -> int:
    """A length between two posts that leaves room for rails; now and then whole pitches exactly."""
    if dice.between(0, 4) == 0:
        return system.pitch * dice.between(1, bays)
    return dice.between(4 * system.square.setback, bays * system.pitch)


@dataclass
class Skeleton:
    """A run in the making: its gates, its length, and the segments at its two ends (0: a gate stands there)."""

    gates: tuple[Gate, ...]
    length: int
    first: int
    last: int


def split_face(face: int) -> tuple[int, int]:
    """Before and after the centre of a post: the greater half first."""
    return face - face // 2, face // 2


def throw_skeleton(
    dice: Dice, system: System, run_id: str, insides: tuple[int, int], height: int, most: int, taper_at: str | None
) -> Skeleton:
    """Segments and gates one after the other; a gate may stand at a square terminal, or share its post with the next."""
    before, after = split_face(system.square.face)
    gate_first = most > 0 and taper_at != "start" and insides[0] in (0, before) and dice.between(0, 5) == 0
    gate_last = most > 0 and taper_at != "end" and insides[1] in (0, after) and dice.between(0, 5) == 0
    how_many = dice.between(1 if gate_first or gate_last else 0, most)
    first = 0 if gate_first else throw_segment(dice, system)
    at, last, gates = insides[0] + first, first, []
    for number in range(how_many):
        gates.append(throw_gate(dice, system, f"{run_id}-G{number + 1}", at + after, height))
        shares = number + 1 < how_many and dice.between(0, 3) == 0
        ends = number + 1 == how_many and gate_last
        last = 0 if shares or ends else throw_segment(dice, system)
        at = gates[-1].end + before + last
    return Skeleton(tuple(gates), at + insides[1], first, last)


def throw_levels(dice: Dice, length: int, start: int, form: Form) -> tuple[Station, ...]:
    """Two to seven stations; a level fence gets gentle ground, so that posts exist for it."""
    stations = [Station(0, start)]
    per_mille = 12 if form is Form.LEVEL else 120
    for _ in range(dice.between(1, 6)):
        before = stations[-1]
        at = before.at + dice.between(300, max(300, length // 2))
        if at > length:
            break
        rise = (at - before.at) * per_mille // 1000
        stations.append(Station(at, before.level + dice.between(-rise, rise)))
    if len(stations) == 1:
        stations.append(Station(length, start + dice.between(-40, 40)))
    return tuple(stations)


def inside(system: System, basis: MeasureBasis, terminal: Terminal, which: int, tapered: bool) -> int:
    """Return how far the centre of the first (0) or last (1) post is inside the measured length."""
    if basis is MeasureBasis.CENTRES:
        return 0
    square = terminal is Terminal.CORNER or (terminal is Terminal.FREE and not tapered)
    return split_face(system.square.face if square else system.channel.face)[which]


def throw_taper(dice: Dice, system: System, at: str, segment: int, height: int, lattice: int) -> Taper:
    bays = dice.between(1, max(1, segment // (system.pitch + 2 * system.square.setback)))
    return Taper(at, bays, dice.between(lattice + 350, height - 1))


def throw_run(
    dice: Dice, system: System, run_id: str, ends: tuple[Terminal, Terminal], ground: int, limits: JobLimits
) -> Run:
    lattice = dice.choice((0, 0, 0, *system.lattice.heights))
    height = dice.choice((1200, 1500, 1800, 2100)) + dice.choice((0, -7)) + (lattice if lattice else 0)
    basis, form = dice.choice(limits.bases), dice.choice(limits.forms)
    taper_at = dice.choice((None, None, "start", "end")) if limits.tapers else None
    insides = (
        inside(system, basis, ends[0], 0, taper_at == "start"),
        inside(system, basis, ends[1], 1, taper_at == "end"),
    )
    skeleton = throw_skeleton(dice, system, run_id, insides, height, limits.most_gates, taper_at)
    taper = None
    if taper_at:
        end_segment = skeleton.first if taper_at == "start" else skeleton.last
        taper = throw_taper(dice, system, taper_at, end_segment, height, lattice)
    return Run(
        id=run_id,
        length=skeleton.length,
        height=height,
        basis=basis,
        turn=Fraction(dice.choice((90, 30, -90))) if run_id != "A" else Fraction(0),
        start=ends[0],
        end=ends[1],
        levels=throw_levels(dice, skeleton.length, ground, form) if limits.uneven and dice.between(0, 5) else (),
        lattice=lattice,
        form=form,
        layout=dice.choice(limits.layouts),
        taper=taper,
        gates=skeleton.gates,
        finishes=Finishes(post="ash", rail="ash", sheet="fern", cap=dice.choice((None, "pebble"))),
    )


def throw_loop(dice: Dice, system: System, limits: JobLimits) -> list[Run]:
    """Four runs round a rectangle: the third is as long as the first, the fourth as the second."""
    around = (Terminal.CORNER, Terminal.CORNER)
    first, second = (throw_run(dice, system, name, around, 0, limits) for name in "AB")
    return [
        replace(
            side,
            id=name,
            turn=Fraction(90) if name != "A" else Fraction(0),
            gates=tuple(replace(gate, id=f"{name}-G{number}") for number, gate in enumerate(side.gates, 1)),
        )
        for name, side in zip("ABCD", (first, second, first, second), strict=True)
    ]


def throw_measure(dice: Dice, system: System, limits: JobLimits = JobLimits()) -> Measure:
    runs: list[Run] = []
    ground = 0
    for number in range(dice.between(1, limits.most_runs)):
        joined = bool(runs) and runs[-1].end is Terminal.CORNER and dice.between(0, 3) > 0
        start = Terminal.CORNER if joined else dice.choice(limits.terminals)
        run = throw_run(dice, system, "ABCDEFGH"[number], (start, dice.choice(limits.terminals)), ground, limits)
        if run.levels:
            ground = run.levels[-1].level + dice.choice((0, 0, -60, 15))
        runs.append(run)
    if limits.most_runs >= 4 and Terminal.CORNER in limits.terminals and dice.between(0, 7) == 0:
        runs = throw_loop(dice, system, limits)
    retrofits: tuple[Retrofit, ...] = ()
    if limits.retrofits and dice.between(0, 3) == 0:
        bays = tuple(dice.between(900, system.pitch) for _ in range(dice.between(1, 5)))
        retrofits = (Retrofit("R1", bays, dice.choice(system.lattice.heights), Finishes(post="ash", rail="dune")),)
    return Measure(label="Thrown", system=system.code, runs=tuple(runs), retrofits=retrofits)


@dataclass(frozen=True)
class Job:
    """A measure with the system it is built in."""

    measure: Measure
    system: System


def throw_job(dice: Dice, limits: JobLimits = JobLimits()) -> Job:
    system = throw_system(dice)
    return Job(throw_measure(dice, system, limits), system)


def random_jobs(how_many: int, seed: int) -> list[Job]:
    """The same jobs every time for the same seed."""
    dice = SeededDice(random.Random(seed))  # noqa: S311 - nothing secret is drawn
    return [throw_job(dice) for _ in range(how_many)]


@st.composite
def jobs(draw: DrawFn, limits: JobLimits = JobLimits()) -> Job:
    return throw_job(DrawnDice(draw), limits)
