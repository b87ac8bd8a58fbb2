"""Groups of bars with equal cuts, and the locations of their pieces in one line.

The saw sheet draws each group once.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from fencing.buying.purchase_lines import SawnBar
from fencing.drawing.svg import measure_width

_NUMBERED = re.compile(r"^(.*?)(\d+)(\D*)$")


@dataclass(frozen=True, slots=True)
class BarGroup:
    """Consecutive bars with the same stock and cuts; ``first`` represents them all."""

    bars: tuple[SawnBar, ...]

    @property
    def first(self) -> SawnBar:
        """The bar that represents the group.

        >>> bar = SawnBar("rail-48", 4, 4800, 0, (), 0, None)  # 4800 [mm]
        >>> BarGroup((bar, bar)).first.number
        4
        """
        return self.bars[0]

    @property
    def numbers(self) -> str:
        """``4`` or ``4–17`` [numbers on the saw sheet].

        >>> four, five = (SawnBar("rail-48", number, 4800, 0, (), 0, None) for number in (4, 5))
        >>> BarGroup((four,)).numbers, BarGroup((four, five)).numbers
        ('4', '4–5')
        """
        return f"{self.first.number}" + (f"–{self.bars[-1].number}" if len(self.bars) > 1 else "")

    def list_places(self) -> Iterator[tuple[int, str]]:
        """Yield (length [mm], locations of its pieces) for each length in the order of cutting.

        >>> from fencing.buying.purchase_lines import SawLabel
        >>> pieces = (SawLabel("rail", 2390, "A-1"), SawLabel("rail", 2100, "A-3"), SawLabel("rail", 2390, "A-2"))
        >>> list(BarGroup((SawnBar("rail-72", 1, 7200, 0, pieces, 0, None),)).list_places())
        [(2390, 'A-1, A-2'), (2100, 'A-3')]
        """
        lengths = dict.fromkeys(piece.length for piece in self.first.pieces)
        for length in lengths:
            pieces = (piece for bar in self.bars for piece in bar.pieces if piece.length == length)
            yield length, join_names(piece.used_at or piece.role for piece in pieces)

    def name_remnants(self) -> str:
        """Return the names to write on offcuts to keep, with their length [mm]; empty for scrap.

        >>> bars = [SawnBar("rail-48", number, 4800, 0, (), 1200, f"RAIL-R{number} 1200") for number in (1, 2)]
        >>> BarGroup(tuple(bars)).name_remnants()
        'RAIL-R1, RAIL-R2, 1200 each'
        """
        long = f" {self.first.left}"
        names = join_names(bar.remnant.removesuffix(long) for bar in self.bars if bar.remnant)
        return f"{names},{long} each" if names else ""

    def halve(self) -> tuple[BarGroup, BarGroup]:
        """Return the same bars in two parts [2 or more bars].

        >>> bars = tuple(SawnBar("rail-48", number, 4800, 0, (), 0, None) for number in (1, 2, 3))
        >>> [group.numbers for group in BarGroup(bars).halve()]
        ['1', '2–3']
        """
        middle = len(self.bars) // 2
        return BarGroup(self.bars[:middle]), BarGroup(self.bars[middle:])


def group_equal_bars(bars: Sequence[SawnBar]) -> tuple[BarGroup, ...]:
    """Group neighbouring bars with equal cuts, in their order [lengths in mm].

    >>> bars = [SawnBar("rail-48", number, length, 0, (), 0, None) for number, length in ((1, 4800), (2, 4800), (3, 2400))]
    >>> [group.numbers for group in group_equal_bars(bars)]
    ['1–2', '3']
    """
    return tuple(BarGroup(tuple(group)) for _, group in groupby(bars, key=_get_cuts))


def _get_cuts(bar: SawnBar) -> tuple[object, ...]:
    pieces = tuple((piece.role, piece.length) for piece in bar.pieces)
    return bar.sku, bar.length, bar.trim, bar.left, bar.remnant is None, pieces


def join_names(names: Iterable[str]) -> str:
    """Join names in one line with their counts [times] and ranges for neighbours. Source: house rule.

    >>> join_names(["A-P1", "A-P2", "A-P2", "A-P3", "A-P3", "A-P4", "A-P4", "A-6 top", "A-7 top"])
    'A-P1, A-P2 to A-P4 each 2, A-6 top, A-7 top'
    """
    counted = Counter(names)
    rows = [(name, count, _NUMBERED.match(name)) for name, count in counted.items()]
    keyed = [
        ((count, match[1], match[3], int(match[2]) - place) if match else (count, name, "", place), name)
        for place, (name, count, match) in enumerate(rows)
    ]
    parts = list[str]()
    for (count, *_), group in groupby(keyed, key=lambda item: item[0]):
        same = [name for _, name in group]
        several = f"{same[0]} to {same[-1]}" if len(same) > 2 else ", ".join(same)
        parts.append(several if count == 1 else f"{several}{' each' if len(same) > 1 else ''} {_times(count, same)}")
    return ", ".join(parts)


def _times(count: int, same: Sequence[str]) -> str:
    return f"{count}" if len(same) > 1 else f"({count})"


def wrap_text(words: str, size: float, room: float) -> tuple[str, ...]:
    """Break ``words`` into lines of at most ``room`` [mm] in letters of ``size`` [mm], after commas if possible.

    >>> wrap_text("A-1, A-2, A-3", 2.6, 12.0)
    ('A-1, A-2,', 'A-3')
    """
    lines, line = list[str](), ""
    for part in re.split(r"(?<=, )", words):
        if line and measure_width((line + part).rstrip(), size) > room:
            lines.append(line.rstrip())
            line = ""
        line += part
    return (*lines, line.rstrip())
