"""Sheets: each blank from the cheapest sheet that serves it, narrow ones from strips ripped off before where that is allowed."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from fencing.buying.packs import in_packs
from fencing.buying.purchase_lines import Blank, Missing, PurchaseLine
from fencing.buying.stock_options import StockLengthOption, StockOptions
from fencing.model.pieces import Piece


@dataclass(frozen=True, slots=True)
class _Choice:
    """A sheet that could be taken: ``cost`` of one at ``length`` mm."""

    cost: Decimal
    length: int
    width: int
    sku: str
    on_hand: bool
    item: StockLengthOption | None


@dataclass(slots=True)
class _OpenBlank:
    """A sheet already taken, and what is got from it."""

    choice: _Choice
    takes: list[tuple[int, int | None, str]] = field(default_factory=list)


class _Strips:
    """What was ripped off and may serve once more, by site: (width, number of its sheet), narrowest first."""

    def __init__(self, market: StockOptions) -> None:
        self.market = market
        self.by_site: defaultdict[str, list[tuple[int, int]]] = defaultdict(list)

    def keep(self, site: str, width: int, number: int) -> None:
        """The strip of a sheet of which the first piece is off; what is no wider than the saw cut is dust."""
        left = width - self.market.rip
        if self.market.reuse_strips and left > 0:
            insort(self.by_site[site], (left, number))

    def take(self, site: str, width: int) -> int | None:
        """The sheet whose strip fits closest, the first of equals; its strip is gone then."""
        strips = self.by_site[site]
        place = bisect_left(strips, (width, 0))
        return strips.pop(place)[1] if width and place < len(strips) else None


class _Sheets:
    """The sheets of one finish that can be had; what is on hand becomes less as it is taken."""

    def __init__(self, market: StockOptions, colour: str | None) -> None:
        self.stock = [item for item in market.stock if item.serves("sheet", colour)]
        self.made = [item for item in market.made if item.serves("sheet", colour)]
        self.left = {item: item.have for item in self.stock if item.have is not None}

    def take(self, length: int, width: int) -> _Choice | None:
        """The cheapest sheet that holds a blank, among equals the shortest; it is gone then. None: there is none."""
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


def sheets_for(
    colour: str | None, pieces: Sequence[Piece], market: StockOptions
) -> tuple[list[Blank], list[PurchaseLine], list[Missing]]:
    """Sheets of one finish. Longest first, then widest, each where it fits closest.

    Rule: the cheapest sheet (bought, on hand or made to length) at least as long and as wide; among equals the shortest. A
    narrow sheet comes from the strip of one ripped before on the same site, where the market allows it: once from each, as a
    strip turned end for end laps with the sheet's other factory edge. Longest first, so that a strip is always long enough:
    which strip serves what depends on the pieces alone, not on the lengths on sale, and the paper for the crew can tell.

    Args:
        colour: the finish, None where none is named.
        pieces: sheets of the take-off [mm].
        market: what is on offer.

    Returns:
        Each sheet to buy or take with what is got from it, the lines of the purchase, and what no sheet serves.

    Source: common practice.

    Example: one of 300 and one of 400 wide come from a single sheet of 822, ripped with a saw cut of 2:

        >>> market = StockOptions(stock=(StockLengthOption("s", "sheet", None, 1800, Decimal(21), width=822),), rip=2)
        >>> narrow = [Piece("sheet", None, None, 1788, width, 1, (bay,)) for width, bay in ((400, "A-1"), (300, "A-2"))]
        >>> blanks, lines, missing = sheets_for(None, narrow, market)
        >>> [take[2] for take in blanks[0].takes], str(lines[0].cost), missing
        (['A-1', 'A-2'], '21', [])
    """
    opened: list[_OpenBlank] = []
    strips, sheets = _Strips(market), _Sheets(market, colour)
    missing: Counter[tuple[int, int]] = Counter()
    for length, width, where, site in _required_blanks(pieces):
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
    blanks = [_blank(sheet, colour) for sheet in opened]
    lost = [
        Missing("sheet", colour, length, Decimal(count), "no sheet is long and wide enough")
        for (length, _), count in missing.items()
    ]
    return blanks, _lines(blanks, opened, colour), lost


def _required_blanks(pieces: Iterable[Piece]) -> list[tuple[int, int, str, str]]:
    """(blank length, width, where, site) of every sheet, longest first, then widest."""
    found: list[tuple[int, int, str, str]] = []
    for piece in pieces:
        named = [*piece.where, *[""] * (piece.count - len(piece.where))][: piece.count]
        found += [(piece.length, piece.width or 0, where, piece.site) for where in named]
    return sorted(found, key=lambda sheet: (-sheet[0], -sheet[1]))


def _blank(sheet: _OpenBlank, colour: str | None) -> Blank:
    choice = sheet.choice
    first, *rest = sheet.takes
    why = f"{first[0]} mm for {first[2] or 'the job'} from {choice.length} mm"
    if choice.item is None:
        why = f"{first[0]} mm for {first[2] or 'the job'}, made at the step above: {choice.length} mm"
    if rest:
        why += "; its strip serves " + ", ".join(f"{where or 'the job'} ({width} mm wide)" for _, width, where in rest)
    takes = tuple(sheet.takes)
    return Blank(choice.sku, colour, choice.length, choice.width or None, choice.cost, takes, why, choice.on_hand)


def _lines(blanks: Sequence[Blank], opened: Sequence[_OpenBlank], colour: str | None) -> list[PurchaseLine]:
    grouped: dict[tuple[bool, str, int], list[Blank]] = defaultdict(list)
    items: dict[str, StockLengthOption | None] = {}
    for blank, sheet in zip(blanks, opened, strict=True):
        grouped[not blank.on_hand, blank.sku, -blank.length].append(blank)
        items[blank.sku] = sheet.choice.item
    return [_line(own, items[sku], colour) for (_, sku, _), own in sorted(grouped.items(), key=lambda entry: entry[0])]


def _line(blanks: list[Blank], item: StockLengthOption | None, colour: str | None) -> PurchaseLine:
    one = blanks[0]
    net = Decimal(len(blanks))
    counts = Counter(blank.takes[0][0] for blank in blanks)
    why = [f"{count} of {length} mm from {one.length} mm" for length, count in sorted(counts.items(), reverse=True)]
    why += [blank.why for blank in blanks if len(blank.takes) > 1]
    packed = in_packs(net, Decimal(item.pack), Decimal(item.least)) if item and not one.on_hand else in_packs(net)
    if packed.spare:
        why.append(packed.why)
    price = item.price if item else one.cost
    cost = packed.ordered * price + (net * item.handling if item else Decimal(0))
    zero = Decimal(0)
    return PurchaseLine(
        "sheet", colour, one.sku, "C62", net, zero, packed.ordered, price, cost, tuple(why), one.length, one.on_hand
    )
