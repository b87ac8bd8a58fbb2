"""Jobs to draw: the real engine on small invented measures."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from fencing import Measure, System, TakeOff, take_off
from fencing.model.measure import Form, Gate, GateKind, Layout, MeasureBasis, Retrofit, Run, Station, Taper, Terminal
from fencing.model.system import (
    GateRules,
    Hole,
    HoleShape,
    LatticeStock,
    PostSection,
    Rails,
    Screws,
    Sheets,
    SheetSupply,
)

POSTS = tuple(range(1500, 5401, 300))


def system(shape: HoleShape = HoleShape.STRAIGHT) -> System:
    """Pitch 2400, posts 60, holes 650 deep and 280 wide."""
    return System(
        code="drawn",
        label="A system to draw",
        pitch=2400,
        closing_bay_min=400,
        ground_gap=60,
        ground_gap_max=160,
        step_max=300,
        rake_max=Decimal(12),
        hole=Hole(650, 280, shape, 280 if shape is HoleShape.STRAIGHT else 380, 50, 25),
        channel=PostSection(34, 6, 600, POSTS, 300),
        square=PostSection(60, 36, 600, POSTS, 500),
        rails=Rails((2388, 4800), 3, 18),
        sheets=Sheets(790, 32, 20, 12, SheetSupply.MADE_TO_LENGTH, (), 1),
        lattice=LatticeStock((320,), (2388,), False),
        screws=Screws(90, 120, 280, 2, 4, 2),
        gates=GateRules(24, 24, 36, 44, {"single": 1200, "wide": 1800}, 10, (6, 12), (12, 40), 4, 6, 180, 220),
        retrofit_overlap=45,
    )


def job(*runs: Run, retrofits: tuple[Retrofit, ...] = (), label: str = "Lot 7, Kestrel Rise") -> TakeOff:
    return take_off(Measure(label, "drawn", runs, retrofits), system())


def run(name: str = "A", length: int = 18240, **changes: object) -> Run:
    """A level run between centres, bays from its start, 1800 high."""
    settings: dict[str, object] = {"basis": MeasureBasis.CENTRES, "form": Form.LEVEL, "height": 1800, **changes}
    return Run(name, length, **settings)  # type: ignore[arg-type]


def one_bay() -> TakeOff:
    return job(run(length=2400))


def yard() -> TakeOff:
    """Three sides: a level front with a gate, a stepped side, a raked rear that tapers to a wall, and a retrofit."""
    front = run(
        "A", 14200, end=Terminal.CORNER, start=Terminal.WALL, basis=MeasureBasis.OUTSIDE_FACES, lattice=320, height=1800,
        gates=(Gate("A-G1", 5200, 1000, GateKind.SINGLE, 1800, 320),),
    )  # fmt: skip
    side = run(
        "B", 18240, turn=Fraction(90), start=Terminal.CORNER, end=Terminal.CORNER, form=Form.STEPPED, layout=Layout.EVEN,
        levels=(Station(0, 0), Station(6000, -120), Station(18240, -540)),
        gates=(Gate("B-G1", 9000, 3000, GateKind.DOUBLE, 1800, swing="out"),),
    )  # fmt: skip
    rear = run(
        "C", 12600, turn=Fraction(90), start=Terminal.CORNER, end=Terminal.JOIN, form=Form.RAKED,
        levels=(Station(0, -540), Station(5000, -200), Station(12600, 260)), taper=Taper("end", 2, 900),
    )  # fmt: skip
    return job(front, side, rear, retrofits=(Retrofit("R1", (2400, 2400, 2310), 320, existing_height=1500),))


def sixty_metres() -> TakeOff:
    return job(
        run("A", 30000, end=Terminal.CORNER, gates=(Gate("A-G1", 12000, 1000, GateKind.SINGLE, 1800),)),
        run(
            "B",
            30000,
            turn=Fraction(90),
            start=Terminal.CORNER,
            form=Form.STEPPED,
            levels=(Station(0, 0), Station(30000, -1500)),
        ),
    )


def zigzag(runs: int = 60) -> TakeOff:
    """Many short runs with long names, every one turning, with closing bays of the least width."""
    return job(
        *(
            run(
                f"Side {number} by the old orchard",
                2400 * (1 + number % 3) + 410,
                turn=Fraction(0 if not number else 70 if number % 2 else -70),
                start=Terminal.CORNER if number else Terminal.FREE,
                end=Terminal.CORNER if number < runs - 1 else Terminal.FREE,
            )
            for number in range(runs)
        ),
        label="Sixty sides <& more>",
    )


def kilometre() -> TakeOff:
    return job(run("A", 1_000_000, form=Form.STEPPED, levels=(Station(0, 0), Station(1_000_000, -20_000))))


def rough() -> TakeOff:
    """Ground up and down, gates at both ends and one post's width apart, belled holes' worth of crowding, a raked lattice."""
    levels = tuple(Station(at, (at // 900 % 3) * 130 - at // 60) for at in range(0, 24001, 900))
    gates = (
        Gate("near the <old> gum", 430, 900, GateKind.SINGLE, 1800, swing="out"),
        Gate("G2", 1390, 3600, GateKind.DOUBLE, 1500),
        Gate("G3", 20000, 1700, GateKind.WIDE, 1800, hinge_side="right"),
    )
    return job(
        run(
            "north",
            24000,
            form=Form.RAKED,
            levels=levels,
            gates=gates,
            lattice=320,
            start=Terminal.JOIN,
            end=Terminal.WALL,
        ),
        run("apart", 3000, start=Terminal.WALL, end=Terminal.WALL, turn=Fraction(33)),
        run("alone", 700, turn=Fraction(-80)),
        retrofits=(Retrofit("R9", (2000, 400, 380, 2400), 320),),
    )


def cliff() -> TakeOff:
    """A level fence over ground that falls four metres: posts stand out, notices on every bay."""
    return job(
        run("A", 21600, levels=(Station(0, 0), Station(10000, -300), Station(10400, -4000), Station(21600, -4100)))
    )
