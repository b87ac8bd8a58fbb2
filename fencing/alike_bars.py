"""Bars that are cut alike, and their places in one line: what the saw sheet draws once instead of a hundred times."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from fencing.drawing.lettering import width
from fencing.lines import SawnBar

_NUMBERED = re.compile(r"^(.*?)(\d+)(\D*)$")


@dataclass(frozen=True, slots=True)
class AlikeBars:
    """Bars one after the other with the same stock and cuts; ``first`` stands for them all."""

    bars: tuple[SawnBar, ...]

    @property
    def first(self) -> SawnBar:
        return self.bars[0]

    @property
    def numbers(self) -> str:
        """``4`` or ``4–17``."""
        return f"{self.first.number}" + (f"–{self.bars[-1].number}" if len(self.bars) > 1 else "")

    def places(self) -> Iterator[tuple[int, str]]:
        """(length, where its pieces go) for each length in the order of cutting."""
        lengths = dict.fromkeys(piece.length for piece in self.first.pieces)
        for length in lengths:
            pieces = (piece for bar in self.bars for piece in bar.pieces if piece.length == length)
            yield length, in_one_line(piece.where or piece.role for piece in pieces)

    def remnants(self) -> str:
        """The names to write on what is kept; empty where it is scrap."""
        long = f" {self.first.left}"
        names = in_one_line(bar.remnant.removesuffix(long) for bar in self.bars if bar.remnant)
        return f"{names},{long} each" if names else ""

    def halves(self) -> tuple[AlikeBars, AlikeBars]:
        """The same bars in two parts."""
        middle = len(self.bars) // 2
        return AlikeBars(self.bars[:middle]), AlikeBars(self.bars[middle:])


def alike(bars: Sequence[SawnBar]) -> tuple[AlikeBars, ...]:
    """Bars in their order, neighbours cut alike drawn together."""
    return tuple(AlikeBars(tuple(group)) for _, group in groupby(bars, key=_cut))


def _cut(bar: SawnBar) -> tuple[object, ...]:
    pieces = tuple((piece.role, piece.length) for piece in bar.pieces)
    return bar.sku, bar.length, bar.trim, bar.left, bar.remnant is None, pieces


def in_one_line(names: Iterable[str]) -> str:
    """Names in one line: how often each, neighbours drawn together.

    >>> in_one_line(["A-P1", "A-P2", "A-P2", "A-P3", "A-P3", "A-P4", "A-P4", "A-6 top", "A-7 top"])
    'A-P1, A-P2 to A-P4 each 2, A-6 top, A-7 top'
    """
    counted = Counter(names)
    rows = [(name, count, _NUMBERED.match(name)) for name, count in counted.items()]
    keyed = [
        ((count, found[1], found[3], int(found[2]) - place) if found else (count, name, "", place), name)
        for place, (name, count, found) in enumerate(rows)
    ]
    parts = list[str]()
    for (count, *_), group in groupby(keyed, key=lambda one: one[0]):
        same = [name for _, name in group]
        several = f"{same[0]} to {same[-1]}" if len(same) > 2 else ", ".join(same)
        parts.append(several if count == 1 else f"{several}{' each' if len(same) > 1 else ''} {_times(count, same)}")
    return ", ".join(parts)


def _times(count: int, same: Sequence[str]) -> str:
    return f"{count}" if len(same) > 1 else f"({count})"


def wrapped(words: str, size: float, room: float) -> tuple[str, ...]:
    """``words`` in lines of at most ``room`` mm, broken after commas where that does.

    >>> wrapped("A-1, A-2, A-3", 2.6, 12.0)
    ('A-1, A-2,', 'A-3')
    """
    lines, line = list[str](), ""
    for part in re.split(r"(?<=, )", words):
        if line and width((line + part).rstrip(), size) > room:
            lines.append(line.rstrip())
            line = ""
        line += part
    return (*lines, line.rstrip())
