"""Bays: four corners give every piece of a bay.

    top left ______________ top right      width: hole centre to hole centre
            |  |  |  |  |  |               set_left, set_right: post centre to rail end
            |__|__|__|__|__|               rise: right base less left base
    base left              base right

Shapes are relative to the left end of the base line, so that equal bays of a job are calculated once.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import atan2, degrees
from typing import NamedTuple

from fencing.model.faults import Notice, Severity
from fencing.model.fence import Bay, Lattice, Pair, Rail, Sheet
from fencing.model.measure import Form
from fencing.model.rounding import measure_along_slope, round_half_up, round_up
from fencing.model.system import Sheets, System
from fencing.set_out.ground import Ground


class Shape(NamedTuple):
    """Outline of a bay or leaf: everything in mm, levels relative to the left end of the base line."""

    width: int
    set_left: int
    set_right: int
    rise: int
    top_left: int
    top_right: int
    lattice: int

    @property
    def fill(self) -> int:
        """Return the width to fill with sheets [mm]: between the ends of the rails. Source: common practice.

        >>> Shape(2400, 6, 40, 0, 1800, 1800, 0).fill  # 2400 less the setbacks of its two posts
        2354
        """
        return self.width - self.set_left - self.set_right


class Cut(NamedTuple):
    """Pieces of a shape: rails (bottom, middle under a lattice, top), sheets from the left, lattice panels."""

    rails: tuple[Rail, ...]
    sheets: tuple[Sheet, ...]
    lattice: tuple[Lattice, ...]


@lru_cache(maxsize=65536)
def cut_bay(shape: Shape, sheets: Sheets, seat: int) -> Cut:
    """Calculate the rails, sheets and lattice of one shape.

    Rules: rails along base and top have square ends; lattice is as long as the rail under it.

    Args:
        shape: the four corners [mm].
        sheets: cover, lap, lap allowance and height deduction of the system [mm].
        seat: maximum difference of level across a sheet with a square foot [mm].

    Example: a level 1800 bay of 2400 between line posts takes two 2388 rails and three sheets, blank 1788:

        >>> from fencing.model.system import SheetSupply
        >>> stock = Sheets(790, 32, 20, 12, SheetSupply.STOCK, (1788,))
        >>> rails, sheets, _ = cut_bay(Shape(2400, 6, 6, 0, 1800, 1800, 0), stock, 18)
        >>> [rail.length for rail in rails], [(sheet.blank, sheet.width) for sheet in sheets]
        ([2388, 2388], [(1788, 822), (1788, 822), (1788, 822)])
    """
    bottom = measure_along_slope(shape.fill, shape.rise, shape.width)
    top = measure_along_slope(shape.fill, shape.top_right - shape.top_left, shape.width)
    rails = [Rail("bottom", bottom), Rail("top", top)]
    lattice: tuple[Lattice, ...] = ()
    if shape.lattice:
        rails.insert(1, Rail("middle", top))
        lattice = (Lattice(top, shape.lattice),)
    return Cut(tuple(rails), tuple(_cut_sheets(shape, sheets, seat)), lattice)


def divide_into_strips(fill: int, sheets: Sheets) -> list[tuple[int, int]]:
    """Return (offset, width) [mm] of every sheet across ``fill`` mm, from the left.

    Rule: the smallest n with n * cover + lap >= fill. A surplus within the lap allowance widens the laps, if there is more
    than one sheet; otherwise it is ripped off the last sheet.

    Source: common practice.

    >>> from fencing.model.system import SheetSupply
    >>> divide_into_strips(2238, Sheets(790, 32, 20, 12, SheetSupply.STOCK, (1788,)))
    [(0, 822), (790, 822), (1580, 658)]
    >>> divide_into_strips(2388, Sheets(790, 32, 20, 12, SheetSupply.STOCK, (1788,)))
    [(0, 822), (783, 822), (1566, 822)]
    """
    count = max(1, round_up(fill - sheets.lap, sheets.cover))
    surplus = count * sheets.cover + sheets.lap - fill
    if count > 1 and surplus <= sheets.slack:
        return [(round_half_up(index * (fill - sheets.width), count - 1), sheets.width) for index in range(count)]
    whole = [(index * sheets.cover, sheets.width) for index in range(count - 1)]
    return [*whole, ((count - 1) * sheets.cover, sheets.width - surplus)]


def _cut_sheets(shape: Shape, sheets: Sheets, seat: int) -> list[Sheet]:
    off = sheets.deduction + shape.lattice
    return [
        _cut_sheet(shape, shape.set_left + at, width, off, seat) for at, width in divide_into_strips(shape.fill, sheets)
    ]


def _cut_sheet(shape: Shape, at: int, width: int, off: int, seat: int) -> Sheet:
    """Calculate one sheet; levels are numerators over the bay's width, so that each figure is rounded only once."""
    whole, lean = shape.width, shape.top_right - shape.top_left
    base_left, base_right = shape.rise * at, shape.rise * (at + width)
    top_left, top_right = (shape.top_left * whole + lean * x for x in (at, at + width))
    square = abs(base_right - base_left) <= seat * whole
    if square:
        foot_left = foot_right = foot = max(base_left, base_right)
    else:
        foot_left, foot_right, foot = base_left, base_right, min(base_left, base_right)
    return Sheet(
        at=at,
        blank=round_up(max(top_left, top_right) - foot, whole) - off,
        width=width,
        left=round_half_up(top_left - foot_left, whole) - off,
        right=round_half_up(top_right - foot_right, whole) - off,
        foot="square" if square else "cut",
    )


class Lines(NamedTuple):
    """A bay before its pieces are calculated: chainages, base and top line, setbacks of its two posts."""

    id: str
    start: int
    end: int
    base: Pair
    top: Pair
    set_left: int
    set_right: int
    step: int
    tapered: bool


def build_bay(lines: Lines, form: Form, lattice: int, ground: Ground, system: System) -> Bay:
    """Build a bay from its lines: pieces, step, slope and ground gap.

    Args:
        lines: chainages and lines of the bay.
        form: level, stepped or raked.
        lattice: height of the lattice top [mm], 0 for none.
        ground: the ground under the run.
        system: the fence system.

    Returns:
        The bay; ``gap_min`` and ``gap_max`` [mm, half-up] are over its whole width, hole centre to hole centre.

    Source: docs/rules.md, "Bay".

    Example: on ground that falls 100 mm along a level bay the gap grows from 50 to 150:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> lines = Lines("A-1", 0, 2400, (50, 50), (1850, 1850), 5, 5, 0, False)
        >>> bay = build_bay(lines, Form.LEVEL, 0, Ground((0, 2400), (0, -100)), ROUND_SIZES)
        >>> bay.gap_min, bay.gap_max, [rail.length for rail in bay.rails]
        (50, 150, [2390, 2390])
    """
    left, right = lines.base
    width, rise = lines.end - lines.start, right - left
    shape = Shape(width, lines.set_left, lines.set_right, rise, lines.top[0] - left, lines.top[1] - left, lattice)
    rails, sheets, panels = cut_bay(shape, system.sheets, system.rails.seat)
    profile = ground.list_points(lines.start, lines.end)
    gaps = [(left - level) * width + rise * (at - lines.start) for at, level in profile]
    return Bay(
        id=lines.id,
        start=lines.start,
        end=lines.end,
        form=form,
        step=lines.step,
        slope=degrees(atan2(abs(rise), width)) if rise else 0.0,
        base=lines.base,
        top=lines.top,
        ground=(profile[0][1], profile[-1][1]),
        gap_min=round_half_up(min(gaps), width),
        gap_max=round_half_up(max(gaps), width),
        rails=rails,
        sheets=sheets,
        lattice=panels,
        lattice_height=lattice,
        tapered=lines.tapered,
    )


def inspect_bay(bay: Bay, system: System) -> list[Notice]:
    """Return a notice for every limit of the system that a bay exceeds [mm, degrees].

    Source: the limits are the system's; house rule for the levels.

    Example: a bay of 350 mm is under the minimum closing bay of 400:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> lines = Lines("A-1", 0, 350, (50, 50), (1850, 1850), 5, 5, 0, False)
        >>> narrow = build_bay(lines, Form.LEVEL, 0, Ground((0,), (0,)), ROUND_SIZES)
        >>> [(notice.code, notice.severity.value) for notice in inspect_bay(narrow, ROUND_SIZES)]
        [('bay.short', 'warning')]
    """
    return [Notice(code, level, bay.id, text) for code, level, text in _list_excesses(bay, system)]


def _list_excesses(bay: Bay, system: System) -> list[tuple[str, Severity, str]]:
    remarks: list[tuple[str, Severity, str]] = []
    if bay.gap_max > system.ground_gap_max:
        text = f"ground gap up to {bay.gap_max} mm, at most {system.ground_gap_max} mm is allowed: step or rake the bay, or fill"
        remarks.append(("gap.high", Severity.STOP, text))
    if bay.step > system.step_max:
        text = f"step of {bay.step} mm, at most {system.step_max} mm is allowed: use shorter bays or rake the run"
        remarks.append(("step.high", Severity.STOP, text))
    if bay.slope > float(system.rake_max):
        text = f"raked at {bay.slope:.2f} degrees, at most {system.rake_max} is allowed: step the run"
        remarks.append(("rake.high", Severity.STOP, text))
    if bay.lattice and not system.lattice.raked and bay.top[0] != bay.top[1]:
        text = "this system's lattice can't follow a sloping rail: step the bay or leave the lattice out"
        remarks.append(("lattice.raked", Severity.STOP, text))
    remarks += list_shortages(system, bay.rails, bay.sheets, bay.lattice)
    if bay.width < system.closing_bay_min:
        text = f"bay of {bay.width} mm is under the minimum closing bay of {system.closing_bay_min} mm"
        remarks.append(("bay.short", Severity.WARNING, text))
    return remarks


def list_shortages(
    system: System, rails: Sequence[Rail] = (), sheets: Sequence[Sheet] = (), lattice: Sequence[Lattice] = ()
) -> list[tuple[str, Severity, str]]:
    """Return (code, level, text) for each kind of piece that is longer than the longest stock length.

    Args:
        system: its stock lengths [mm]; a part without stock lengths is made to length and never short.
        rails, sheets, lattice: pieces of a bay or leaf.

    Source: common practice.

    Example:
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> list_shortages(ROUND_SIZES, rails=[Rail("top", 4801)])[0][2]
        'needs a rail of 4801 mm, the longest stock is 4800 mm'
    """
    needs = [
        ("rail.short", "rail", [rail.length for rail in rails], system.rails.stock),
        ("sheet.short", "sheet", [sheet.blank for sheet in sheets], system.sheets.stock),
        ("lattice.short", "lattice panel", [panel.length for panel in lattice], system.lattice.stock),
    ]
    return [
        (code, Severity.STOP, f"needs a {what} of {max(lengths)} mm, the longest stock is {stock[-1]} mm")
        for code, what, lengths, stock in needs
        if stock and max(lengths, default=0) > stock[-1]
    ]
