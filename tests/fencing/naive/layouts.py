"""Positions of the posts of one segment."""

from __future__ import annotations

from fencing.model.measure import Layout
from fencing.model.system import System
from tests.fencing.naive.sums import share_out


def bay_widths(length: int, layout: Layout, system: System, setbacks: tuple[int, int]) -> list[int]:
    """Spacings of the segment from its left end; ``setbacks`` are those of its two end posts."""
    if length < system.closing_bay_min:
        return [length]
    if layout is Layout.FROM_START:
        return whole_pitches_first(length, system)
    if layout is Layout.FROM_END:
        return whole_pitches_first(length, system)[::-1]
    if layout is Layout.EVEN:
        return even(length, system)
    if layout is Layout.BALANCED:
        return balanced(length, system)
    assert layout is Layout.WHOLE_RAILS
    return full_rails(length, system, setbacks)


def even_out_a_short_end(widths: list[int], least: int) -> list[int]:
    if len(widths) > 1 and widths[-1] < least:
        return widths[:-2] + share_out(widths[-2] + widths[-1], 2)
    return widths


def whole_pitches_first(length: int, system: System) -> list[int]:
    widths, left = [], length
    while left > system.pitch:
        widths.append(system.pitch)
        left -= system.pitch
    widths.append(left)
    return even_out_a_short_end(widths, system.closing_bay_min)


def even(length: int, system: System) -> list[int]:
    bays = 1
    while bays * system.pitch < length:
        bays += 1
    return share_out(length, bays)


def balanced(length: int, system: System) -> list[int]:
    whole = length // system.pitch
    rest = length - whole * system.pitch
    if rest == 0:
        return [system.pitch] * whole
    if whole == 0:
        return [length]
    if rest // 2 < system.closing_bay_min:
        whole -= 1
        rest += system.pitch
    first, last = share_out(rest, 2)
    return [first, *[system.pitch] * whole, last]


def full_rails(length: int, system: System, setbacks: tuple[int, int]) -> list[int]:
    channel = system.channel.setback
    rail = max(stock for stock in system.rails.stock if stock + 2 * channel <= system.pitch)
    widths, left, left_setback = [], length, setbacks[0]
    while left > left_setback + rail + setbacks[1]:
        widths.append(left_setback + rail + channel)
        left -= left_setback + rail + channel
        left_setback = channel
    widths.append(left)
    return even_out_a_short_end(widths, system.closing_bay_min)
