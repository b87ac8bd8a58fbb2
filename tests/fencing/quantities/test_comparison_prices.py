"""The price list the engine compares alternatives by."""

from decimal import Decimal

import pytest

from fencing.model.fence import BreakdownLine, Piece, Quantity
from fencing.quantities.comparison_prices import EstimateWork, LabourRates, PriceList, StockPrice, estimate_cost


def money(text: str) -> Decimal:
    return Decimal(text)


RAILS = (
    StockPrice("rail", "slate", 2400, money("19.00")),
    StockPrice("rail", "slate", 4800, money("36.00")),
    StockPrice("rail", "loam", 2400, money("17.00")),
)


def quantity(role: str, total: str, finish: str | None = None) -> Quantity:
    amount = money(total)
    return Quantity(role, None, finish, "C62", amount, Decimal(0), amount, (BreakdownLine("all", 1, amount, amount),))


def test_a_piece_is_priced_from_the_cheapest_stock_that_is_long_enough() -> None:
    prices = PriceList(RAILS)
    assert prices.piece("rail", "slate", 2400) == money("19.00")
    assert prices.piece("rail", "slate", 2401) == money("36.00")


def test_a_longer_stock_that_costs_less_is_taken() -> None:
    prices = PriceList((*RAILS, StockPrice("rail", "slate", 3000, money("15.00"))))
    assert prices.piece("rail", "slate", 2000) == money("15.00")


def test_a_piece_in_a_finish_that_is_not_sold_has_no_price() -> None:
    assert PriceList(RAILS).piece("rail", "chalk", 2000) is None


def test_stock_of_no_particular_finish_serves_every_finish() -> None:
    prices = PriceList((StockPrice("post.extension", None, 400, money("6.00")),))
    assert prices.piece("post.extension", "chalk", 350) == money("6.00")


def test_stock_sold_by_the_metre_is_paid_by_its_length() -> None:
    prices = PriceList((StockPrice("sheet", None, None, money("11.50")),))
    assert prices.piece("sheet", "slate", 1800) == money("11.50") * 1800 / 1000


def test_the_price_of_its_own_finish_comes_before_the_price_for_any_finish() -> None:
    prices = PriceList(eaches={("screw", None): money("0.08"), ("screw", "slate"): money("0.11")})
    assert prices.each("screw", "slate") == money("0.11")
    assert prices.each("screw", "loam") == money("0.08")
    assert prices.each("latch", None) is None


def test_the_cost_adds_pieces_counted_things_and_labour() -> None:
    prices = PriceList(
        RAILS, {("screw", None): money("0.10")}, LabourRates(money("30"), money("20"), money("9"), money("2"))
    )
    pieces = [Piece("rail", None, "slate", 2300, None, 3, ("A-1",))]
    rails, screws = money("19.00") * 3, money("0.10") * 40
    labour = 2 * money("30") + 3 * money("20") + 1 * money("9") + 4 * money("2")
    assert estimate_cost(prices, pieces, [quantity("screw", "40")], EstimateWork(2, 3, 1, 4)) == rails + screws + labour


def test_what_is_cut_from_stock_is_not_counted_a_second_time_by_its_quantity() -> None:
    pieces = [Piece("rail", None, "slate", 2300, None, 3, ("A-1",))]
    assert estimate_cost(PriceList(RAILS), pieces, [quantity("rail", "3", "slate")]) == money("19.00") * 3


def test_nothing_is_compared_when_anything_needed_has_no_price() -> None:
    assert estimate_cost(PriceList(RAILS), [], [quantity("latch", "1")]) is None
    assert estimate_cost(PriceList(RAILS), [Piece("rail", None, "slate", 9000, None, 1, ())], []) is None


@pytest.mark.parametrize(("length", "price"), [(0, "1"), (-1, "1"), (10, "-0.01")])
def test_a_stock_price_that_cannot_be_is_refused(length: int, price: str) -> None:
    with pytest.raises(ValueError, match="above 0"):
        StockPrice("rail", None, length, money(price))
