"""Stock lengths of one material: cutting plan, purchase lines, and each length with its labels."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from decimal import Decimal

from fencing.buying.purchase_lines import Cutting, Missing, PurchaseLine, SawLabel, SawnBar, in_packs, list_bars
from fencing.buying.stock_options import StockLengthOption, StockOptions
from fencing.cutting import Budget, CutPlan, Demand, Status, StockLength, plan_cuts
from fencing.cutting.planner import list_oversized_pieces
from fencing.model.fence import Piece
from fencing.model.rounding import count_decimals

Planner = Callable[[Demand, Budget], CutPlan]


def build_demand(pieces: Sequence[Piece], items: Sequence[StockLengthOption], kerf: int) -> Demand:
    """Return the cutting demand for pieces of one material: lengths [mm], prices as integers with common decimals.

    >>> items = [StockLengthOption("r48", "rail", None, 4800, Decimal("36.50"))]
    >>> demand = build_demand([Piece("rail", None, None, 2390, None, 4, ())], items, kerf=3)
    >>> demand.pieces, demand.stock[0].cost, demand.decimals
    (((2390, 4),), 3650, 2)
    """
    counts: Counter[int] = Counter()
    for piece in pieces:
        counts[piece.length] += piece.count
    decimals = count_decimals(amount for item in items for amount in (item.price, item.handling, item.credit))
    stock = tuple(
        StockLength(
            item.length,
            int(item.price.scaleb(decimals)),
            item.have,
            item.trim,
            int(item.handling.scaleb(decimals)),
            item.keep,
            int(item.credit.scaleb(decimals)),
            item.sku,
        )
        for item in items
    )
    return Demand(kerf, tuple(sorted(counts.items(), reverse=True)), stock, decimals)


def plan_cut_lengths(
    role: str,
    finish: str | None,
    pieces: Sequence[Piece],
    market: StockOptions,
    budget: Budget,
    plan: Planner | None = None,
) -> tuple[Cutting | None, list[PurchaseLine], list[Missing]]:
    """Plan the purchase and cuts of one material, and list the pieces that no stock fits.

    Args:
        role, finish: role and finish of the material.
        pieces: all needed pieces of it [mm].
        market: available stock options.
        budget: work limit of the cutting plan.
        plan: maker of cutting plans; None: ``plan_cuts``.

    Returns:
        The plan with its lengths (None if nothing can be cut), the purchase lines, and the missing pieces.

    Source: common practice.

    Example: a rail of 5000 is longer than any stock length:

        >>> market = StockOptions(stock=(StockLengthOption("r48", "rail", None, 4800, Decimal(36)),))
        >>> _, _, missing = plan_cut_lengths("rail", None, [Piece("rail", None, None, 5000, None, 1, ())], market, Budget())
        >>> [item.text for item in missing]
        ['longer than every stock length']
    """
    items = _list_items(role, finish, pieces, market)
    if not items:
        return None, [], [_build_missing(piece, "no stock for it") for piece in pieces]
    kerf = market.kerf.get(role, 0)
    whole = build_demand(pieces, items, kerf)
    lost = {length for length, _ in list_oversized_pieces(whole)}
    missing = [_build_missing(piece, "longer than every stock length") for piece in pieces if piece.length in lost]
    served = tuple(piece for piece in pieces if piece.length not in lost)
    if not served:
        return None, [], missing
    cut_plan = (plan or plan_cuts)(build_demand(served, items, kerf), budget)
    if cut_plan.status is Status.INFEASIBLE:
        return None, [], [*missing, *(_build_missing(piece, "not enough stock on hand") for piece in served)]
    cutting = Cutting(role, finish, kerf, served, cut_plan, label_bars(cut_plan, served, items, role))
    return cutting, build_lines(cutting, items), missing


def _list_items(
    role: str, finish: str | None, pieces: Sequence[Piece], market: StockOptions
) -> list[StockLengthOption]:
    """Return the stock lengths of the material. Made-to-length items become stock of the needed lengths, in their steps."""
    items = [item for item in market.stock if item.serves(role, finish)]
    for made in market.made:
        if made.serves(role, finish):
            lengths = {made.made(piece.length) for piece in pieces} - {None}
            items += [
                StockLengthOption(made.sku, role, made.finish, length, made.price(length))
                for length in sorted(length for length in lengths if length is not None)
            ]
    return items


def _build_missing(piece: Piece, text: str) -> Missing:
    return Missing(piece.role, piece.finish, piece.length, Decimal(piece.count), text)


def build_lines(cutting: Cutting, items: Sequence[StockLengthOption]) -> list[PurchaseLine]:
    """Return one line for each stock length [mm] used, on-hand ones first; bought ones are in whole packs.

    >>> market = StockOptions(stock=(StockLengthOption("r48", "rail", None, 4800, Decimal(36), pack=5),), kerf={"rail": 3})
    >>> _, lines, _ = plan_cut_lengths("rail", None, [Piece("rail", None, None, 2390, None, 4, ())], market, Budget())
    >>> [(str(line.net), str(line.ordered), str(line.cost)) for line in lines]  # two lengths, five in a pack
    [('2', '5', '180')]
    """
    plan = cutting.plan
    used: Counter[int] = Counter()
    reasons: dict[int, list[str]] = defaultdict(list)
    credits: Counter[int] = Counter()
    for bar in plan.bars:
        used[bar.stock] += bar.count
        credits[bar.stock] += bar.count * bar.credited
        reasons[bar.stock].append(_explain_bar(bar.count, bar.cuts, bar.left, bar.keep))
    return [
        _build_line(cutting, items[row], used[row], credits[row], [*reasons[row], _explain_proof(plan)])
        for row in sorted(used, key=lambda row: (items[row].have is None, row))
    ]


def _build_line(
    cutting: Cutting, item: StockLengthOption, count: int, credited: int, reasons: list[str]
) -> PurchaseLine:
    net = Decimal(count)
    on_hand = item.have is not None
    ordered = net if on_hand else in_packs(net, Decimal(item.pack), Decimal(item.least)).ordered
    if ordered > net:
        reasons = [in_packs(net, Decimal(item.pack), Decimal(item.least)).why, *reasons]
    if credited:
        reasons = [*reasons, f"{credited} offcuts worth {item.credit} each reduce the price"]
    cost = ordered * item.price + net * item.handling - credited * item.credit
    zero = Decimal(0)
    why = tuple(reasons)
    return PurchaseLine(
        cutting.role, cutting.finish, item.sku, "C62", net, zero, ordered, item.price, cost, why, item.length, on_hand
    )


def _explain_bar(count: int, cuts: Sequence[tuple[int, int]], left: int, keep: bool) -> str:
    parts = " + ".join(f"{times} × {length}" for length, times in cuts)
    rest = f", {left} mm left{' to keep' if keep else ''}" if left else ""
    return f"{count} cut into {parts}{rest}"


def _explain_proof(plan: CutPlan) -> str:
    if plan.status is Status.OPTIMAL:
        return "proved: no other choice of stock lengths costs less"
    return f"at most {plan.gap_ppm} ppm dearer than the cheapest possible"


def label_bars(
    plan: CutPlan, pieces: Sequence[Piece], items: Sequence[StockLengthOption], role: str
) -> tuple[SawnBar, ...]:
    """Return each bar with labels for its pieces. Pieces of one length [mm] get labels in the order of the cut list.

    Source: house rule.

    >>> market = StockOptions(stock=(StockLengthOption("r48", "rail", None, 4800, Decimal(36)),), kerf={"rail": 3})
    >>> pieces = [Piece("rail", None, None, 2390, None, 2, ("A-1", "A-2"))]
    >>> cutting, _, _ = plan_cut_lengths("rail", None, pieces, market, Budget())
    >>> [label.used_at for bar in cutting.bars for label in bar.pieces]
    ['A-1', 'A-2']
    """
    waiting: dict[int, list[SawLabel]] = defaultdict(list)
    for piece in pieces:
        waiting[piece.length] += [SawLabel(piece.role, piece.length, where) for where in piece.list_locations()]
    for labels in waiting.values():
        labels.reverse()
    bars: list[SawnBar] = []
    kept = 0
    for number, bar in enumerate(list_bars(plan), 1):
        own = tuple(waiting[length].pop() for length, count in bar.cuts for _ in range(count))
        kept += bar.keep
        name = f"{role.split('.')[-1].upper()}-R{kept} {bar.left}" if bar.keep else None
        item = items[bar.stock]
        bars.append(SawnBar(item.sku, number, item.length, item.trim, own, bar.left, name))
    return tuple(bars)
