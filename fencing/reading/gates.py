"""Reader for the gates of a run."""

from __future__ import annotations

from fencing.model.fault_list import FaultList, nearest, shown
from fencing.model.measure import Gate, GateKind
from fencing.reading.object_reader import LONGEST, ObjectReader

MAX_GATES = 100
HIGHEST_LEAF = 6_000
NARROWEST = 250
"""An opening narrower than this [mm] is probably in another unit."""
HARDWARE = ("hinges", "latch", "drop_bolt")
KEYS = ("id", "from_mm", "opening_mm", "kind", "hinge_side", "swing", "height_mm", "lattice_mm", "hardware")


def read_gates(run: ObjectReader, name: str, height: int, lattice: int) -> tuple[Gate, ...]:
    """Read gates in document order; ``height`` and ``lattice`` [mm] of the run are the defaults.

    Source: house rule.

    >>> run = ObjectReader({"gates": [{"from_mm": 3000, "opening_mm": 1000}]}, "/runs/0", FaultList(), ("gates",))
    >>> [(gate.id, gate.height) for gate in read_gates(run, "A", 1800, 0)]
    [('A-G1', 1800)]
    """
    return tuple(
        _gate(ObjectReader(item, pointer, run.faults, KEYS), f"{name}-G{number}", height, lattice)
        for number, (pointer, item) in enumerate(run.items("gates", MAX_GATES), 1)
    )


def _gate(gate: ObjectReader, name: str, height: int, lattice: int) -> Gate:
    return Gate(
        id=gate.name("id", name),
        start=gate.whole("from_mm", 0, LONGEST),
        opening=gate.whole("opening_mm", 1, 20_000, plausible=NARROWEST),
        kind=GateKind(gate.word("kind", tuple(GateKind), GateKind.SINGLE)),
        height=gate.whole("height_mm", 1, HIGHEST_LEAF, height),
        lattice=gate.whole("lattice_mm", 0, HIGHEST_LEAF, lattice),
        hinge_side=gate.word("hinge_side", ("left", "right"), "left"),
        swing=gate.word("swing", ("in", "out"), "in"),
        hardware=_hardware(gate, gate.faults),
    )


def _hardware(gate: ObjectReader, faults: FaultList) -> tuple[str, ...]:
    if "hardware" not in gate:
        return ("hinges", "latch")
    named: list[str] = []
    for pointer, item in gate.items("hardware", len(HARDWARE)):
        if isinstance(item, str) and item in HARDWARE and item not in named:
            named.append(item)
            continue
        like = nearest(item, HARDWARE) if isinstance(item, str) and item not in named and not faults.full else None
        hint = f"did you mean {like}? " if like else ""
        faults.add(pointer, "word", f"{shown(item)} is not valid here; {hint}write hinges, latch, drop_bolt, each once")
    return tuple(named)
