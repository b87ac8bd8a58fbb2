"""Purchases of one job with example prices: cheapest plan, whole packs, and articles that no supplier sells."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, Decimal

import pytest

from fencing.buying.suppliers import Article, PurchaseOptions, SupplierPrice, SupplierTermsAndPrices
from fencing.model.faults import InvalidDocument
from fencing.model.measure import Finishes, Form, Layout, Run, Terminal
from fencing.quantities.take_off import TakeOff
from quotes.quoting import purchase_costs
from quotes.quoting.purchase_costs import Buying
from tests.quotes.pricing.cast import SYSTEM, taken_off

ROLES = ("post.channel", "post.square", "sheet", "cap.pair", "cap.square", "screw")


def article(sku: str, role: str, length: int | None = None, bag: str | None = None) -> Article:
    """A component in no particular finish."""
    return Article(sku, sku, role, None, length, None, "C62", Decimal(bag) if bag else None, "")


Offer = tuple[str, SupplierPrice]
"""Supplier's code and its price."""


def sold(
    sku: str, price: str, pack: str = "1", breaks: tuple[tuple[str, str], ...] = (), supplier: str = "near"
) -> Offer:
    """One supplier's offer."""
    bands = tuple((Decimal(start), Decimal(amount)) for start, amount in breaks)
    return supplier, SupplierPrice(sku, Decimal(price), bands, Decimal(pack))


@dataclass(frozen=True)
class Goods:
    """Articles, terms of suppliers, and offers; a supplier without terms asks nothing of an order."""

    articles: tuple[Article, ...]
    suppliers: tuple[SupplierTermsAndPrices, ...]
    sold: tuple[Offer, ...]

    def options(self) -> PurchaseOptions:
        known = {item.code for item in self.suppliers}
        others = [
            SupplierTermsAndPrices(code) for code in dict.fromkeys(code for code, _ in self.sold) if code not in known
        ]
        return PurchaseOptions(
            self.articles,
            tuple(
                replace(item, offers=tuple(price for code, price in self.sold if code == item.code))
                for item in (*self.suppliers, *others)
            ),
        )


def market(*extra: tuple[Article, Offer], without: str = "") -> Goods:
    """Everything a plain run needs at a price of 1, and what is put beside it."""
    plain = [(article(role, role, 3000 if role in {*ROLES[:3]} else None), sold(role, "1")) for role in ROLES]
    plain += [(article("mix", "concrete.mix"), sold("mix", "100"))]
    pairs = [*(pair for pair in plain if pair[0].role != without), *extra]
    return Goods(tuple(item for item, _ in pairs), (), tuple(item for _, item in pairs))


def bought_for(takeoff: TakeOff, goods: Goods) -> Buying:
    """The purchase of these goods for a fence."""
    return purchase_costs.bought_for(takeoff, goods.options())


def rail(length: int, price: str) -> tuple[Article, Offer]:
    return article(f"rail {length}", "rail", length), sold(f"rail {length}", price)


RUN = Run(
    "A", 8000, 1800, start=Terminal.FREE, end=Terminal.FREE, form=Form.LEVEL, layout=Layout.EVEN, finishes=Finishes()
)


def test_rails_come_from_the_stock_that_is_cheapest_to_cut() -> None:
    # four bays of at most 2000 take eight rails; two fit a 4000 bar, so eight short bars at 9 lose against four long ones at 16
    takeoff = taken_off(RUN)
    rails = sum(piece.count for piece in takeoff.pieces if piece.role == "rail")
    bought = {item.sku: item for item in bought_for(takeoff, market(rail(1990, "9"), rail(4000, "16"))).bought}
    assert rails % 2 == 0
    assert bought["rail 4000"].quantity == rails // 2
    assert "rail 1990" not in bought


@pytest.mark.parametrize(
    ("chosen", "text"),
    [
        (None, "No finish is chosen: rail is sold in chalk, moss; name one of them under finishes in the measure."),
        (
            "rust",
            "rail in rust: no supplier sells it today; rail is sold in chalk, moss; name one of them under finishes",
        ),
    ],
)
def test_the_error_for_a_missing_finish_lists_those_on_sale(chosen: str | None, text: str) -> None:
    painted = [
        (replace(article(f"rail {finish}", "rail", 4000), finish=finish), sold(f"rail {finish}", "9"))
        for finish in ("moss", "chalk")
    ]
    with pytest.raises(InvalidDocument) as refused:
        bought_for(taken_off(replace(RUN, finishes=Finishes(rail=chosen))), market(*painted))
    assert [fault.pointer for fault in refused.value.faults] == ["/catalogue/rail"]
    assert refused.value.faults[0].text.startswith(text)


def test_screws_come_in_whole_packs_at_the_price_of_the_quantity() -> None:
    screws = next(row.total for row in taken_off(RUN).quantities if row.role == "screw")
    box = (article("box", "screw"), sold("box", "0.10", pack="250", breaks=(("250", "0.08"),)))
    bought = {
        item.role: item for item in bought_for(taken_off(RUN), market(rail(4000, "16"), box, without="screw")).bought
    }
    assert 0 < screws <= 250
    assert (bought["screw"].quantity, bought["screw"].cost) == (Decimal(250), Decimal("20.00"))


def test_of_two_suppliers_the_cheaper_one_for_the_whole_order_is_taken() -> None:
    # one at a time costs 0.15; the other's pack of 1000 costs 0.02 each, which is 20 in all
    few, many = (article("one", "screw"), sold("one", "0.15")), sold("one", "0.02", pack="1000", supplier="far")
    offered = market(rail(4000, "16"), few, without="screw")
    both = Goods(offered.articles, offered.suppliers, (*offered.sold, many))
    screws = next(row.total for row in taken_off(RUN).quantities if row.role == "screw")
    bought = next(item for item in bought_for(taken_off(RUN), both).bought if item.role == "screw")
    assert bought.cost == min(screws * Decimal("0.15"), Decimal(20))


def test_everything_nobody_sells_is_named_at_once() -> None:
    with pytest.raises(InvalidDocument) as refused:
        bought_for(taken_off(RUN), market(without="screw"))
    assert [fault.pointer for fault in refused.value.faults] == ["/catalogue/rail", "/catalogue/screw"]


def test_a_piece_longer_than_any_stock_says_what_is_needed() -> None:
    with pytest.raises(InvalidDocument) as refused:
        bought_for(taken_off(RUN), market(rail(600, "3")))
    assert refused.value.faults[0].code == "stock.short"
    assert "the longest sold is 600 mm" in refused.value.faults[0].text


def test_what_is_sold_by_the_metre_is_ordered_in_the_suppliers_steps() -> None:
    takeoff = taken_off(RUN)
    stepped = replace(takeoff, system=replace(SYSTEM, sheets=replace(SYSTEM.sheets, step=50)))
    by_metre = (article("sheet m", "sheet"), sold("sheet m", "9.00"))
    sheets = [piece for piece in takeoff.pieces if piece.role == "sheet"]
    metres = sum((Decimal(-(-piece.length // 50) * 50 * piece.count) for piece in sheets), Decimal(0)) / 1000
    bought = bought_for(stepped, market(rail(4000, "16"), by_metre, without="sheet")).bought
    ordered = next(item for item in bought if item.role == "sheet")
    assert (ordered.quantity, ordered.cost) == (metres.to_integral_value(ROUND_CEILING), ordered.quantity * 9)


def test_the_metres_of_all_finishes_that_the_same_rails_serve_are_added_up() -> None:
    takeoff = taken_off(
        replace(RUN, finishes=Finishes(rail="moss")), replace(RUN, id="B", finishes=Finishes(rail="chalk"))
    )
    millimetres = sum(piece.length * piece.count for piece in takeoff.pieces if piece.role == "rail")
    rails = [(article(sku, "rail"), sold(sku, price)) for sku, price in (("rail m", "4.00"), ("rail n", "5.00"))]
    [line] = [item for item in bought_for(takeoff, market(*rails)).bought if item.role == "rail"]
    assert (line.sku, line.quantity) == ("rail m", (Decimal(millimetres) / 1000).to_integral_value(ROUND_CEILING))


def seller(code: str, *fees: tuple[str, str]) -> SupplierTermsAndPrices:
    bands = tuple((Decimal(start), Decimal(amount)) for start, amount in fees)
    return SupplierTermsAndPrices(code, delivery=bands)


def orders_of(buying: Buying) -> dict[str, tuple[Decimal, Decimal]]:
    """Goods and delivery by supplier."""
    return {order.supplier: (order.goods, order.delivery) for order in buying.orders}


def test_each_supplier_is_paid_for_bringing_its_part_by_the_value_of_that_part() -> None:
    # "far" alone sells screws; near sells all the rest, rails for 9 among it
    screws = (article("screw box", "screw"), sold("screw box", "0.50", pack="100", supplier="far"))
    goods = market(rail(3000, "9"), screws, without="screw")
    (near, _), (far, _) = (orders_of(bought_for(taken_off(RUN), goods))[code] for code in ("near", "far"))
    fees = (
        seller("near", ("0", "80"), (str(near), "30")),  # its part just reaches the cheaper band
        seller("far", ("0", "45"), (str(far + 1), "0")),  # a unit short of free delivery
        seller("idle", ("0", "70")),  # brings nothing, so it asks for nothing
    )
    buying = bought_for(taken_off(RUN), replace(goods, suppliers=fees))
    assert orders_of(buying) == {"near": (near, Decimal(30)), "far": (far, Decimal(45))}


def two_sellers(fee: str, least: str = "0") -> Goods:
    """Near sells everything; far sells the screws for less, asks ``fee`` for bringing them and takes no order under ``least``."""
    plain = market(rail(4000, "16"), without="screw")
    both = (sold("s", "0.20"), sold("s", "0.10", supplier="far"))
    far = replace(seller("far", ("0", fee)), minimum_order=Decimal(least))
    return Goods((*plain.articles, article("s", "screw")), (seller("near"), far), (*plain.sold, *both))


def screws_from(market: Goods) -> tuple[str, str]:
    bought = next(item for item in bought_for(taken_off(RUN), market).bought if item.role == "screw")
    return bought.supplier, bought.why


def test_what_is_cheaper_elsewhere_is_bought_there_only_where_that_pays_its_delivery() -> None:
    screws = next(row.total for row in taken_off(RUN).quantities if row.role == "screw")
    saved = screws * Decimal("0.10")  # 0.20 less 0.10 each
    assert screws_from(two_sellers(str(saved - 1)))[0] == "far"
    supplier, why = screws_from(two_sellers(str(saved + 1)))
    assert supplier == "near"
    assert why.endswith("but with delivery the total would be 1.00 more")


def test_what_is_cheaper_elsewhere_is_not_bought_under_the_minimum_order() -> None:
    assert screws_from(two_sellers("0", least="1"))[0] == "far"
    assert screws_from(two_sellers("0", least="10000"))[0] == "near"


def test_a_job_under_every_least_order_is_priced_and_says_so() -> None:
    goods = market(rail(4000, "16"))
    strict = replace(goods, suppliers=(replace(seller("near"), minimum_order=Decimal(100_000)),))
    plain, buying = bought_for(taken_off(RUN), goods), bought_for(taken_off(RUN), strict)
    assert [item.cost for item in buying.bought] == [item.cost for item in plain.bought]
    assert (buying.short, plain.short) == (("near",), ())
    assert buying.sourcing.refused == {"near": "an order is below the minimum of 100000"}


def test_stock_lengths_are_those_of_whoever_brings_the_rest_where_that_saves_a_delivery() -> None:
    # four bays take eight rails: four bars of 4000 at 15 from far and 40 for bringing them, or eight of 1990 at 8 with the rest
    plain = market(rail(1990, "8"))
    long = article("rail 4000", "rail", 4000)
    goods = Goods(
        (*plain.articles, long),
        (seller("near"), seller("far", ("0", "40"))),
        (*plain.sold, sold("rail 4000", "15", supplier="far")),
    )
    rails = [item for item in bought_for(taken_off(RUN), goods).bought if item.role == "rail"]
    assert [(item.sku, item.quantity, item.supplier) for item in rails] == [("rail 1990", Decimal(8), "near")]
    free = replace(goods, suppliers=(seller("near"), seller("far")))
    rails = [item for item in bought_for(taken_off(RUN), free).bought if item.role == "rail"]
    assert [(item.sku, item.quantity, item.supplier) for item in rails] == [("rail 4000", Decimal(4), "far")]


def test_of_articles_that_serve_alike_the_one_is_taken_that_makes_the_whole_cheapest() -> None:
    # a box of 500 costs 60 where everything else comes from; single screws cost less from far, until far asks for bringing them
    screws = next(row.total for row in taken_off(RUN).quantities if row.role == "screw")
    assert screws <= 500
    plain = market(rail(4000, "16"), (article("box", "screw"), sold("box", "0.12", pack="500")), without="screw")
    for fee, sku in (("0", "one"), ("60", "box")):
        sellers = (seller("near"), seller("far", ("0", fee)))
        goods = Goods(
            (*plain.articles, article("one", "screw")), sellers, (*plain.sold, sold("one", "0.10", supplier="far"))
        )
        bought = next(item for item in bought_for(taken_off(RUN), goods).bought if item.role == "screw")
        assert bought.sku == sku


def test_what_serves_every_finish_is_packed_once_for_all_of_them() -> None:
    painted = replace(RUN, finishes=Finishes(screw="moss"))
    other = replace(RUN, id="B", finishes=Finishes(screw="chalk"))
    takeoff = taken_off(painted, other)
    totals = [row.total for row in takeoff.quantities if row.role == "screw"]
    assert len(totals) == 2
    pack = sum(totals)  # one pack holds both
    box = (article("box", "screw"), sold("box", "0.10", pack=str(pack)))
    bought = [
        item
        for item in bought_for(takeoff, market(rail(4000, "16"), box, without="screw")).bought
        if item.role == "screw"
    ]
    assert [(item.quantity, item.finish) for item in bought] == [(pack, None)]
