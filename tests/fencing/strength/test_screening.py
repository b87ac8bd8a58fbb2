"""The screening of whole jobs: loads by hand, the three outcomes, free ends, lattice, taper, retrofits, changes, curves."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from lxml import etree

from fencing.drawing.curve_chart import draw_chart
from fencing.model.measure import (
    Form,
    Gate,
    GateKind,
    Measure,
    Retrofit,
    Run,
    Station,
    StrengthRequest,
    Taper,
    Terminal,
)
from fencing.model.system import Profile, Steel, System
from fencing.quantities.take_off import take_off
from fencing.strength.changed_job import apply_change
from fencing.strength.curves import calculate_chart
from fencing.strength.document import describe_change, interpret, write_screening
from fencing.strength.screening import OUTCOME_TEXTS, Screening, ScreeningOutcome, list_screening_notices, screen
from fencing.strength.suggested_changes import price_changes, suggest_changes
from fencing.strength.wind import build_eccentric_zones, calculate_mean_pressure_pa
from tests.fencing.drawing.jobs import run, system

STEEL = Steel(
    Decimal(350),
    Decimal("0.9"),
    Profile(Decimal(60), Decimal("1.6"), Decimal(34), Decimal(8)),
    Profile(Decimal(60), Decimal(2)),
)
FLAT = replace(system(), ground_gap=0, steel=STEEL)
DEEP = replace(FLAT, hole=replace(FLAT.hole, depth=2050), channel=replace(FLAT.channel, embedment_min=2000),
               square=replace(FLAT.square, embedment_min=2000))  # fmt: skip


def screened(
    *runs: Run, built: System = FLAT, retrofits: tuple[Retrofit, ...] = (), **inputs: str | int | bool
) -> Screening:
    asked = {"pressure_kpa": "0.60", "end_factor": "1", "soil_class": "clay", **inputs}
    request = StrengthRequest("given_pressure", {key: value for key, value in asked.items() if value != ""})
    return screen(take_off(Measure("job", "drawn", runs, retrofits, request), built))


def moments(screening: Screening) -> list[float]:
    return [post.load.moment_nm for post in screening.posts]


WHOLE = 600 * 2.4 * 1.8**2 / 2  # 0.6 kPa on a bay of 2.4 m, 1.8 m high, from the ground: 2332.8 N m


def test_a_post_carries_half_of_each_neighbouring_bay() -> None:
    assert moments(screened(run("A", 7200))) == pytest.approx([WHOLE / 2, WHOLE, WHOLE, WHOLE / 2])


def test_a_free_end_takes_double_over_two_heights() -> None:
    # two heights are 3.6 m: the bays of the first line post lie within them, half of the next post's
    found = moments(screened(run("A", 14400), end_factor="2"))
    assert found[:4] == pytest.approx([WHOLE, 2 * WHOLE, WHOLE, WHOLE])


def test_a_wall_leaves_no_free_end_and_a_corner_a_quarter_less() -> None:
    walled = screened(run("A", 14400, start=Terminal.WALL, end=Terminal.JOIN), end_factor="2")
    assert moments(walled)[1] == pytest.approx(WHOLE)
    second = run("B", 14400, start=Terminal.CORNER, turn=Fraction(90))
    turned = screened(run("A", 14400, end=Terminal.CORNER), second, end_factor="2")
    by_run = [post.load.moment_nm for post in turned.posts if post.case.run == "B"]
    assert by_run[:2] == pytest.approx([0.75 * WHOLE, 1.5 * WHOLE])


def test_a_corner_is_screened_once_in_each_of_its_runs() -> None:
    both = screened(run("A", 4800, end=Terminal.CORNER), run("B", 4800, start=Terminal.CORNER, turn=Fraction(90)))
    assert [post.case.run for post in both.posts if post.case.post == "A-P3"] == ["A", "B"]


def test_lattice_takes_its_share_and_counts_as_solid_where_its_porosity_is_unknown() -> None:
    solid = screened(run("A", 7200, lattice=320))
    open_top = screened(run("A", 7200, lattice=320), built=replace(FLAT, lattice_open_area_ratio=Decimal("0.5")))
    assert moments(solid)[1] == pytest.approx(WHOLE)
    share = 600 * 2.4 * (1.48**2 + 0.75 * (1.8**2 - 1.48**2)) / 2
    assert moments(open_top)[1] == pytest.approx(share)


def test_a_taper_eases_the_posts_of_its_end() -> None:
    found = moments(screened(run("A", 9600, taper=Taper("end", 2, 900))))
    assert found[-1] < found[-2] < found[-3] * 1.0000001
    assert found[0] == pytest.approx(WHOLE / 2)


def test_gate_posts_carry_half_the_closed_gate() -> None:
    gate = Gate("A-G1", 2430, 1000, GateKind.SINGLE, 1800)
    posts = screened(run("A", 7200, gates=(gate,))).posts
    left = next(post for post in posts if post.case.at == 2400)
    width = sum(side.width_m for side in left.case.sides)
    assert width == pytest.approx((2.4 + 1.06) / 2)  # the opening and half a face at each side


def test_the_three_outcomes_and_their_words() -> None:
    within = screened(run("A", 7200), built=DEEP, pressure_kpa="0.20", bearing_doubled=True)
    assert within.outcome is ScreeningOutcome.WITHIN
    over = screened(run("A", 7200))
    assert over.outcome is ScreeningOutcome.OVER
    outside = screened(run("A", 7200), built=replace(DEEP, steel=None), pressure_kpa="0.20", bearing_doubled=True)
    assert outside.outcome is ScreeningOutcome.OUTSIDE
    assert OUTCOME_TEXTS[ScreeningOutcome.OUTSIDE] == "outside the method: ask an engineer"
    assert not any("safe" in words for words in OUTCOME_TEXTS.values())


def test_ground_without_a_presumptive_value_is_outside_the_method() -> None:
    for soil in ("soft", "fill", ""):
        assert (
            screened(run("A", 7200), built=DEEP, soil_class=soil, pressure_kpa="0.20").outcome
            is ScreeningOutcome.OUTSIDE
        )


def test_the_soil_measured_for_the_run_serves_where_none_is_asked() -> None:
    post = screened(replace(run("A", 7200), soil="sand"), soil_class="").posts[1]
    assert post.needed == screened(run("A", 7200), soil_class="sand").posts[1].needed


def test_the_second_opinion_counts_when_it_asks_for_more() -> None:
    easy = screened(
        run("A", 7200), built=DEEP, pressure_kpa="0.20", bearing_doubled=True, undrained_kpa="10", safety_factor="3"
    )
    post = easy.posts[1]
    assert post.second_needed is not None
    assert (post.outcome is ScreeningOutcome.OVER) == (post.second_needed > 2000)


def test_a_retrofit_is_a_higher_fence_on_old_footings() -> None:
    old = Retrofit("R1", (2400, 2400), 320, existing_height=1500)
    post = screened(retrofits=(old,), old_embedment_mm=600, old_diameter_mm=250).posts[1]
    assert post.before_nm is not None
    assert post.load.moment_nm / post.before_nm == pytest.approx((1.82 / 1.5) ** 2)
    assert (post.case.embedment, post.outcome) == (600, ScreeningOutcome.OVER)


def test_old_footings_nobody_measured_are_outside_the_method() -> None:
    found = screened(retrofits=(Retrofit("R1", (2400,), 320, existing_height=900),), pressure_kpa="0.20")
    assert found.outcome is ScreeningOutcome.OUTSIDE
    unknown = screened(retrofits=(Retrofit("R1", (2400,), 320),))
    assert (unknown.unscreened, unknown.outcome) == (("R1",), ScreeningOutcome.OUTSIDE)


def test_nothing_over_needs_no_remedy() -> None:
    assert suggest_changes(screened(run("A", 7200), built=DEEP, pressure_kpa="0.20", bearing_doubled=True)) == ()


def test_the_deeper_hole_proposed_is_deep_enough() -> None:
    over = screened(run("A", 7200))
    depth = next(change for change in suggest_changes(over) if change.kind == "hole_depth")
    assert depth.resolves
    job = apply_change(over.takeoff.measure, over.takeoff.system, depth)
    assert job is not None
    again = screen(take_off(*job))
    assert again.outcome is ScreeningOutcome.WITHIN
    assert depth.value - 50 - 10 < max(post.needed or 0 for post in again.posts) <= depth.value - 50


def holed(depth: int) -> System:
    """The system with holes of a depth [mm] and posts 50 mm less in the ground."""
    posts = {name: replace(getattr(FLAT, name), embedment_min=depth - 50) for name in ("channel", "square")}
    return replace(FLAT, hole=replace(FLAT.hole, depth=depth), **posts)


def after(over: Screening, kind: str, **more: int) -> Screening:
    """The job with the change of a kind applied, ``more`` millimetres more of its value."""
    change = next(change for change in suggest_changes(over) if change.kind == kind)
    changed = apply_change(
        over.takeoff.measure, over.takeoff.system, replace(change, value=change.value + more.get("value", 0))
    )
    assert changed is not None
    return screen(take_off(*changed))


@pytest.mark.parametrize(
    ("pressure", "end", "depth"), [("0.20", "2", 900), ("0.20", "3", 900), ("0.45", "2", 1200), ("0.20", "1", 900)]
)
def test_the_pitch_proposed_is_enough_and_ten_more_is_not(pressure: str, end: str, depth: int) -> None:
    # where the windy end is a part of a bay, closer posts stand deeper in it
    over = screened(run("A", 4800, height=1000 if end != "1" else 1500), built=holed(depth), pressure_kpa=pressure,
                    end_factor=end, bearing_doubled=True)  # fmt: skip
    pitch = next(change for change in suggest_changes(over) if change.kind == "pitch")
    assert pitch.resolves
    assert after(over, "pitch").outcome is ScreeningOutcome.WITHIN
    assert after(over, "pitch", value=10).outcome is ScreeningOutcome.OVER


def test_a_shorter_pitch_and_a_deeper_hole_mend_together_what_neither_does_alone() -> None:
    over = screened(run("A", 9600), built=holed(900), pressure_kpa="1.20", bearing_doubled=True, soil_class="gravel")
    found = {change.kind: change for change in suggest_changes(over)}
    both = found["pitch_and_depth"]
    assert (found["hole_depth"].resolves, both.resolves) == (False, True)
    assert both.depth is not None
    assert f"a pitch of no more than {both.value} mm and holes {both.depth} mm deep" in both.text
    assert after(over, "pitch_and_depth").outcome is ScreeningOutcome.WITHIN
    assert after(over, "pitch_and_depth", value=50).outcome is ScreeningOutcome.OVER
    assert list(found).index("pitch_and_depth") == list(found).index("hole_depth") + 1


def test_both_are_not_proposed_where_one_is_enough() -> None:
    assert "pitch_and_depth" not in {change.kind for change in suggest_changes(screened(run("A", 7200)))}


def test_a_remedy_names_its_posts_and_what_keeps_it_from_being_built() -> None:
    stock = {name: replace(getattr(FLAT, name), stock=(1860, 2460)) for name in ("channel", "square")}
    over = screened(run("A", 7200), built=replace(FLAT, **stock), pressure_kpa="0.90")
    depth = next(change for change in suggest_changes(over) if change.kind == "hole_depth")
    assert depth.posts == ("A-P1", "A-P2", "A-P3", "A-P4")
    assert "the longest stock is" in depth.blocked_by
    assert "(can't be built: " in describe_change(depth)
    assert {item.kind: item.cost for item in price_changes(over, lambda *_: Decimal(7))}["hole_depth"] is None


def test_no_hole_beyond_the_formula_s_own_depth_is_proposed() -> None:
    over = screened(run("A", 7200), pressure_kpa="6.00")
    assert max(post.needed or 0 for post in over.posts) > 3658
    assert "hole_depth" not in {change.kind for change in suggest_changes(over)}


def test_posts_of_unknown_steel_still_state_the_depth_that_they_need() -> None:
    found = suggest_changes(screened(run("A", 7200), built=replace(FLAT, steel=None)))
    kinds = {change.kind for change in found}
    assert "hole_depth" in kinds
    assert "section" not in kinds


def test_a_heavier_post_alone_mends_only_where_footings_stand_and_one_kind_is_over() -> None:
    strong = screened(run("A", 9600), built=DEEP, pressure_kpa="0.90", soil_class="rock", bearing_doubled=True)
    sections = [change for change in suggest_changes(strong) if change.kind == "section"]
    assert [(change.posts, change.resolves) for change in sections] == [(("A-P2", "A-P3", "A-P4"), True)]
    weak = screened(run("A", 9600), pressure_kpa="0.90")
    assert [change.resolves for change in suggest_changes(weak) if change.kind == "section"] == [False]


def test_a_lower_run_takes_its_gate_down_with_it() -> None:
    gate, tall = Gate("A-G1", 2430, 1000, GateKind.SINGLE, 1800), Gate("A-G2", 5000, 1000, GateKind.SINGLE, 1500)
    over = screened(run("A", 9600, gates=(gate, tall)), built=holed(900), pressure_kpa="0.30", bearing_doubled=True)
    height = next(change for change in suggest_changes(over) if change.kind == "height")
    job = apply_change(over.takeoff.measure, over.takeoff.system, height)
    assert job is not None
    (lower,) = job[0].runs
    assert (lower.height, [item.height for item in lower.gates]) == (height.value, [height.value, 1500])


def test_what_is_over_is_said_with_its_numbers() -> None:
    reasons = screened(run("A", 7200), pressure_kpa="2.00").posts[1].reasons
    assert reasons[0].startswith("moment at the ground 7.78 kN.m is over the section's ")
    assert re.fullmatch(r"embedment \d+ mm is less than the \d+ mm needed", reasons[1])


def test_the_modulus_asked_for_is_moment_over_stress() -> None:
    found = suggest_changes(screened(run("A", 7200), pressure_kpa="2.00"))
    modulus = next(change.value for change in found if change.kind == "section" and "line post" in change.text)
    assert modulus == pytest.approx(WHOLE / 0.6 * 2 * 1000 / (0.9 * 350), abs=1)


def test_a_remedy_is_priced_by_the_whole_job() -> None:
    over = screened(run("A", 7200))
    costs = {change.kind: change.cost for change in price_changes(over, lambda _, built: Decimal(built.hole.depth))}
    assert costs["hole_depth"] is not None
    assert costs["hole_depth"] == next(r.value for r in suggest_changes(over) if r.kind == "hole_depth") - 650


def test_a_notice_stands_at_every_post_that_is_over_once() -> None:
    both = screened(run("A", 4800, end=Terminal.CORNER), run("B", 4800, start=Terminal.CORNER, turn=Fraction(90)))
    places = [notice.element for notice in list_screening_notices(both)]
    assert sorted(places) == sorted(set(places))
    assert "A-P3" in places


def test_the_document_is_plain_json_and_says_what_it_is_not() -> None:
    document = write_screening(screened(run("A", 7200), end_factor="2"))
    assert json.loads(json.dumps(document)) == document
    assert "does not replace a licensed engineer" in str(document["disclaimer"]).replace("and does", "does")
    post = document["posts"][1]
    assert (post["moment_knm"], post["tributary_mm"]) == (f"{2 * WHOLE / 1000:.2f}", 2400)


def test_a_measure_that_asks_nothing_is_not_screened() -> None:
    with pytest.raises(ValueError, match="asks for no strength screening"):
        screen(take_off(Measure("job", "drawn", (run("A", 7200),)), FLAT))


@pytest.mark.parametrize(
    "request_",
    [
        StrengthRequest("as-nzs-1170.2", {"wind_region": "C", "return_period_years": 100, "terrain_category": "3"}),
        StrengthRequest("en-1991-1-4", {"speed_m_s": "24", "terrain_category": "II"}),
        StrengthRequest("asce-7", {"speed_m_s": "45", "exposure_category": "B"}),
    ],
)
def test_every_published_method_loads_a_free_end_more_than_the_middle(request_: StrengthRequest) -> None:
    posts = screen(take_off(Measure("job", "drawn", (run("A", 28800, form=Form.LEVEL),)), FLAT), request_).posts
    assert posts[1].load.moment_nm > posts[6].load.moment_nm > 0
    assert posts[1].load.moment_nm == pytest.approx(posts[-2].load.moment_nm)


def test_allowed_height_never_rises_with_pitch() -> None:
    for curve in calculate_chart(
        screened(run("A", 14400), built=DEEP, pressure_kpa="0.20", bearing_doubled=True, end_factor="2")
    ).curves:
        heights = [height or 0 for height in curve.allowed]
        assert heights == sorted(heights, reverse=True)
        assert heights[0] > heights[-1]


def test_the_windy_end_allows_less_than_the_middle_and_a_calm_one_as_much() -> None:
    for factor, lower in (("2", True), ("1", False)):
        made = calculate_chart(
            screened(run("A", 14400), built=DEEP, pressure_kpa="0.60", bearing_doubled=True, end_factor=factor)
        )
        middle, end = (dict(zip(curve.pitches, curve.allowed, strict=True))[2400] for curve in made.curves)
        assert middle is not None
        assert end is not None
        assert (end < middle) == lower


def test_a_height_on_the_curve_is_within_and_one_above_is_over() -> None:
    made = screened(run("A", 24000), built=DEEP, pressure_kpa="0.60", bearing_doubled=True)
    middle = calculate_chart(made).curves[0]
    allowed = dict(zip(middle.pitches, middle.allowed, strict=True))[2400]
    assert allowed is not None
    for height, outcome in ((allowed, ScreeningOutcome.WITHIN), (allowed + 1, ScreeningOutcome.OVER)):
        posts = screened(run("A", 24000, height=height), built=DEEP, pressure_kpa="0.60", bearing_doubled=True).posts
        assert posts[5].outcome is outcome


def test_the_drawing_is_well_formed_and_tells_its_curves_apart_without_colour() -> None:
    made = calculate_chart(
        screened(run("A", 14400), built=DEEP, pressure_kpa="0.20", bearing_doubled=True, end_factor="2")
    )
    drawing = draw_chart(made)
    assert drawing == draw_chart(made)
    curves = [tag for tag in re.findall("<path[^>]*>", drawing) if "fill=" in tag]
    assert ["stroke-dasharray" in tag for tag in curves] == [
        False,
        True,
        False,
        True,
    ]  # each curve, then each in the key
    assert etree.fromstring(drawing.encode()).tag == "{http://www.w3.org/2000/svg}svg"


def test_a_drawing_where_nothing_is_allowed_says_so() -> None:
    assert "no height from 300 mm up" in draw_chart(calculate_chart(screened(run("A", 14400), pressure_kpa="6.00")))


def test_the_meaning_says_by_what_and_how_far_and_what_it_is_not() -> None:
    words = interpret(screened(run("A", 7200), pressure_kpa="2.00"))
    assert words[0] == "4 of 4 posts are over: 4 by the steel, 4 by the pole formula."
    assert any("written for single poles and signs" in text for text in words)
    assert any("For comparison only: in firm clay of 40 kPa" in text for text in words)
    assert "it is not a forecast that the fence falls, and not a formality either" in words[-1]
    assert not any(re.search(r"\bsafe\b", text) for text in words)


def test_the_second_method_stands_beside_the_first_where_the_soil_is_stated() -> None:
    short = interpret(screened(run("A", 7200), undrained_kpa="20"))
    assert any("so both call it short" in text for text in short)
    firm = interpret(screened(run("A", 7200), undrained_kpa="400"))
    assert any("the two differ: an engineer can say which fits this ground" in text for text in firm)
    assert not any("For comparison only" in text for text in (*short, *firm))


@pytest.mark.parametrize(("soil", "words"), [("sand", "loose sand of 30"), ("gravel", "gravel of 34"), ("rock", "")])
def test_a_typical_soil_is_shown_for_comparison_and_never_counted(soil: str, words: str) -> None:
    over = screened(run("A", 7200), soil_class=soil, pressure_kpa="3.00")
    compared = [text for text in interpret(over) if text.startswith("For comparison only")]
    assert [words in text for text in compared] == ([True] if words else [])
    assert all(post.second_needed is None for post in over.posts)


def test_within_and_outside_are_explained_too() -> None:
    (within,) = interpret(screened(run("A", 7200), built=DEEP, pressure_kpa="0.20", bearing_doubled=True))
    assert within.startswith("Within the limits means")
    (outside,) = interpret(
        screened(run("A", 7200), built=replace(DEEP, steel=None), pressure_kpa="0.20", bearing_doubled=True)
    )
    assert outside.startswith("Outside the method means")
    one = screened(run("A", 7200, height=1800), built=DEEP, pressure_kpa="0.60", bearing_doubled=True, end_factor="2")
    assert interpret(one)[0].split(":")[0].endswith(("is over", "are over"))


def test_the_comparison_is_the_second_method_s_own_answer() -> None:
    over = screened(run("A", 7200))
    stated = screened(run("A", 7200), undrained_kpa="40")
    deepest = max(post.second_needed or 0 for post in stated.posts)
    assert any(f"would ask for {deepest} mm at A-P2" in text for text in interpret(over))


def test_ground_below_the_datum_changes_no_load_and_no_height() -> None:
    low = (Station(0, -700), Station(7200, -700))
    here, there = screened(run("A", 7200)), screened(run("A", 7200, levels=low))
    assert [post.case for post in there.posts] == [post.case for post in here.posts]
    assert [post.case.height for post in here.posts] == [1800] * 4


def test_a_standing_fence_too_weak_for_its_lattice_is_stated_the_height_it_takes() -> None:
    old = Retrofit("R1", (2400, 2400), 320, existing_height=1500)
    over = screened(
        retrofits=(old,), old_embedment_mm=900, old_diameter_mm=300, pressure_kpa="0.15", bearing_doubled=True
    )
    (height,) = suggest_changes(over)
    assert (height.kind, height.run, height.resolves, height.blocked_by) == ("height", "R1", True, "")
    assert height.text == f"the existing fence R1 no higher than {height.value} mm"
    assert 600 < height.value < 1820
    assert apply_change(over.takeoff.measure, over.takeoff.system, height) is None
    assert price_changes(over, lambda *_: Decimal(1)) == (height,)


def test_before_a_retrofit_nothing_of_the_fence_is_lattice() -> None:
    old = Retrofit("R1", (2400, 2400), 320, existing_height=1500)
    post = screened(retrofits=(old,), built=replace(FLAT, lattice_open_area_ratio=Decimal("0.5"))).posts[1]
    assert post.before_nm == pytest.approx(600 * 2.4 * 1.5**2 / 2)
    assert post.load.moment_nm == pytest.approx(600 * 2.4 * (1.5**2 + 0.75 * (1.82**2 - 1.5**2)) / 2)


def test_the_pressure_off_the_middle_of_a_short_wall_has_its_resultant_where_it_is_said() -> None:
    zones = build_eccentric_zones(100, 10, 0.2)
    assert [zone.upto_m for zone in zones] == [1, 2, 3, 4, 5, math.inf]
    # a straight line of 1 + 6 e (1 - 2 x / L): its first half bears 1 + 3 e of the mean
    assert calculate_mean_pressure_pa(zones, 0, 5) == pytest.approx(100 * (1 + 3 * 0.2))
    assert calculate_mean_pressure_pa(zones, 5, 10) == pytest.approx(100)
