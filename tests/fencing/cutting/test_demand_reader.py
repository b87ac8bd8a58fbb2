"""Tests of the demand reader: by the contract, or rejected as a whole with every fault within a second."""

from __future__ import annotations

import json
from time import process_time
from typing import Any

import pytest

from fencing.cutting import read_demand, read_demand_document
from fencing.model.faults import InvalidDocument


def document(**changes: Any) -> dict[str, Any]:
    good = {
        "kerf_mm": 3,
        "pieces": [[2238, 8]],
        "stock": [{"length_mm": 6000, "price": "31.20", "quantity_available": None}],
    }
    return {**good, **changes}


def stock(**changes: Any) -> dict[str, Any]:
    return document(stock=[{"length_mm": 6000, "price": "31.20", "quantity_available": None, **changes}])


def pointers(refused: InvalidDocument) -> list[str]:
    return [fault.pointer for fault in refused.faults]


def test_rows_of_one_length_are_merged_and_prices_share_their_decimals() -> None:
    rows = [
        {"length_mm": 6000, "price": "31.2", "quantity_available": None},
        {"length_mm": 3000, "price": "0.125", "quantity_available": 2},
    ]
    read = read_demand_document(document(pieces=[[500, 2], [900, 1], [500, 3]], stock=rows))
    assert read.pieces == ((900, 1), (500, 5))
    assert (read.decimals, [item.price for item in read.stock]) == (3, [31200, 125])


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        (document(kerf_mm=-1), "/kerf_mm"),
        (document(kerf_mm="3"), "/kerf_mm"),
        (document(pieces=[]), "/pieces"),
        (document(pieces=[[0, 1]]), "/pieces/0/0"),
        (document(pieces=[[-5, 1]]), "/pieces/0/0"),
        (document(pieces=[[2238, 10**9]]), "/pieces/0/1"),
        (document(pieces=[[2238, 1.5]]), "/pieces/0"),
        (document(pieces=[[True, 1]]), "/pieces/0"),
        (document(pieces=[["2238", 1]]), "/pieces/0"),
        (document(pieces={"2238": 8}), "/pieces"),
        (document(stock=[]), "/stock"),
        (stock(price="-1.00"), "/stock/0/price"),
        (stock(price=31.20), "/stock/0/price"),
        (stock(price="NaN"), "/stock/0/price"),
        (stock(have=-1), "/stock/0/have"),
        (stock(length_mm=0), "/stock/0/length_mm"),
        (stock(trim_mm=6000), "/stock/0/trim_mm"),
        (stock(credit="40.00"), "/stock/0/credit"),
        (stock(lenght_mm=3), "/stock/0/lenght_mm"),
        (document(kerf_mm=70, stock=[{"length_mm": 60, "price": "1", "quantity_available": None}]), "/kerf_mm"),
    ],
)
def test_a_fault_is_named_by_its_place(wrong: dict[str, Any], pointer: str) -> None:
    with pytest.raises(InvalidDocument) as refused:
        read_demand_document(wrong)
    assert pointer in pointers(refused.value)


def test_a_million_pieces_may_be_asked_for_and_one_more_may_not() -> None:
    assert read_demand_document(document(pieces=[[2238, 999_999], [640, 1]])).count == 1_000_000
    with pytest.raises(InvalidDocument, match="1000001 pieces in all; the maximum for one plan is 1000000"):
        read_demand_document(document(pieces=[[2238, 999_999], [640, 2]]))


def test_stock_without_a_number_of_bars_is_as_many_as_wanted() -> None:
    left_out = read_demand_document(document(stock=[{"length_mm": 6000, "price": "31.20"}]))
    assert left_out == read_demand_document(document())


def test_an_unknown_key_is_answered_with_the_nearest_known_one() -> None:
    with pytest.raises(InvalidDocument, match="did you mean length_mm"):
        read_demand_document(stock(lenght_mm=6000))


def test_every_fault_is_stated_at_once() -> None:
    with pytest.raises(InvalidDocument) as refused:
        read_demand_document({"kerf": 3, "pieces": [[0, 1], [5, 0]], "stock": [{"length_mm": 6000, "price": 3}]})
    wanted = {"/kerf", "/kerf_mm", "/pieces/0/0", "/pieces/1/1", "/stock/0/price"}
    assert wanted <= set(pointers(refused.value))


@pytest.mark.parametrize("text", ["", "[]", '{"kerf_mm": NaN}', "x" * 2_100_000, '{"pieces": [[1e400, 1]]}'])
def test_what_is_no_demand_is_refused(text: str) -> None:
    with pytest.raises(InvalidDocument):
        read_demand(text)


def test_a_hundred_thousand_lengths_are_refused_within_a_second() -> None:
    text = json.dumps(document(pieces=[[1 + place, 1] for place in range(100_000)]))
    begun = process_time()
    with pytest.raises(InvalidDocument):
        read_demand(text)
    assert process_time() - begun < 1
