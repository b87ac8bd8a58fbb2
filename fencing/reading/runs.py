"""Readers for the runs and retrofits of a measure: the ground, gates and shares of a run. They apply the measure's defaults."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from fencing.model.faults import FaultList, InvalidDocument, extend_pointer, find_nearest, show_value
from fencing.model.measure import (
    ExistingFence,
    Finishes,
    Form,
    Gate,
    GateKind,
    Layout,
    MeasureBasis,
    Retrofit,
    Run,
    Station,
    Taper,
    Terminal,
)
from fencing.reading.object_reader import LONGEST, ObjectReader
from fencing.set_out.level_book import reduce_book

MAX_STATIONS = 2_000
MAX_LEVEL = 10_000_000
"""Levels are within 10 km of the datum [mm]."""


def read_levels(run: ObjectReader, length: int) -> tuple[tuple[Station, ...], int]:
    """Read the stations in order of chainage, and the misclosure of a levelling book if it is too large [mm].

    There are no stations if the ground was not levelled. The misclosure is 0 if it is within the usual limit.

    Source: house rule.

    >>> from fencing.model.faults import FaultList
    >>> run = ObjectReader({"levels": [[0, 0], [6000, -120]]}, "/runs/0", FaultList(), ("levels", "length_mm"))
    >>> read_levels(run, 6000)
    ((Station(at=0, level=0), Station(at=6000, level=-120)), 0)
    """
    if "levels" in run and "book" in run:
        run.fault("book", "levels.both", "give the levels or the levelling book they come from, not both")
        return (), 0
    if "book" in run:
        return _read_book(run, length)
    return _read_stations(run, length), 0


def _read_stations(run: ObjectReader, length: int) -> tuple[Station, ...]:
    stations: list[Station] = []
    for pointer, item in run.items("levels", MAX_STATIONS):
        if not isinstance(item, list) or len(item) != 2 or not all(type(number) is int for number in item):
            run.faults.add(pointer, "type", _describe_wrong_pair(item))
            continue
        at, level = item
        if not -MAX_LEVEL <= level <= MAX_LEVEL:
            run.faults.add(f"{pointer}/1", "range", f"a level is from {-MAX_LEVEL} to {MAX_LEVEL} mm")
        if not 0 <= at <= LONGEST:
            run.faults.add(f"{pointer}/0", "range", f"a chainage is from 0 to {LONGEST} mm")
            continue
        if stations and at <= stations[-1].at:
            text = f"{at} comes after {stations[-1].at}; chainages increase along the run"
            run.faults.add(f"{pointer}/0", "levels.order", text)
        stations.append(Station(at, level))
        _check_within(run, f"{pointer}/0", at, length)
    return tuple(stations)


def _describe_wrong_pair(item: object) -> str:
    metres = isinstance(item, list) and all(isinstance(entry, int | Decimal) for entry in item)
    text = f"{show_value(item)} is not valid here; write [chainage, level] in whole mm, as [6000, -120]"
    return text + ("; are they in m? 6 m is 6000 mm" if metres else "")


def _read_book(run: ObjectReader, length: int) -> tuple[tuple[Station, ...], int]:
    pointer = run.pointer("book")
    if run.faults.full:
        return (), 0
    try:
        book = reduce_book(run.raw("book"))
    except InvalidDocument as refused:
        for fault in refused.faults:
            run.faults.add(pointer + fault.pointer, fault.code, fault.text)
        return (), 0
    for number, row in enumerate(book.rows):
        if row.row.at is not None:
            _check_within(run, f"{pointer}/{number}/at_mm", row.row.at, length)
    return book.stations, 0 if book.closes_well else book.misclosure or 0


def _check_within(run: ObjectReader, pointer: str, at: int, length: int) -> None:
    if run.good("length_mm") and at > length:
        run.faults.add(pointer, "levels.beyond", f"{at} is beyond the end of the run; write 0 to {length}")


MAX_GATES = 100
HIGHEST_LEAF = 6_000
NARROWEST = 250
"""An opening narrower than this [mm] is probably in another unit."""
HARDWARE = ("hinges", "latch", "drop_bolt")
GATE_KEYS = ("id", "from_mm", "opening_mm", "kind", "hinge_side", "swing", "height_mm", "lattice_mm", "hardware")


def read_gates(run: ObjectReader, name: str, height: int, lattice: int) -> tuple[Gate, ...]:
    """Read gates in document order; ``height`` and ``lattice`` [mm] of the run are the defaults.

    Source: house rule.

    >>> run = ObjectReader({"gates": [{"from_mm": 3000, "opening_mm": 1000}]}, "/runs/0", FaultList(), ("gates",))
    >>> [(gate.id, gate.height) for gate in read_gates(run, "A", 1800, 0)]
    [('A-G1', 1800)]
    """
    return tuple(
        _read_gate(ObjectReader(item, pointer, run.faults, GATE_KEYS), f"{name}-G{number}", height, lattice)
        for number, (pointer, item) in enumerate(run.items("gates", MAX_GATES), 1)
    )


def _read_gate(gate: ObjectReader, name: str, height: int, lattice: int) -> Gate:
    return Gate(
        id=gate.name("id", name),
        start=gate.whole("from_mm", 0, LONGEST),
        opening=gate.whole("opening_mm", 1, 20_000, plausible=NARROWEST),
        kind=GateKind(gate.word("kind", tuple(GateKind), GateKind.SINGLE)),
        height=gate.whole("height_mm", 1, HIGHEST_LEAF, height),
        lattice=gate.whole("lattice_mm", 0, HIGHEST_LEAF, lattice),
        hinge_side=gate.word("hinge_side", ("left", "right"), "left"),
        swing=gate.word("swing", ("in", "out"), "in"),
        hardware=_read_hardware(gate, gate.faults),
    )


def _read_hardware(gate: ObjectReader, faults: FaultList) -> tuple[str, ...]:
    if "hardware" not in gate:
        return ("hinges", "latch")
    named: list[str] = []
    for pointer, item in gate.items("hardware", len(HARDWARE)):
        if isinstance(item, str) and item in HARDWARE and item not in named:
            named.append(item)
            continue
        like = find_nearest(item, HARDWARE) if isinstance(item, str) and item not in named and not faults.full else None
        hint = f"did you mean {like}? " if like else ""
        faults.add(
            pointer, "word", f"{show_value(item)} is not valid here; {hint}write hinges, latch, drop_bolt, each once"
        )
    return tuple(named)


MAX_PARTIES = 20
RATIO = re.compile(r"([0-9]{1,6})/([0-9]{1,6})")
PERCENT = re.compile(r"([0-9]{1,3}(?:\.[0-9]{1,6})?) ?%")
DECIMAL = re.compile(r"[0-9](?:\.[0-9]{1,9})?")


def read_shares(table: ObjectReader) -> Mapping[str, Fraction]:
    """Read the share of each party [over 0, at most 1]; the shares add up to 1, or are left out. Source: house rule.

    >>> from fencing.model.faults import FaultList
    >>> read_shares(ObjectReader({"shares": {"us": "1/3", "them": "2/3"}}, "/runs/0", FaultList(), ("shares",)))
    {'us': Fraction(1, 3), 'them': Fraction(2, 3)}
    """
    if "shares" not in table:
        return {}
    at, shares = table.pointer("shares"), dict[str, Fraction]()
    given = table.mapping("shares")
    if table.good("shares") and not 1 <= len(given) <= MAX_PARTIES:
        table.fault("shares", "range", f"{len(given)} parties; name 1 to {MAX_PARTIES}, or leave shares out")
        return {}
    for party, value in given.items():
        share = convert_share(value)
        if share is None or not 0 < share <= 1:
            text = f'{show_value(value)} is not a share; write "1/2", "0.5" or "50%", over 0 and at most 1'
            table.faults.add(extend_pointer(at, party), "shares.form", text)
        elif not party.strip() or len(party) > 80:
            table.faults.add(extend_pointer(at, party), "range", "the name of a party has 1 to 80 characters")
        else:
            shares[party] = share
    total = sum(shares.values(), Fraction(0))
    if shares and len(shares) == len(given) and total != 1:  # check the sum only if every share is valid
        text = f'the shares add up to {total}; they must add up to 1 exactly (write thirds as "1/3")'
        table.fault("shares", "shares.sum", text)
    return shares


def convert_share(value: object) -> Fraction | None:
    """Convert a share from a ratio, a percentage or a decimal; return None for other values.

    >>> convert_share("1/3"), convert_share("12.5%"), convert_share("0.5"), convert_share(1), convert_share("half")
    (Fraction(1, 3), Fraction(1, 8), Fraction(1, 2), Fraction(1, 1), None)
    """
    if isinstance(value, bool):
        return None
    if isinstance(value, int | Decimal):
        return Fraction(value)
    if not isinstance(value, str):
        return None
    if ratio := RATIO.fullmatch(value):
        return Fraction(int(ratio.group(1)), int(ratio.group(2))) if int(ratio.group(2)) else None
    if percent := PERCENT.fullmatch(value):
        return Fraction(percent.group(1)) / 100
    return Fraction(value) if DECIMAL.fullmatch(value) else None


MAX_HEIGHT = 6_000
"""Maximum height of a fence of posts and sheets [mm]."""
MIN_HEIGHT = 250
"""A height lower than this [mm] is probably in another unit."""
MIN_LENGTH = 100
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
        height=given.whole("height_mm", 1, MAX_HEIGHT, plausible=MIN_HEIGHT) if "height_mm" in given else None,
        lattice=given.whole("lattice_mm", 0, MAX_HEIGHT, 0),
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
    length = run.whole("length_mm", 1, LONGEST, plausible=MIN_LENGTH)
    height = run.whole("height_mm", 1, MAX_HEIGHT, defaults.height, plausible=MIN_HEIGHT)
    lattice = run.whole("lattice_mm", 0, MAX_HEIGHT, defaults.lattice)
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
        taper=_read_taper(run),
        gates=read_gates(run, name, height, lattice),
        existing_fence=_read_existing_fence(run, length),
        shares=read_shares(run),
        misclosure=misclosure,
    )


def _read_taper(run: ObjectReader) -> Taper | None:
    if "taper" not in run:
        return None
    taper = run.table("taper", ("at", "bays", "height_mm"))
    return Taper(
        taper.word("at", ("start", "end")),
        taper.whole("bays", 1, 1_000, unit="bays"),
        taper.whole("height_mm", 1, MAX_HEIGHT),
    )


def _read_existing_fence(run: ObjectReader, length: int) -> ExistingFence | None:
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
        bays=retrofit.wholes("bays_mm", 1_000, 1, 30_000, min_items=1, plausible=MIN_LENGTH),
        lattice=retrofit.whole("lattice_mm", 1, MAX_HEIGHT, defaults.lattice or None),
        finishes=read_finishes(retrofit, defaults.finishes),
        existing_height=retrofit.whole("existing_height_mm", 1, MAX_HEIGHT, plausible=MIN_HEIGHT) if given else None,
        shares=read_shares(retrofit),
    )
