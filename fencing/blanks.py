"""Sheets: each blank from the cheapest sheet that serves it, narrow ones from strips ripped off before where that is allowed."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from fencing.lines import Blank, Missing, PurchaseLine
from fencing.market import Market, StockItem
from fencing.packs import in_packs
from fencing.piece import Piece


@dataclass(frozen=True, slots=True)
class _Choice:
    """A sheet that could be taken: ``cost`` of one at ``length`` mm."""

    cost: Decimal
    length: int
    width: int
    sku: str
    on_hand: bool
    item: StockItem | None


@dataclass(slots=True)
class _Open:
    """A sheet already taken, with the width still on it."""

    choice: _Choice
    room: int
    takes: list[tuple[int, int | None, str]] = field(default_factory=list)


def sheets_for(
    colour: str | None, pieces: Sequence[Piece], market: Market
) -> tuple[list[Blank], list[PurchaseLine], list[Missing]]:
    """Sheets of one finish. Full ones first, then narrow ones, longest and widest first, each where it fits closest.

    Rule: the cheapest sheet (bought, on hand or made to length) at least as long and as wide; among equals the shortest. A
    narrow sheet comes from the strip of a ripped one where the strip is long and wide enough and the market allows it.
    """
    wanted = _wanted(pieces)
    left: dict[StockItem, int] = {
        item: item.have for item in market.stock if item.role == "sheet" and item.have is not None
    }
    opened: list[_Open] = []
    missing: Counter[tuple[int, int]] = Counter()
    for length, width, where in wanted:
        sheet = _strip(opened, length, width, market)
        if sheet is None:
            choice = _cheapest(market, colour, length, width, left)
            if choice is None:
                missing[length, width] += 1
                continue
            if choice.item is not None and choice.item.have is not None:
                left[choice.item] -= 1
            sheet = _Open(choice, choice.width + market.rip)
            opened.append(sheet)
        sheet.room -= width + market.rip
        sheet.takes.append((length, width or None, where))
    blanks = [_blank(sheet, colour) for sheet in opened]
    lost = [
        Missing("sheet", colour, length, Decimal(count), "no sheet is long and wide enough")
        for (length, _), count in missing.items()
    ]
    return blanks, _lines(blanks, opened, colour), lost


def _wanted(pieces: Iterable[Piece]) -> list[tuple[int, int, str]]:
    """(blank length, width, where) of every sheet, widest first, then longest."""
    found: list[tuple[int, int, str]] = []
    for piece in pieces:
        named = [*piece.where, *[""] * (piece.count - len(piece.where))][: piece.count]
        found += [(piece.length, piece.width or 0, where) for where in named]
    return sorted(found, key=lambda sheet: (-sheet[1], -sheet[0]))


def _strip(opened: list[_Open], length: int, width: int, market: Market) -> _Open | None:
    """The strip that fits closest."""
    if not market.reuse_strips or not width:
        return None
    serving = [
        (sheet.room, sheet.choice.length, place)
        for place, sheet in enumerate(opened)
        if sheet.choice.length >= length and sheet.room >= width + market.rip
    ]
    return opened[min(serving)[2]] if serving else None


def _cheapest(
    market: Market, colour: str | None, length: int, width: int, left: dict[StockItem, int]
) -> _Choice | None:
    choices = [
        _Choice(item.price + item.handling, item.length, item.width or width, item.sku, item.have is not None, item)
        for item in market.stock
        if item.role == "sheet"
        and item.colour in (None, colour)
        and item.length >= length
        and (item.width is None or item.width >= width)
        and (item.have is None or left[item] > 0)
    ]
    for made in market.made:
        ordered = made.made(length)
        if made.role == "sheet" and made.colour in (None, colour) and ordered and (made.width or width) >= width:
            choices.append(_Choice(made.price(ordered), ordered, made.width or width, made.sku, False, None))
    return min(choices, key=lambda choice: (choice.cost, choice.length, choice.sku), default=None)


def _blank(sheet: _Open, colour: str | None) -> Blank:
    choice = sheet.choice
    first, *rest = sheet.takes
    why = f"{first[0]} mm for {first[2] or 'the job'} from {choice.length} mm"
    if choice.item is None:
        why = f"{first[0]} mm for {first[2] or 'the job'}, made at the step above: {choice.length} mm"
    if rest:
        why += "; its strip serves " + ", ".join(f"{where or 'the job'} ({width} mm wide)" for _, width, where in rest)
    takes = tuple(sheet.takes)
    return Blank(choice.sku, colour, choice.length, choice.width or None, choice.cost, takes, why, choice.on_hand)


def _lines(blanks: Sequence[Blank], opened: Sequence[_Open], colour: str | None) -> list[PurchaseLine]:
    grouped: dict[tuple[bool, str, int], list[Blank]] = defaultdict(list)
    items: dict[str, StockItem | None] = {}
    for blank, sheet in zip(blanks, opened, strict=True):
        grouped[not blank.on_hand, blank.sku, -blank.length].append(blank)
        items[blank.sku] = sheet.choice.item
    return [_line(own, items[sku], colour) for (_, sku, _), own in sorted(grouped.items(), key=lambda entry: entry[0])]


def _line(blanks: list[Blank], item: StockItem | None, colour: str | None) -> PurchaseLine:
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
