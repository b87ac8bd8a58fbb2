"""Levelling books in print, reduced by rise and fall.

Sources: University of Science Malaysia, lecture sheet on levelling (book 1); a question-and-answer site's worked book with two
inverted staves (book 2); Punmia, Surveying I, example of the levelling chapter (book 3, data from memory).
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from fencing.set_out.level_book import LevelBook, reduce_book
from tests.checks.outside import Outside

USM = "USM civil engineering, levelling sheet JSSUAE1 (civil.eng.usm.my)"
QUES = "ques10.com, question 29304, inverted staff"
PUNMIA = "Punmia, Surveying I (data from memory), computed"
FIT = "documentine.com, ACET108 levelling example 2 (readings), computed"

# each set-up is one list: back, intermediates, fore
Setups = list[list[str]]


def book(setups: Setups, start: int, known: int | None = None) -> LevelBook:
    rows: list[dict[str, object]] = []
    for number, sights in enumerate(setups):
        back, *between, fore = map(Decimal, sights)
        if number:
            rows[-1]["backsight_m"] = back
        else:
            rows.append({"backsight_m": back, "level_mm": start})
        rows += [{"intermediate_m": reading} for reading in between]
        rows.append({"foresight_m": fore})
    for at, row in enumerate(rows):
        row["at_mm"] = at * 1000
    if known is not None:
        rows[-1]["level_mm"] = known
    return reduce_book(rows)


def levels(reduced: LevelBook) -> list[int]:
    return [row.level for row in reduced.rows]


def millimetres(metres: str) -> list[int]:
    return [int(Decimal(text) * 1000) for text in metres.split()]


USM_BOOK: Setups = [
    ["1.717", "1.432", "1.716"],
    ["2.918", "2.272", "0.953"],
    ["0.816", "3.005"],
    ["1.436", "1.391"],
    ["1.246", "1.353", "1.462", "0.628"],
]


def test_a_printed_book_over_five_set_ups(outside: Outside) -> None:
    reduced = book(USM_BOOK, 29230, known=29660)
    printed = "29.230 29.515 29.231 29.877 31.196 29.007 29.052 28.945 28.836 29.670"
    outside(
        "reduced levels", stage="levelling", source=USM, ours=levels(reduced), theirs=millimetres(printed), unit="mm"
    )
    outside(
        "sum of backsights", stage="levelling", source=USM, ours=reduced.sum_back, theirs=Decimal("8.133"), unit="m"
    )
    outside(
        "sum of foresights", stage="levelling", source=USM, ours=reduced.sum_fore, theirs=Decimal("7.693"), unit="m"
    )
    outside(
        "misclosure on the closing bench mark",
        stage="levelling",
        source=USM,
        ours=reduced.misclosure,
        theirs=10,
        unit="mm",
    )
    adjustments = [row.adjusted - row.level for row in reduced.rows]
    theirs = [0, -2, -2, -4, -4, -6, -8, -10, -10, -10]
    outside("misclosure spread by set-ups", stage="levelling", source=USM, ours=adjustments, theirs=theirs, unit="mm")
    assert reduced.checks


def test_a_printed_book_with_inverted_staves(outside: Outside) -> None:
    setups: Setups = [
        ["1.355", "1.605", "2.125", "0.685", "1.365"],
        ["2.015", "1.355", "-1.385", "0.685", "2.105"],
        ["1.685", "1.155", "1.105", "2.015"],
        ["1.085", "1.345", "1.355", "-2.015", "1.305"],
        ["1.655", "1.685", "1.455"],
    ]
    reduced = book(setups, 185205)
    printed = (
        "185.205 184.955 184.435 185.875 185.195 185.855 188.595 186.525 185.105 "
        "185.635 185.685 184.775 184.515 184.505 187.875 184.555 184.525 184.755"
    )
    outside(
        "all eighteen levels",
        stage="levelling",
        source=QUES,
        ours=levels(reduced),
        theirs=millimetres(printed),
        unit="mm",
    )
    sums = [reduced.sum_back, reduced.sum_fore, reduced.sum_rise, reduced.sum_fall]
    theirs = [Decimal(text) for text in ("7.795", "8.245", "9.020", "9.470")]
    outside("sums of back, fore, rise, fall", stage="levelling", source=QUES, ours=sums, theirs=theirs, unit="m")


PUNMIA_BOOK: Setups = [["2.228", "1.606", "0.988"], ["2.090", "2.864", "1.262"], ["0.602", "1.982"], ["1.044", "2.684"]]


def test_a_textbook_book_with_three_change_points(outside: Outside) -> None:
    reduced = book(PUNMIA_BOOK, 432384)
    printed = "432.384 433.006 433.624 432.850 434.452 433.072 431.432"
    outside(
        "levels of the textbook example",
        stage="levelling",
        source=PUNMIA,
        ours=levels(reduced),
        theirs=millimetres(printed),
        unit="mm",
    )


def test_no_rise_across_a_change_point_as_some_answers_in_print_take_it(outside: Outside) -> None:
    last = levels(book(PUNMIA_BOOK, 150250))[-1]
    outside("last level from 150.250", stage="levelling", source=PUNMIA, ours=last, theirs=149298, unit="mm")
    assert last != 149794  # what a rise taken between readings 3-4, 6-7 and 8-9 gives


def test_a_book_whose_readings_alone_are_in_print(outside: Outside) -> None:
    reduced = book([["1.400", "1.235", "1.870"], ["1.355", "3.340", "1.975"], ["0.585", "0.855"]], 50000)
    printed = "50.000 50.165 49.530 47.545 48.910 48.640"
    outside("levels", stage="levelling", source=FIT, ours=levels(reduced), theirs=millimetres(printed), unit="mm")


@pytest.mark.parametrize("setups", [USM_BOOK, PUNMIA_BOOK])
def test_the_arithmetic_check_of_a_printed_book_holds(setups: Setups) -> None:
    assert book(setups, 0).checks
