"""The screening of whole jobs: loads by hand, the three outcomes, free ends, lattice, taper, retrofits, remedies, curves."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from lxml import etree

from fencing.measure import Form, Gate, GateKind, Measure, Retrofit, Run, StrengthRequest, Taper, Terminal
from fencing.strength.curve_drawing import draw_chart
from fencing.strength.curves import chart
from fencing.strength.document import screening_document
from fencing.strength.remedies import changed_job, priced, remedies
from fencing.strength.screen import WORDS, Outcome, Screening, screen, screening_notices
from fencing.system import Profile, Steel, System
from fencing.takeoff import take_off
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


def test_a_wall_and_a_corner_leave_no_free_end() -> None:
    walled = screened(run("A", 14400, start=Terminal.WALL, end=Terminal.JOIN), end_factor="2")
    assert moments(walled)[1] == pytest.approx(WHOLE)
    second = run("B", 14400, start=Terminal.CORNER, turn=Fraction(90))
    turned = screened(run("A", 14400, end=Terminal.CORNER), second, end_factor="2")
    by_run = [post.load.moment_nm for post in turned.posts if post.case.run == "B"]
    assert by_run[:2] == pytest.approx([WHOLE / 2, WHOLE])


def test_a_corner_is_screened_once_in_each_of_its_runs() -> None:
    both = screened(run("A", 4800, end=Terminal.CORNER), run("B", 4800, start=Terminal.CORNER, turn=Fraction(90)))
    assert [post.case.run for post in both.posts if post.case.post == "A-P3"] == ["A", "B"]


def test_lattice_takes_its_share_and_counts_as_solid_where_its_porosity_is_unknown() -> None:
    solid = screened(run("A", 7200, lattice=320))
    open_top = screened(run("A", 7200, lattice=320), built=replace(FLAT, lattice_porosity=Decimal("0.5")))
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
    within = screened(run("A", 7200), built=DEEP, pressure_kpa="0.20", doubled=True)
    assert within.outcome is Outcome.WITHIN
    over = screened(run("A", 7200))
    assert over.outcome is Outcome.OVER
    outside = screened(run("A", 7200), built=replace(DEEP, steel=None), pressure_kpa="0.20", doubled=True)
    assert outside.outcome is Outcome.OUTSIDE
    assert WORDS[Outcome.OUTSIDE] == "outside the method: ask an engineer"
    assert not any("safe" in words for words in WORDS.values())


def test_ground_without_a_presumptive_value_is_outside_the_method() -> None:
    for soil in ("soft", "fill", ""):
        assert screened(run("A", 7200), built=DEEP, soil_class=soil, pressure_kpa="0.20").outcome is Outcome.OUTSIDE


def test_the_soil_measured_for_the_run_serves_where_none_is_asked() -> None:
    post = screened(replace(run("A", 7200), soil="sand"), soil_class="").posts[1]
    assert post.needed == screened(run("A", 7200), soil_class="sand").posts[1].needed


def test_the_second_opinion_counts_when_it_asks_for_more() -> None:
    easy = screened(
        run("A", 7200), built=DEEP, pressure_kpa="0.20", doubled=True, undrained_kpa="10", safety_factor="3"
    )
    post = easy.posts[1]
    assert post.second_needed is not None
    assert (post.outcome is Outcome.OVER) == (post.second_needed > 2000)


def test_a_retrofit_is_a_higher_fence_on_old_footings() -> None:
    old = Retrofit("R1", (2400, 2400), 320, existing_height=1500)
    post = screened(retrofits=(old,), old_embedment_mm=600, old_diameter_mm=250).posts[1]
    assert post.before_nm is not None
    assert post.load.moment_nm / post.before_nm == pytest.approx((1.82 / 1.5) ** 2)
    assert (post.case.embedment, post.outcome) == (600, Outcome.OVER)


def test_old_footings_nobody_measured_are_outside_the_method() -> None:
    found = screened(retrofits=(Retrofit("R1", (2400,), 320, existing_height=900),), pressure_kpa="0.20")
    assert found.outcome is Outcome.OUTSIDE
    unknown = screened(retrofits=(Retrofit("R1", (2400,), 320),))
    assert (unknown.unscreened, unknown.outcome) == (("R1",), Outcome.OUTSIDE)


def test_nothing_over_needs_no_remedy() -> None:
    assert remedies(screened(run("A", 7200), built=DEEP, pressure_kpa="0.20", doubled=True)) == ()


def test_the_deeper_hole_proposed_is_deep_enough() -> None:
    over = screened(run("A", 7200))
    depth = next(remedy for remedy in remedies(over) if remedy.kind == "hole_depth")
    assert depth.mends
    job = changed_job(over.takeoff.measure, over.takeoff.system, depth)
    assert job is not None
    again = screen(take_off(*job))
    assert again.outcome is Outcome.WITHIN
    assert depth.value - 50 - 10 < max(post.needed or 0 for post in again.posts) <= depth.value - 50


def test_the_modulus_asked_for_is_moment_over_stress() -> None:
    found = remedies(screened(run("A", 7200), pressure_kpa="2.00"))
    modulus = next(remedy.value for remedy in found if remedy.kind == "section" and "line post" in remedy.text)
    assert modulus == pytest.approx(WHOLE / 0.6 * 2 * 1000 / (0.9 * 350), abs=1)


def test_a_remedy_is_priced_by_the_whole_job() -> None:
    over = screened(run("A", 7200))
    costs = {remedy.kind: remedy.cost for remedy in priced(over, lambda _, built: Decimal(built.hole.depth))}
    assert costs["hole_depth"] is not None
    assert costs["hole_depth"] == next(r.value for r in remedies(over) if r.kind == "hole_depth") - 650


def test_a_notice_stands_at_every_post_that_is_over_once() -> None:
    both = screened(run("A", 4800, end=Terminal.CORNER), run("B", 4800, start=Terminal.CORNER, turn=Fraction(90)))
    places = [notice.where for notice in screening_notices(both)]
    assert sorted(places) == sorted(set(places))
    assert "A-P3" in places


def test_the_document_is_plain_json_and_says_what_it_is_not() -> None:
    document = screening_document(screened(run("A", 7200), end_factor="2"))
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
        StrengthRequest("as-nzs-1170.2", {"region": "C", "years": 100, "terrain": "3"}),
        StrengthRequest("en-1991-1-4", {"speed_m_s": "24", "terrain": "II"}),
        StrengthRequest("asce-7", {"speed_m_s": "45", "exposure": "B"}),
    ],
)
def test_every_published_method_loads_a_free_end_more_than_the_middle(request_: StrengthRequest) -> None:
    posts = screen(take_off(Measure("job", "drawn", (run("A", 28800, form=Form.LEVEL),)), FLAT), request_).posts
    assert posts[1].load.moment_nm > posts[6].load.moment_nm > 0
    assert posts[1].load.moment_nm == pytest.approx(posts[-2].load.moment_nm)


def test_allowed_height_never_rises_with_pitch() -> None:
    for curve in chart(screened(run("A", 14400), built=DEEP, pressure_kpa="0.20", doubled=True, end_factor="2")).curves:
        heights = [height or 0 for height in curve.allowed]
        assert heights == sorted(heights, reverse=True)
        assert heights[0] > heights[-1]


def test_a_height_on_the_curve_is_within_and_one_above_is_over() -> None:
    made = screened(run("A", 24000), built=DEEP, pressure_kpa="0.60", doubled=True)
    middle = chart(made).curves[0]
    allowed = dict(zip(middle.pitches, middle.allowed, strict=True))[2400]
    assert allowed is not None
    for height, outcome in ((allowed, Outcome.WITHIN), (allowed + 1, Outcome.OVER)):
        posts = screened(run("A", 24000, height=height), built=DEEP, pressure_kpa="0.60", doubled=True).posts
        assert posts[5].outcome is outcome


def test_the_drawing_is_well_formed_and_tells_its_curves_apart_without_colour() -> None:
    made = chart(screened(run("A", 14400), built=DEEP, pressure_kpa="0.20", doubled=True, end_factor="2"))
    drawing = draw_chart(made)
    assert drawing == draw_chart(made)
    curves = [tag for tag in re.findall("<path[^>]*>", drawing) if "fill=" in tag]
    assert ["stroke-dasharray" in tag for tag in curves] == [False, True, False, True]  # each curve, then each in the key
    assert etree.fromstring(drawing.encode()).tag == "{http://www.w3.org/2000/svg}svg"


def test_a_drawing_where_nothing_is_allowed_says_so() -> None:
    assert "no height from 300 mm up" in draw_chart(chart(screened(run("A", 14400), pressure_kpa="6.00")))
