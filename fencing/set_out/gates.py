"""Gates: room for their openings along a run, widths and parts of leaves, and notices.

terminal      gate post                gate post      next post
   |  a rail     |  <---- opening ---->   |   a rail     |
   t         c = from - half after    from + opening + half before

inner face |<-------- opening -------->| inner face
           | c/2 [stile|  rail  |stile] c/2 |          c: clearance for the kind, over all leaves
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import isqrt

from fencing.model.faults import Fault, Notice, Severity
from fencing.model.fence import HungGate, Leaf
from fencing.model.measure import Gate, GateKind, MeasureBasis, Run
from fencing.model.system import System
from fencing.set_out.bays import Shape, cut_bay, list_shortages
from fencing.set_out.ground import Ground
from fencing.set_out.segments import TOGETHER, find_setback, halve_face, needs_square


def calculate_leaf_widths(gate: Gate, system: System) -> list[int]:
    """Return the width [mm] of each leaf: the opening less the clearance, divided by the leaves; the odd mm to the first.

    Source: common practice; the clearances are the system's.

    Example: 3001 less 36 is 2965 for two:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> calculate_leaf_widths(Gate("A-G1", 0, 3001, GateKind.DOUBLE, 1800), ROUND_SIZES)
        [1483, 1482]
    """
    rules = system.gates
    match gate.kind:
        case GateKind.SINGLE:
            return [gate.opening - rules.clearance_single]
        case GateKind.WIDE:
            return [gate.opening - rules.clearance_wide]
        case GateKind.DOUBLE:
            both = gate.opening - rules.clearance_double
            return [both - both // 2, both // 2]


def calculate_diagonal(width: int, height: int) -> int:
    """Return the diagonal [mm, half-up] of a square leaf of ``width`` and ``height`` [mm]. Source: Pythagoras.

    >>> calculate_diagonal(976, 1800)
    2048
    """
    return (isqrt(4 * (width * width + height * height)) + 1) // 2


def build_leaf(width: int, gate: Gate, system: System) -> Leaf:
    """Build a leaf with its parts: stiles of full height, rails between them, sheets and lattice as in a bay.

    Args:
        width: width of the leaf [mm].
        gate: height and lattice [mm], hardware.
        system: stiles, notches and hinge positions [mm].

    Source: common practice; the sizes are the system's.

    Example: 976 wide between stiles of 40:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> leaf = build_leaf(976, Gate("A-G1", 0, 1000, GateKind.SINGLE, 1800), ROUND_SIZES)
        >>> [rail.length for rail in leaf.rails], leaf.hinges
        ([896, 896], (200, 1600))
    """
    rules = system.gates
    shape = Shape(width, rules.stile, rules.stile, 0, gate.height, gate.height, gate.lattice)
    rails, sheets, lattice = cut_bay(shape, system.sheets, system.rails.seat)
    clip = gate.height - gate.lattice - system.sheets.deduction - rules.clip_below_sheet_top
    return Leaf(
        width=width,
        height=gate.height,
        diagonal=calculate_diagonal(width, gate.height),
        hinges=(rules.hinge_from_bottom, gate.height - rules.hinge_from_top) if "hinges" in gate.hardware else (),
        clip=clip if gate.lattice else None,
        stiles=(gate.height, gate.height),
        rails=rails,
        sheets=sheets,
        lattice=lattice,
        notch=rules.notch,
        top_notch=rules.lattice_notch if gate.lattice else rules.notch,
    )


def find_foot(gate: Gate, ground: Ground, system: System) -> int:
    """Return the level [mm above datum] of a gate's foot: the ground gap above the highest ground in its opening.

    Source: house rule.

    >>> from fencing.model.example_system import ROUND_SIZES
    >>> find_foot(Gate("A-G1", 1000, 1000, GateKind.SINGLE, 1800), Ground((0, 2000), (0, 100)), ROUND_SIZES)
    150
    """
    return ground.find_highest(gate.start, gate.end) + system.ground_gap


def build_gate(gate: Gate, posts: tuple[str, str], ground: Ground, system: System) -> HungGate:
    """Build a gate between its two posts, hung level.

    Args:
        gate: as measured [mm].
        posts: ids of the posts on either side.
        ground: ground under its run.
        system: the fence system.

    Returns:
        The gate with its foot and top [mm above datum] and its leaves.

    Source: house rule for the foot, see :func:`find_foot`.

    Example: 50 above level ground, so its top is at 1850:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> hung = build_gate(Gate("A-G1", 0, 1000, GateKind.SINGLE, 1800), ("A-P1", "A-P2"), Ground((0,), (0,)), ROUND_SIZES)
        >>> hung.base, hung.top, [leaf.width for leaf in hung.leaves]
        (50, 1850, [976])
    """
    base = find_foot(gate, ground, system)
    leaves = tuple(build_leaf(width, gate, system) for width in calculate_leaf_widths(gate, system))
    return HungGate(
        gate.id,
        gate.start,
        gate.opening,
        gate.kind.value,
        gate.hinge_side,
        gate.swing,
        base,
        base + gate.height,
        posts,
        leaves,
    )


def inspect_gate(gate: HungGate, length: int, ground: Ground, system: System) -> list[Notice]:
    """Return notices about one gate: limits of the system that it exceeds, and ground that blocks its swing.

    Args:
        gate: gate as built.
        length: length of its run [mm].
        ground: ground under its run.
        system: maximum leaf width of each kind, maximum ground gap, stock lengths [mm].

    Source: the limits are the system's; house rule for the levels.

    Example: a single leaf may be 1200 wide, this one is 1276:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> level = Ground((0,), (0,))
        >>> wide = build_gate(Gate("A-G1", 0, 1300, GateKind.SINGLE, 1800), ("A-P1", "A-P2"), level, ROUND_SIZES)
        >>> [(notice.code, notice.severity.value) for notice in inspect_gate(wide, 4800, level, ROUND_SIZES)]
        [('leaf.wide', 'stop')]
    """
    return [
        *_check_leaf_width(gate, system),
        *_check_ground_gap(gate, ground, system),
        *_check_stock(gate, system),
        *_check_swing(gate, length, ground),
    ]


def _check_leaf_width(gate: HungGate, system: System) -> Iterator[Notice]:
    limits, widest = system.gates.leaf_max, max(leaf.width for leaf in gate.leaves)
    most = limits.get(gate.kind, limits.get("single", widest))
    if widest > most:
        action = "make the opening smaller" if gate.kind == GateKind.DOUBLE else "use a wider kind or a smaller opening"
        text = f"leaf of {widest} mm, at most {most} mm is allowed for a {gate.kind} gate: {action}"
        yield Notice("leaf.wide", Severity.STOP, gate.id, text)


def _check_ground_gap(gate: HungGate, ground: Ground, system: System) -> Iterator[Notice]:
    gap, allowed = gate.base - ground.find_lowest(gate.start, gate.start + gate.opening), system.ground_gap_max
    if gap > allowed:
        text = f"ground gap up to {gap} mm under the gate, at most {allowed} mm is allowed: level the ground in the opening"
        yield Notice("gap.high", Severity.STOP, gate.id, text)


def _check_stock(gate: HungGate, system: System) -> Iterator[Notice]:
    sheets = [sheet for leaf in gate.leaves for sheet in leaf.sheets]
    lattice = [panel for leaf in gate.leaves for panel in leaf.lattice]
    for code, level, text in list_shortages(system, sheets=sheets, lattice=lattice):
        yield Notice(code, level, gate.id, text)


def _check_swing(gate: HungGate, length: int, ground: Ground) -> Iterator[Notice]:
    rise = _measure_swing_rise(gate, length, ground)
    if rise > 0:
        text = f"ground beside the opening is {rise} mm above the foot of the leaf: it can't swing right round; check its swing"
        yield Notice("gate.swing", Severity.WARNING, gate.id, text)


def _measure_swing_rise(gate: HungGate, length: int, ground: Ground) -> int:
    """Return the height of the ground above the leaf's foot along the fence, in the reach of an opened leaf [mm]."""
    end, rises = gate.start + gate.opening, [0]
    if gate.hinge_side == "left" or len(gate.leaves) == 2:
        rises.append(ground.find_highest(max(0, gate.start - gate.leaves[0].width), gate.start) - gate.base)
    if gate.hinge_side == "right" or len(gate.leaves) == 2:
        rises.append(ground.find_highest(end, min(length, end + gate.leaves[-1].width)) - gate.base)
    return max(rises)


Numbered = tuple[int, Gate]


def find_gate_faults(run: Run, pointer: str, system: System) -> Iterator[Fault]:
    """Yield faults of gates that are too narrow, outside their run, overlap, or leave no room for a rail [mm].

    Rule: docs/rules.md, "Chainage, terminals, posts".

    Source: common practice.

    Example: the second opening begins before the first ends:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> gates = (Gate("A-G1", 2000, 1000, GateKind.SINGLE, 1800), Gate("A-G2", 2500, 1000, GateKind.SINGLE, 1800))
        >>> [fault.code for fault in find_gate_faults(Run("A", 9600, 1800, gates=gates), "/runs/0", ROUND_SIZES)]
        ['gate.overlap']
    """
    gates = sorted(enumerate(run.gates), key=lambda numbered: numbered[1].start)
    placed: list[Numbered] = []
    for number, gate in gates:
        at = f"{pointer}/gates/{number}"
        yield from _check_width(gate, at, system)
        outside = list(_check_inside(gate, at, run, system))
        yield from outside
        if not outside:
            placed.append((number, gate))
    yield from _check_neighbours(placed, pointer, run, system)


def _check_width(gate: Gate, at: str, system: System) -> Iterator[Fault]:
    rules = system.gates
    clearance, leaves = {
        GateKind.SINGLE: (rules.clearance_single, 1),
        GateKind.WIDE: (rules.clearance_wide, 1),
        GateKind.DOUBLE: (rules.clearance_double, 2),
    }[gate.kind]
    least = clearance + leaves * (2 * rules.stile + 1)
    if gate.opening < least:
        text = f"a {gate.kind} gate needs more than its clearance and stiles; write at least {least}"
        yield Fault(f"{at}/opening_mm", "gate.narrow", text)


def _check_inside(gate: Gate, at: str, run: Run, system: System) -> Iterator[Fault]:
    before, after = halve_face(system.square.face, run.layout)
    insets = _find_insets(run, system)
    first, last = insets[0] + after, run.length - insets[1] - before - gate.opening
    if last < first:
        most = gate.opening + last - first
        room = f"at most {most}" if most > 0 else "no gate"
        text = f"{gate.opening} mm and two posts are longer than the run; there is room for {room}"
        yield Fault(f"{at}/opening_mm", "gate.outside", text)
    elif not first - 1 <= gate.start <= last + 1:
        text = f"gate {gate.id} is outside run {run.id}; an opening of {gate.opening} can start from {first} to {last}"
        yield Fault(f"{at}/from_mm", "gate.outside", text)


def _check_neighbours(gates: Sequence[Numbered], pointer: str, run: Run, system: System) -> Iterator[Fault]:
    """Check the room before each gate, and between the last gate and the end of the run."""
    half_before, half_after = halve_face(system.square.face, run.layout)
    inset, edge = _find_insets(run, system)[0], _find_edge(run, "start", system)
    before: Gate | None = None
    for number, gate in gates:
        at, left = f"{pointer}/gates/{number}/from_mm", gate.start - half_after
        if before is not None:
            yield from _check_gap(gate, before, gate.start - before.end - system.square.face, at, system)
        elif abs(left - inset) > TOGETHER:
            least = _find_least_room(system, square=needs_square(run, "start"))
            if left - edge < least:
                first = edge + least + half_after
                yield _make_fault(at, f"write {inset + half_after} (on the end post), or {first} or more")
        before = gate
    if before is not None:
        yield from _check_end(before, f"{pointer}/gates/{gates[-1][0]}/from_mm", half_before, run, system)


def _check_end(gate: Gate, at: str, half_before: int, run: Run, system: System) -> Iterator[Fault]:
    """Check the room between the last gate and the end of its run."""
    right, end_at = gate.end + half_before, run.length - _find_edge(run, "end", system)
    on_end = run.length - _find_insets(run, system)[1]
    if abs(right - on_end) <= TOGETHER:
        return
    least = _find_least_room(system, square=needs_square(run, "end"))
    if end_at - right < least:
        latest = end_at - least - half_before - gate.opening
        yield _make_fault(at, f"write {on_end - half_before - gate.opening} (on the end post), or {latest} or less")


def _find_insets(run: Run, system: System) -> tuple[int, int]:
    """Return the distances from both ends of the tape to the centre of a square post there [mm]."""
    return halve_face(system.square.face, run.layout) if run.basis is MeasureBasis.OUTSIDE_FACES else (0, 0)


def _find_edge(run: Run, end: str, system: System) -> int:
    """Return the distance from the end of the tape to the centre of the terminal post [mm]."""
    if run.basis is not MeasureBasis.OUTSIDE_FACES:
        return 0
    face = system.square.face if needs_square(run, end) else system.channel.face
    return halve_face(face, run.layout)[0 if end == "start" else 1]


def _find_least_room(system: System, *, square: bool) -> int:
    return find_setback(system, square=True) + find_setback(system, square=square) + 1


def _check_gap(gate: Gate, before: Gate, between: int, at: str, system: System) -> Iterator[Fault]:
    """Check the room between two gates; ``between`` is the distance between their posts' centres [mm]."""
    least = _find_least_room(system, square=True)
    shared, clear = before.end + system.square.face, before.end + system.square.face + least
    accepted = f"write {shared} (sharing a post), or {clear} or more"
    if between < -TOGETHER:
        yield Fault(at, "gate.overlap", f"gate {gate.id} overlaps gate {before.id}; {accepted}")
    elif TOGETHER < between < least:
        yield _make_fault(at, accepted)


def _make_fault(at: str, accepted: str) -> Fault:
    return Fault(at, "layout.no_room", f"there is no room for a rail beside this gate's post; {accepted}")
