"""Price rules: dated lines become the values that pricing asks."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from catalogue.rules.codes import gtin14, is_gtin, sale_unit
from catalogue.rules.digging import DigRate
from catalogue.rules.price_bands import bands_fault, format_bands, parsed, read_bands
from catalogue.rules.price_rule_lines import Due, RuleLine, rule_faults
from catalogue.rules.price_rules import Markup, PriceRules, read_rules, standing
from fencing.buying.suppliers import find_amount
from fencing.model.faults import InvalidDocument
from shared.common.money import Rounding, RoundingRemainder, TaxRoundingLevel

JAN, JUL = date(2026, 1, 1), date(2026, 7, 1)


def line(kind: str, key: str, amount: str | None = None, choice: str = "", begins: date = JAN) -> RuleLine:
    return RuleLine(kind, key, None if amount is None else Decimal(amount), choice, "", begins)


def rules(*lines: RuleLine, on: date = JUL, supplied: date | None = None) -> PriceRules:
    return read_rules(lines, currency="EUR", on=on, supplied=supplied, tax_at=TaxRoundingLevel.LINE)


def test_a_rate_is_the_one_that_stood_on_the_day() -> None:
    lines = [line("labour", "dig", "30"), line("labour", "dig", "34", begins=JUL)]
    assert rules(*lines, on=date(2026, 6, 30)).labour_rate("dig") == 30
    assert rules(*lines, on=JUL).labour_rate("dig") == 34


def test_a_line_that_has_ended_gives_way_to_the_one_before_it() -> None:
    always = line("labour", "dig", "30")
    week = RuleLine("labour", "dig", Decimal(25), "", "", JUL, date(2026, 7, 7))
    assert standing([always, week], JUL)["labour", "dig"].amount == 25
    assert standing([always, week], date(2026, 7, 8))["labour", "dig"].amount == 30


def test_tax_is_that_of_the_day_of_supply_and_not_of_the_day_of_pricing() -> None:
    lines = [
        line("tax", "standard", "10", "S"),
        line("tax", "standard", "12", "S", JUL),
        line("tax_code_for", "", None, "standard"),
    ]
    assert rules(*lines, on=JAN).tax().rate == 10
    assert rules(*lines, on=JAN, supplied=JUL).tax("labour").rate == 12


def test_before_the_first_rate_there_is_no_tax_to_reckon() -> None:
    early = rules(line("tax", "standard", "10", "S"), line("tax_code_for", "", None, "standard"), on=date(2025, 12, 31))
    with pytest.raises(InvalidDocument, match="no tax code"):
        early.tax()


def test_a_soil_has_its_own_digging_rate_or_none() -> None:
    both = rules(line("labour", "dig", "30"), line("labour", "dig.rock", "90"))
    assert (both.dig_rate("rock"), both.dig_rate("")) == (DigRate(Decimal(90)), DigRate(Decimal(30)))
    assert both.dig_rate("clay") is None


def test_digging_says_how_deep_it_goes_and_what_more_costs() -> None:
    found = rules(line("labour", "dig.Rock", "90", "700"), line("labour", "dig_deeper.rock", "18"))
    assert found.dig_rate("ROCK") == DigRate(Decimal(90), 700, Decimal(18))


def test_the_words_of_a_measure_are_those_of_the_rates() -> None:
    found = rules(
        line("labour", "dig", "30"),
        line("labour", "dig.Red Clay", "34"),
        line("labour", "remove", "9"),
        line("labour", "remove.brick", "40"),
        line("labour", "remove.asbestos", None, "hazardous"),
        line("disposal", "Timber paling", "5"),
        line("disposal", "spoil", "38"),
    )
    assert found.words.soils == ("red clay",)
    assert found.words.old_fences == ("asbestos", "brick", "timber paling")
    assert found.words.hazardous == {"asbestos"}


def test_a_later_line_counts_however_its_word_is_spelled() -> None:
    found = rules(line("labour", "dig.clay", "30"), line("labour", "dig.Clay", "34", begins=JUL), on=JUL)
    assert found.dig_rate("clay") == DigRate(Decimal(34))


@pytest.mark.parametrize(("height", "rate"), [("1200", 20), ("1201", 24), ("1800", 24), ("2400", 24)])
def test_erecting_goes_by_the_least_height_that_is_not_below(height: str, rate: int) -> None:
    bands = rules(line("labour", "erect.1200", "20"), line("labour", "erect.1800", "24"))
    assert bands.labour_rate("erect", height) == rate


def test_above_every_height_the_general_rate_holds_where_there_is_one() -> None:
    assert rules(line("labour", "erect.1200", "20"), line("labour", "erect", "40")).labour_rate("erect", "1500") == 40


def test_the_markup_of_a_role_comes_before_its_family_and_its_category() -> None:
    lines = [
        line("markup", "materials", "20", "markup"),
        line("markup", "cap", "30", "markup"),
        line("markup", "cap.pair", "40", "markup"),
    ]
    found = rules(*lines)
    percents = [found.markup("materials", role).percent for role in ("cap.pair", "cap.square", "rail")]
    assert percents == [40, 30, 20]


def test_a_margin_of_20_percent_is_a_markup_of_25() -> None:
    # 80 / (1 - 1/5) = 100 = 80 x 1.25
    assert (
        Markup(Decimal(20), of_price=True).price(Decimal(80)) == Markup(Decimal(25)).price(Decimal(80)) == Fraction(100)
    )


def test_settings_and_instalments_are_read() -> None:
    found = rules(
        line("setting", "minimum_job_charge", "450"),
        line("setting", "rounding_step", "5"),
        line("setting", "rounding", None, "down"),
        line("setting", "rounding_difference", None, "last"),
        line("setting", "tax_rounding", None, "half_down"),
        line("setting", "tax_line_digits", "3"),
        line("payment", "1", "30", "acceptance"),
        line("payment", "2", "70", "completion"),
        line("account", "sales", None, "4000"),
        line("account", "labour", None, "4100"),
    )
    assert (found.minimum_job_charge, found.rounding_step, found.rounding) == (Decimal(450), Decimal(5), Rounding.DOWN)
    assert (found.rounding_difference, found.tax_rounding.rounding, found.tax_rounding.line_digits) == (
        RoundingRemainder.LAST,
        Rounding.HALF_DOWN,
        3,
    )
    assert [(part.percent, part.due) for part in found.instalments] == [
        (Decimal(30), Due.ACCEPTANCE),
        (Decimal(70), Due.COMPLETION),
    ]
    assert (found.account("labour"), found.account("materials", "rail")) == ("4100", "4000")


def test_instalments_that_do_not_add_up_to_the_whole_are_refused() -> None:
    with pytest.raises(InvalidDocument, match="add up to 90 %"):
        rules(line("payment", "1", "30", "acceptance"), line("payment", "2", "60", "completion"))


@pytest.mark.parametrize(
    ("kind", "key", "amount", "choice", "fields"),
    [
        ("markup", "materials", "-1", "markup", {"value"}),
        ("markup", "materials", "100", "margin", {"value"}),
        ("markup", "materials", "100", "", {"option"}),
        ("labour", "dance", "10", "", {"applies_to"}),
        ("labour", "erect.high", "10", "", {"applies_to"}),
        ("labour", "", "10", "", {"applies_to"}),
        ("labour", "dig", None, "", {"value"}),
        ("labour", "dig", "30", "deep", {"option"}),
        ("labour", "dig.clay", "30", "20", {"option"}),
        ("labour", "dig_deeper.clay", "3", "700", {"option"}),
        ("labour", "remove.asbestos", "30", "hazardous", {"value"}),
        ("labour", "remove.asbestos", None, "", {"value"}),
        ("labour", "remove.asbestos", "30", "dangerous", {"option"}),
        ("labour", "remove", None, "hazardous", {"option"}),
        ("factor", "diameter", "1.2", "", {"applies_to"}),
        ("factor", "diameter.wide", "1.2", "", {"applies_to"}),
        ("factor", "depth", "1.2", "", {"applies_to"}),
        ("factor", "bulking", "0", "", {"value"}),
        ("factor", "bulking", None, "", {"value"}),
        ("factor", "bulking.clay", "1.3", "loose", {"option"}),
        ("tax", "standard", "0", "S", {"value"}),
        ("tax", "none", "5", "O", {"value"}),
        ("tax", "standard", "5", "Q", {"option"}),
        ("tax_code_for", "", None, "", {"option"}),
        ("payment", "1", "101", "acceptance", {"value"}),
        ("payment", "1", "10", "someday", {"option"}),
        ("setting", "colour", "1", "", {"applies_to"}),
        ("setting", "rounding", None, "half_even", {"option"}),
        ("discount", "trade", "100", "", {"value"}),
        ("nonsense", "a", "1", "", {"kind"}),
    ],
)
def test_a_line_that_means_nothing_is_refused_by_field(
    kind: str, key: str, amount: str | None, choice: str, fields: set[str]
) -> None:
    assert {field for field, _ in rule_faults(kind, key, None if amount is None else Decimal(amount), choice)} >= fields


def test_bands_are_written_and_read_back_the_same() -> None:
    bands = [["10", "4.50"], ["50", "4.10"]]
    assert parsed(format_bands(bands)) == bands
    assert find_amount(read_bands(bands), Decimal(9), Decimal("5.00")) == Decimal("5.00")
    assert find_amount(read_bands(bands), Decimal(50), Decimal("5.00")) == Decimal("4.10")


@pytest.mark.parametrize(
    "value",
    [
        None,
        [["10"]],
        [["10", "x"]],
        [["10", "-1"]],
        [["50", "1"], ["10", "2"]],
        [["10", "1"], ["10", "2"]],
        [[10, 2]],
        [["1", "NaN"]],
        [["1", "1e3"]],
        [["1", "0.00001"]],
        [[str(start), "1"] for start in range(1, 23)],
    ],
)
def test_bands_that_mean_nothing_are_refused(value: object) -> None:
    assert bands_fault(value, from_zero=False)


def test_delivery_bands_begin_at_nothing() -> None:
    assert bands_fault([["100", "5"]], from_zero=True)
    assert bands_fault([["0", "80"], ["100", "5"]], from_zero=True) is None


@pytest.mark.parametrize("good", ["05704066204093", "7300010000001", "4006381333931", "96385074", "036000291452"])
def test_a_published_article_number_passes_and_no_single_wrong_digit_does(good: str) -> None:
    """Vectors of the GS1 check digit, modulo 10 with weights 3 and 1 from the right."""
    assert is_gtin(good)
    for place, digit in enumerate(good):
        for other in "0123456789":
            assert is_gtin(good[:place] + other + good[place + 1 :]) == (other == digit)


@pytest.mark.parametrize("good", ["7300010000001", "4006381333931", "96385074"])
def test_neighbouring_digits_swapped_are_found_unless_they_differ_by_five(good: str) -> None:
    for place in range(len(good) - 1):
        left, right = good[place], good[place + 1]
        swapped = good[:place] + right + left + good[place + 2 :]
        assert is_gtin(swapped) == (abs(int(left) - int(right)) in {0, 5})


def test_article_numbers_of_two_lengths_are_compared_with_14_digits() -> None:
    assert gtin14("96385074") == gtin14("0000096385074")


@pytest.mark.parametrize("text", ["", "9638507", "9638507X", "963850744", "٩٦٣٨٥٠٧٤"])
def test_what_is_no_article_number_is_refused(text: str) -> None:
    assert not is_gtin(text)


def test_only_published_unit_codes_are_taken() -> None:
    assert [sale_unit(code) for code in ("C62", "H87", "mtr", "LM", "MTQ", "XBG")] == [
        "C62",
        "H87",
        "MTR",
        "MTR",
        "MTQ",
        "XBG",
    ]
    assert [sale_unit(code) for code in ("BG", "PK", "BE", "PA", "BX", "RO", "ST", "NPR", "PCE", "")] == [None] * 10
