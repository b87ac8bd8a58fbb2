"""Readers for the runs and retrofits of a measure. They apply the measure's defaults."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from fencing.model.faults import FaultList
from fencing.model.measure import ExistingFence, Finishes, Form, Layout, MeasureBasis, Retrofit, Run, Taper, Terminal
from fencing.reading.object_reader import LONGEST, ObjectReader
from fencing.reading.run_parts import read_gates, read_levels, read_shares

HIGHEST = 6_000
"""Maximum height of a fence of posts and sheets [mm]."""
LOWEST = 250
"""A height lower than this [mm] is probably in another unit."""
SHORTEST = 100
"""A run or bay shorter than this [mm] is probably in another unit."""
DEFAULT_KEYS = ("height_mm", "lattice_mm", "form", "layout", "basis", "soil", "finishes")
RUN_KEYS = (
    "id", "length_mm", "basis", "turn_deg", "start", "end", "levels", "book", "height_mm", "lattice_mm", "form", "layout",
    "soil", "finishes", "taper", "gates", "existing_fence", "shares",
)  # fmt: skip
RETROFIT_KEYS = ("id", "bays_mm", "lattice_mm", "finishes", "existing_height_mm", "shares")
FINISH_KEYS = ("post", "rail", "sheet", "lattice", "cap", "screw", "gate")


NO_FINISHES = Finishes()


@dataclass(frozen=True, slots=True)
class Defaults:
    """Values for members that a run leaves out. If ``height`` is None, every run must state its own."""

    height: int | None = None
    lattice: int = 0
    form: str = Form.AUTO
    layout: str = Layout.FROM_START
    basis: str = MeasureBasis.OUTSIDE_FACES
    soil: str | None = None
    finishes: Finishes = NO_FINISHES


def read_defaults(measure: ObjectReader) -> Defaults:
    """Read the defaults of a measure for all its runs [heights in mm]. Source: ``measure-2.json``.

    >>> read_defaults(ObjectReader({"defaults": {"height_mm": 1800}}, "", FaultList(), ("defaults",))).height
    1800
    """
    if "defaults" not in measure:
        return Defaults()
    given = measure.table("defaults", DEFAULT_KEYS)
    return Defaults(
        height=given.whole("height_mm", 1, HIGHEST, plausible=LOWEST) if "height_mm" in given else None,
        lattice=given.whole("lattice_mm", 0, HIGHEST, 0),
        form=given.word("form", tuple(Form), Form.AUTO),
        layout=given.word("layout", tuple(Layout), Layout.FROM_START),
        basis=given.word("basis", tuple(MeasureBasis), MeasureBasis.OUTSIDE_FACES),
        soil=given.text("soil", 80) if "soil" in given else None,
        finishes=read_finishes(given, NO_FINISHES),
    )


def read_finishes(table: ObjectReader, default: Finishes) -> Finishes:
    """Read the finish of each part [1 to 60 characters]; a part without a finish keeps its default.

    >>> table = ObjectReader({"finishes": {"post": "inkstone"}}, "", FaultList(), ("finishes",))
    >>> read_finishes(table, Finishes(rail="oatgrass"))
    Finishes(post='inkstone', rail='oatgrass', sheet=None, lattice=None, cap=None, screw=None, gate=None)
    """
    if "finishes" not in table:
        return default
    given = table.table("finishes", FINISH_KEYS)
    named = {key: given.text(key, 60) if key in given else getattr(default, key) for key in FINISH_KEYS}
    return Finishes(**named)


def read_run(value: object, pointer: str, faults: FaultList, defaults: Defaults) -> Run:
    """Read one run at ``pointer`` [lengths and levels in mm] and add its faults. Source: ``measure-2.json``.

    >>> faults = FaultList()
    >>> run = read_run({"id": "A", "length_mm": 9600}, "/runs/0", faults, Defaults(height=1800))
    >>> run.length, run.height, faults.found
    (9600, 1800, [])
    """
    run = ObjectReader(value, pointer, faults, RUN_KEYS)
    name = run.name("id")
    length = run.whole("length_mm", 1, LONGEST, plausible=SHORTEST)
    height = run.whole("height_mm", 1, HIGHEST, defaults.height, plausible=LOWEST)
    lattice = run.whole("lattice_mm", 0, HIGHEST, defaults.lattice)
    levels, misclosure = read_levels(run, length)
    return Run(
        id=name,
        length=length,
        height=height,
        basis=MeasureBasis(run.word("basis", tuple(MeasureBasis), defaults.basis)),
        turn=Fraction(run.decimal("turn_deg", -360, 360, Decimal(0), "degrees")),
        start=Terminal(run.word("start", tuple(Terminal), Terminal.FREE)),
        end=Terminal(run.word("end", tuple(Terminal), Terminal.FREE)),
        levels=levels,
        lattice=lattice,
        form=Form(run.word("form", tuple(Form), defaults.form)),
        layout=Layout(run.word("layout", tuple(Layout), defaults.layout)),
        soil=run.text("soil", 80) if "soil" in run else defaults.soil,
        finishes=read_finishes(run, defaults.finishes),
        taper=_taper(run),
        gates=read_gates(run, name, height, lattice),
        existing_fence=_existing_fence(run, length),
        shares=read_shares(run),
        misclosure=misclosure,
    )


def _taper(run: ObjectReader) -> Taper | None:
    if "taper" not in run:
        return None
    taper = run.table("taper", ("at", "bays", "height_mm"))
    return Taper(
        taper.word("at", ("start", "end")),
        taper.whole("bays", 1, 1_000, unit="bays"),
        taper.whole("height_mm", 1, HIGHEST),
    )


def _existing_fence(run: ObjectReader, length: int) -> ExistingFence | None:
    if "existing_fence" not in run:
        return None
    fence = run.table("existing_fence", ("kind", "length_mm"))
    return ExistingFence(fence.text("kind", 80), fence.whole("length_mm", 1, LONGEST, length))


def read_retrofit(value: object, pointer: str, faults: FaultList, defaults: Defaults) -> Retrofit:
    """Read one retrofit at ``pointer`` [mm] and add its faults. Source: ``measure-2.json``.

    >>> document = {"id": "R1", "bays_mm": [2400, 2350], "lattice_mm": 300}
    >>> retrofit = read_retrofit(document, "/retrofits/0", FaultList(), Defaults())
    >>> retrofit.bays, retrofit.existing_height
    ((2400, 2350), None)
    """
    retrofit = ObjectReader(value, pointer, faults, RETROFIT_KEYS)
    given = "existing_height_mm" in retrofit
    return Retrofit(
        id=retrofit.name("id"),
        bays=retrofit.wholes("bays_mm", 1_000, 1, 30_000, min_items=1, plausible=SHORTEST),
        lattice=retrofit.whole("lattice_mm", 1, HIGHEST, defaults.lattice or None),
        finishes=read_finishes(retrofit, defaults.finishes),
        existing_height=retrofit.whole("existing_height_mm", 1, HIGHEST, plausible=LOWEST) if given else None,
        shares=read_shares(retrofit),
    )
