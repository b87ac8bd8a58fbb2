"""A levelling book reduced by rise and fall, and every way a book is refused. Published books are in tests/checks."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fencing.model.faults import InvalidDocument
from fencing.set_out.level_book import reduce_book


def codes(entries: object) -> list[tuple[str, str]]:
    with pytest.raises(InvalidDocument) as refusal:
        reduce_book(entries)
    return [(fault.pointer, fault.code) for fault in refusal.value.faults]


def test_a_point_lower_than_the_datum_reads_more_on_the_staff() -> None:
    book = reduce_book(
        [
            {"backsight_m": Decimal("1.500")},
            {"at_mm": 0, "intermediate_m": Decimal("1.750")},
            {"foresight_m": Decimal("1.000")},
        ]
    )
    assert [(station.at, station.level) for station in book.stations] == [(0, 1500 - 1750)]


def test_the_level_of_the_first_row_is_added_to_every_station() -> None:
    book = reduce_book([{"backsight_m": Decimal(1), "level_mm": 10_000}, {"at_mm": 0, "foresight_m": Decimal("0.4")}])
    assert book.stations[0].level == 10_000 + 600


def test_no_rise_is_taken_across_a_change_point() -> None:
    # set-up 1: 1.000 -> 2.000 falls 1 m; set-up 2 starts at 0.500 on that same point: 0.500 -> 0.700 falls 0.2 m
    book = reduce_book(
        [
            {"backsight_m": Decimal(1)},
            {"at_mm": 0, "foresight_m": Decimal(2), "backsight_m": Decimal("0.5")},
            {"at_mm": 9, "foresight_m": Decimal("0.7")},
        ]
    )
    assert [station.level for station in book.stations] == [-1000, -1200]
    assert book.setups == 2


def test_a_staff_held_upside_down_is_a_negative_reading() -> None:
    # line of sight at 1.5 m; the staff's foot touches a beam 2 m above it
    book = reduce_book(
        [{"backsight_m": Decimal("1.5")}, {"at_mm": 0, "intermediate_m": Decimal(-2)}, {"foresight_m": Decimal("1.5")}]
    )
    assert book.stations[0].level == 1500 + 2000


def test_half_a_millimetre_goes_up() -> None:
    book = reduce_book(
        [{"backsight_m": Decimal("1.0005")}, {"at_mm": 0, "intermediate_m": Decimal(1)}, {"foresight_m": Decimal(1)}]
    )
    assert book.stations[0].level == 1


def test_a_misclosure_is_spread_by_set_ups() -> None:
    # two set-ups, closing 4 mm too high on a known 0: 2 mm off the first set-up's points, 4 mm off the second's
    book = reduce_book(
        [
            {"backsight_m": Decimal(1)},
            {"at_mm": 0, "intermediate_m": Decimal("0.9")},
            {"at_mm": 50, "foresight_m": Decimal("0.8"), "backsight_m": Decimal(1)},
            {"at_mm": 90, "intermediate_m": Decimal(1)},
            {"foresight_m": Decimal("1.196"), "level_mm": 0},
        ]
    )
    assert book.misclosure == 200 - 196
    assert [station.level for station in book.stations] == [100 - 2, 200 - 2, 200 - 4]
    assert book.rows[-1].adjusted == 0


def test_a_misclosure_over_five_mm_times_the_root_of_the_set_ups_is_not_good() -> None:
    rows = [{"backsight_m": Decimal(1)}, {"at_mm": 0, "intermediate_m": Decimal(1)}]
    assert reduce_book([*rows, {"foresight_m": Decimal(1), "level_mm": -5}]).closes_well
    assert not reduce_book([*rows, {"foresight_m": Decimal(1), "level_mm": -6}]).closes_well


def test_a_gross_misclosure_is_refused_rather_than_spread() -> None:
    rows = [
        {"backsight_m": Decimal(1)},
        {"at_mm": 0, "intermediate_m": Decimal(1)},
        {"foresight_m": Decimal(1), "level_mm": 101},
    ]
    assert codes(rows) == [("/2/level_mm", "book.misclosure")]


def test_every_fault_is_named_at_once() -> None:
    rows = [
        {"foresight_m": Decimal(1)},
        {"at_mm": 5, "intermediate_m": "1,2"},
        {"at_mm": 4, "intermediate_m": Decimal(1), "backsight_m": Decimal(1)},
        {"at_mm": 3, "iner": Decimal(1)},
        "a row",
        {"at_mm": 1.5, "intermediate_m": Decimal(1)},
        {"intermediate_m": Decimal("NaN"), "level_mm": 3},
        {"backsight_m": True},
    ]
    assert codes(rows) == [
        ("/1/intermediate_m", "type"),
        ("/3/iner", "key.unknown"),
        ("/4", "type"),
        ("/5/at_mm", "number"),
        ("/6/intermediate_m", "number"),
        ("/7/backsight_m", "type"),
        ("/0", "book.first"),
        ("/2", "book.row"),
        ("/2/at_mm", "order"),
        ("/3/at_mm", "order"),
    ]


def test_a_misspelt_key_is_answered_with_the_nearest_one() -> None:
    with pytest.raises(InvalidDocument, match="did you mean intermediate_m"):
        reduce_book([{"backsight_m": 1}, {"at_mm": 0, "intermediat_m": 1}, {"foresight_m": 1}])


def test_millimetres_on_the_staff_are_asked_about() -> None:
    with pytest.raises(InvalidDocument, match="is this in millimetres") as refusal:
        reduce_book([{"backsight_m": 1452}, {"at_mm": 0, "foresight_m": 1}])
    assert refusal.value.faults[0].code == "unit"


def test_a_book_must_end_in_a_foresight() -> None:
    assert codes([{"backsight_m": 1}, {"at_mm": 0, "intermediate_m": 1}]) == [("/1", "book.last")]


def test_a_book_without_a_station_is_refused() -> None:
    assert codes([{"backsight_m": 1}, {"foresight_m": 1}]) == [("", "book.stations")]


def test_a_known_level_in_the_middle_is_refused() -> None:
    assert codes([{"backsight_m": 1}, {"at_mm": 0, "intermediate_m": 1, "level_mm": 3}, {"foresight_m": 1}]) == [
        ("/1/level_mm", "book.known")
    ]


@pytest.mark.parametrize(
    "entries", [None, "book", [], [{"backsight_m": 1}], [{"backsight_m": 1}] * 2001, {"backsight_m": 1}]
)
def test_what_is_not_a_list_of_rows_is_refused(entries: object) -> None:
    assert codes(entries) == [("", "book.rows")]


readings = st.decimals(min_value=-5, max_value=5, places=3)


@given(st.lists(st.tuples(readings, st.one_of(st.none(), readings)), min_size=1, max_size=20), readings, readings)
def test_the_arithmetic_check_always_holds(
    between: list[tuple[Decimal, Decimal | None]], first: Decimal, last: Decimal
) -> None:
    rows: list[dict[str, object]] = [{"backsight_m": first}]
    for number, (reading, back) in enumerate(between):
        sights = {"intermediate_m": reading} if back is None else {"foresight_m": reading, "backsight_m": back}
        rows.append({"at_mm": number, **sights})
    book = reduce_book([*rows, {"foresight_m": last}])
    assert book.checks
    assert len(book.stations) == len(between)


@given(st.lists(readings, min_size=2, max_size=20), st.integers(-9000, 9000))
def test_moving_the_datum_moves_every_station_alike(seen: list[Decimal], lift: int) -> None:
    rows: list[dict[str, object]] = [
        {"backsight_m": 1},
        *({"at_mm": at, "intermediate_m": reading} for at, reading in enumerate(seen)),
        {"foresight_m": 1},
    ]
    lifted = [{**rows[0], "level_mm": lift}, *rows[1:]]
    assert [s.level for s in reduce_book(lifted).stations] == [s.level + lift for s in reduce_book(rows).stations]
