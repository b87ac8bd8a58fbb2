"""Sheets: each blank from the cheapest sheet that fits; narrow blanks from strips of other sheets, if that is allowed."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from fencing.buying.purchase_lines import Blank, Missing, PurchaseLine, in_packs
from fencing.buying.stock_options import StockLengthOption, StockOptions
from fencing.model.fence import Piece


@dataclass(frozen=True, slots=True)
class _Choice:
    """Sheet that fits a blank: ``cost`` of one at ``length`` mm."""

    cost: Decimal
    length: int
    width: int
    sku: str
    on_hand: bool
    item: StockLengthOption | None


@dataclass(slots=True)
class _OpenBlank:
    """Sheet in use, with the blanks that are cut from it."""

    choice: _Choice
    takes: list[tuple[int, int | None, str]] = field(default_factory=list)


class _Strips:
    """Strips ripped off sheets, by site: (width, number of the sheet), narrowest first."""

    def __init__(self, market: StockOptions) -> None:
        self.market = market
        self.by_site: defaultdict[str, list[tuple[int, int]]] = defaultdict(list)

    def keep(self, site: str, width: int, number: int) -> None:
        """Add the strip of a sheet after its first blank, if it is wider than the saw cut."""
        left = width - self.market.rip
        if self.market.reuse_strips and left > 0:
            insort(self.by_site[site], (left, number))

    def take(self, site: str, width: int) -> int | None:
        """Remove the narrowest strip that is wide enough, the first of equals; return the number of its sheet."""
        strips = self.by_site[site]
        index = bisect_left(strips, (width, 0))
        return strips.pop(index)[1] if width and index < len(strips) else None


class _Sheets:
    """Available sheets of one finish; the number on hand decreases with each use."""

    def __init__(self, market: StockOptions, role: str, finish: str | None, *, made: bool) -> None:
        self.stock = [item for item in market.stock if item.serves(role, finish)]
        self.made = [item for item in market.made if item.serves(role, finish)] if made or not self.stock else []
        self.left = {item: item.have for item in self.stock if item.have is not None}

    def take(self, length: int, width: int) -> _Choice | None:
        """Use the cheapest sheet that fits a blank, the shortest of equals; return None if no sheet fits."""
        choices = [*self._in_stock(length, width), *self._to_measure(length, width)]
        choice = min(choices, key=lambda item: (item.cost, item.length, item.sku), default=None)
        if choice is not None and choice.item in self.left:
            self.left[choice.item] -= 1
        return choice

    def _in_stock(self, length: int, width: int) -> Iterator[_Choice]:
        for item in self.stock:
            if item.holds(length, width) and self.left.get(item) != 0:
                cost, on_hand = item.price + item.handling, item.have is not None
                yield _Choice(cost, item.length, item.width or width, item.sku, on_hand, item)

    def _to_measure(self, length: int, width: int) -> Iterator[_Choice]:
        for item in self.made:
            ordered = item.made(length)
            if ordered and (item.width or width) >= width:
                yield _Choice(item.price(ordered), ordered, item.width or width, item.sku, False, None)


def plan_sheets(
    role: str, finish: str | None, pieces: Sequence[Piece], market: StockOptions, *, made: bool = True
) -> tuple[list[Blank], list[PurchaseLine], list[Missing]]:
    """Plan the sheets of one finish: longest blanks first, then widest, each from the closest fit.

    Rule: the cheapest sheet (bought, on hand or made to length) that is long and wide enough; the shortest of equals. If the
    options allow it, a narrow blank comes from the strip of a sheet that was ripped on the same site. Each strip is used only
    once: turned end for end, it laps with the sheet's other factory edge. Longest blanks come first, so that a strip is always
    long enough. The use of strips depends only on the pieces, not on the lengths on sale, so the crew's papers can show it.

    Args:
        role, finish: role and finish of the material.
        pieces: sheets of the take-off [mm].
        market: available stock options.
        made: whether articles made to length compete with stock lengths.

    Returns:
        Each sheet to buy or use with its blanks, the purchase lines, and the blanks that no sheet fits.

    Source: common practice.

    Example: blanks of 300 and 400 width come from one sheet of 822, ripped with a saw cut of 2:

        >>> market = StockOptions(stock=(StockLengthOption("s", "sheet", None, 1800, Decimal(21), width=822),), rip=2)
        >>> narrow = [Piece("sheet", None, None, 1788, width, 1, (bay,)) for width, bay in ((400, "A-1"), (300, "A-2"))]
        >>> blanks, lines, missing = plan_sheets("sheet", None, narrow, market)
        >>> [where for _, _, where in blanks[0].takes], str(lines[0].cost), missing
        (['A-1', 'A-2'], '21', [])
    """
    opened: list[_OpenBlank] = []
    strips, sheets = _Strips(market), _Sheets(market, role, finish, made=made)
    missing: Counter[tuple[int, int]] = Counter()
    for length, width, where, site in _list_blanks(pieces):
        number = strips.take(site, width)
        if number is None:
            choice = sheets.take(length, width)
            if choice is None:
                missing[length, width] += 1
                continue
            number = len(opened)
            opened.append(_OpenBlank(choice))
            strips.keep(site, choice.width - width, number)
        opened[number].takes.append((length, width or None, where))
    blanks = [_build_blank(sheet, finish) for sheet in opened]
    lost = [
        Missing(role, finish, length, Decimal(count), "no sheet is long and wide enough")
        for (length, _), count in missing.items()
    ]
    return blanks, _build_lines(blanks, opened, role, finish), lost


def _list_blanks(pieces: Iterable[Piece]) -> list[tuple[int, int, str, str]]:
    """Return (blank length, width, where, site) of every sheet, longest first, then widest."""
    blanks: list[tuple[int, int, str, str]] = []
    for piece in pieces:
        blanks += [(piece.length, piece.width or 0, where, piece.site) for where in piece.list_locations()]
    return sorted(blanks, key=lambda sheet: (-sheet[0], -sheet[1]))


def _build_blank(sheet: _OpenBlank, finish: str | None) -> Blank:
    choice = sheet.choice
    first, *rest = sheet.takes
    why = f"{first[0]} mm for {first[2] or 'the job'} from {choice.length} mm"
    if choice.item is None:
        why = f"{first[0]} mm for {first[2] or 'the job'}, made to the next length step: {choice.length} mm"
    if rest:
        why += "; its strip is used for " + ", ".join(
            f"{where or 'the job'} ({width} mm wide)" for _, width, where in rest
        )
    takes = tuple(sheet.takes)
    return Blank(choice.sku, finish, choice.length, choice.width or None, choice.cost, takes, why, choice.on_hand)


def _build_lines(
    blanks: Sequence[Blank], opened: Sequence[_OpenBlank], role: str, finish: str | None
) -> list[PurchaseLine]:
    grouped: dict[tuple[bool, str, int], list[Blank]] = defaultdict(list)
    items: dict[str, StockLengthOption | None] = {}
    for blank, sheet in zip(blanks, opened, strict=True):
        grouped[not blank.on_hand, blank.sku, -blank.length].append(blank)
        items[blank.sku] = sheet.choice.item
    return [
        _build_line(own, items[sku], role, finish)
        for (_, sku, _), own in sorted(grouped.items(), key=lambda entry: entry[0])
    ]


def _build_line(blanks: list[Blank], item: StockLengthOption | None, role: str, finish: str | None) -> PurchaseLine:
    first = blanks[0]
    net = Decimal(len(blanks))
    counts = Counter(blank.takes[0][0] for blank in blanks)
    why = [f"{count} of {length} mm from {first.length} mm" for length, count in sorted(counts.items(), reverse=True)]
    why += [blank.why for blank in blanks if len(blank.takes) > 1]
    packed = in_packs(net, Decimal(item.pack), Decimal(item.least)) if item and not first.on_hand else in_packs(net)
    if packed.spare:
        why.append(packed.why)
    price = item.price if item else first.cost
    cost = packed.ordered * price + (net * item.handling if item else Decimal(0))
    zero = Decimal(0)
    return PurchaseLine(
        role, finish, first.sku, "C62", net, zero, packed.ordered, price, cost, tuple(why), first.length, first.on_hand
    )
