"""Elevations read back: true scale in both directions, rows, levels, holes, texts at the ends."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from fencing import Measure, TakeOff, take_off
from fencing.drawing.elevation import draw_elevation, draw_elevation_bands
from fencing.drawing.elevation_rows import TooWide, divide_into_rows
from fencing.model.faults import Notice, Severity
from fencing.model.fence import Bay
from fencing.model.measure import Form, Gate, GateKind, Layout, Retrofit, Run, Station, Terminal
from fencing.model.system import HoleShape
from tests.fencing.drawing import jobs, reading

A4 = (190.0, 265.0)


def post_places(svg: str) -> dict[str, tuple[float, float, float]]:
    """(middle x, top y, lowest y) of each post's marks on paper."""
    found = {}
    for element, dx, dy in reading.marks(svg, "g-standing"):
        points = reading.path_points(element, dx, dy)
        xs, ys = [x for x, _ in points], [y for _, y in points]
        found[element.get("data-post", "")] = ((min(xs) + max(xs)) / 2, min(ys), max(ys))
    return found


def texts(svg: str) -> list[str]:
    return [item.text for item in reading.words(svg)]


def test_a_post_stands_at_its_chainage_times_the_scale() -> None:
    # bays of 2400 at 1:100 are 24 mm of paper apart; the posts between two line posts are symmetric about their centre
    svg = draw_elevation(jobs.job(jobs.run(length=12000)), 190, n=100)
    places = post_places(svg)
    assert reading.scale_of(svg) == 100
    inner = [places[f"A-P{number}"][0] for number in (2, 3, 4, 5)]
    assert [right - left for left, right in pairwise(inner)] == pytest.approx([24, 24, 24], abs=0.003)


def test_heights_have_the_scale_of_lengths() -> None:
    # 1800 high on a gap of 60 over a footing of 600: the post is 2460 long, 24.6 mm at 1:100
    _, top, foot = post_places(draw_elevation(jobs.job(jobs.run(length=12000)), 190, n=100))["A-P3"]
    assert foot - top == pytest.approx((1800 + 60 + 600) / 100, abs=0.003)


def test_a_post_is_straight_under_its_section_from_above() -> None:
    takeoff = jobs.job(jobs.run(length=9600))
    svg = draw_elevation(takeoff, 190, n=100)
    above = [x for element, dx, dy in reading.marks(svg, "g-above") for x, _ in reading.path_points(element, dx, dy)]
    for middle, _, _ in [post_places(svg)[f"A-P{number}"] for number in (2, 3, 4)]:
        assert any(abs(x - middle) < 0.4 for x in above)


def test_the_scale_bar_is_as_long_as_it_says() -> None:
    for takeoff in (jobs.one_bay(), jobs.yard(), jobs.kilometre()):
        drawn = draw_elevation_bands(takeoff, *A4)
        assert reading.marks(drawn[-1], "g-scale")
        for svg in [svg for svg in drawn if reading.marks(svg, "g-scale")]:
            [(bar, dx, dy)] = reading.marks(svg, "g-scale")
            xs = [x for x, _ in reading.path_points(bar, dx, dy)]
            assert max(xs) - min(xs) == pytest.approx(
                int(bar.get("data-ground", "0")) / reading.scale_of(svg), abs=0.01
            )


def test_the_hole_is_as_deep_and_wide_as_it_will_be_dug() -> None:
    # 650 deep and a crown of 25 over it, 280 wide
    svg = draw_elevation(jobs.job(jobs.run(length=7200)), 190, n=50)
    hole, _, _ = reading.marks(svg, "d-hole")[1]
    points = list(reading.points(hole.get("d", "")))
    assert max(y for _, y in points) - min(y for _, y in points) == pytest.approx((650 + 25) / 50, abs=0.003)
    assert max(x for x, _ in points) - min(x for x, _ in points) == pytest.approx(280 / 50, abs=0.003)


@pytest.mark.parametrize(("shape", "mouth", "toe"), [(HoleShape.BELLED, 280, 380), (HoleShape.FLARED, 380, 280)])
def test_a_belled_hole_is_wider_below_a_flared_one_above(shape: HoleShape, mouth: int, toe: int) -> None:
    takeoff = take_off(Measure("m", "drawn", (jobs.run(length=7200),)), jobs.system(shape))
    hole, _, _ = reading.marks(draw_elevation(takeoff, 190, n=50), "d-hole")[1]
    points = list(reading.points(hole.get("d", "")))
    low, ground = max(y for _, y in points), min(y for _, y in points) + 25 / 50
    width = {
        name: max(x for x, y in points if abs(y - level) < 0.01) - min(x for x, y in points if abs(y - level) < 0.01)
        for name, level in (("mouth", ground), ("toe", low))
    }
    assert width["mouth"] == pytest.approx(mouth / 50, abs=0.003)
    assert width["toe"] == pytest.approx(toe / 50, abs=0.003)


def test_typical_bays_are_labelled_once_and_odd_ones_always() -> None:
    # 11000 = 4 x 2400 + 1400
    words = texts(draw_elevation(jobs.job(jobs.run(length=11000)), 190, n=100))
    assert words.count("2400 typ.") == 1
    assert "2400" not in words
    assert words.count("1400") == 1


def test_a_long_run_breaks_at_posts_and_says_so_on_both_sides() -> None:
    svg = draw_elevation(jobs.job(jobs.run(length=24000)), 190, n=100)
    assert len(reading.marks(svg, "d-match")) == 2
    assert texts(svg).count("match P6") == 2  # two even rows of five bays


def test_every_bay_of_a_broken_run_is_drawn_once() -> None:
    takeoff = jobs.kilometre()
    drawn = [
        element.get("data-bay")
        for svg in draw_elevation_bands(takeoff, *A4)
        for element, _, _ in reading.marks(svg, "g-bay")
    ]
    assert drawn == [bay.id for bay in takeoff.runs[0].bays]


def test_what_stands_side_by_side_is_one_drawing_and_no_sheet_lacks_its_scale_bar() -> None:
    # 24 m in bays of 2.4 at 1:100: two rows of five bays, one under the other; 4.8 m and 4.8 m: side by side
    two = [jobs.run("A", 4800), jobs.run("B", 4800, turn=Fraction(90))]
    assert len(draw_elevation_bands(jobs.job(jobs.run(length=24000)), *A4, least=100)) == 2
    assert len(draw_elevation_bands(jobs.job(*two), *A4, least=100)) == 1
    sheet, without = 0.0, 0
    for svg in draw_elevation_bands(jobs.kilometre(), *A4):
        sheet += float(reading.read(svg).get("height", "").removesuffix("mm"))
        without += not reading.marks(svg, "g-scale")
        if reading.marks(svg, "g-scale"):
            assert sheet <= A4[1]
            sheet = 0.0
    assert sheet == 0.0
    assert without > 1


@pytest.mark.parametrize("longest", [2400, 5000, 24000, 700_000])
def test_rows_are_never_longer_than_asked_and_meet_at_their_posts(longest: int) -> None:
    takeoff = jobs.kilometre()
    made = divide_into_rows(takeoff, takeoff.runs[0], longest, float("inf"))
    assert all(row.end - row.start <= longest for row in made)
    assert [row.start for row in made[1:]] == [row.end for row in made[:-1]]
    assert sum(len(row.bays) for row in made) == len(takeoff.runs[0].bays)


def test_a_bay_wider_than_any_row_is_stated_to_the_caller() -> None:
    takeoff = jobs.one_bay()
    with pytest.raises(TooWide):
        divide_into_rows(takeoff, takeoff.runs[0], 2399, float("inf"))


def test_a_scale_is_smaller_where_a_bay_would_not_fit() -> None:
    # an opening of 6000 between posts: 6060 at 1:50 is over 120 mm, a phone's sheet has 95
    gate = Gate("G", 2000, 6000, GateKind.DOUBLE, 1800)
    svg = draw_elevation(jobs.job(jobs.run(length=10000, gates=(gate,))), 95, n=50)
    assert reading.scale_of(svg) == 100


def test_levels_stand_at_posts_in_metres_above_the_datum() -> None:
    takeoff = jobs.job(jobs.run(length=4800, form=Form.RAKED, levels=(Station(0, 0), Station(4800, -480))))
    words = texts(draw_elevation(takeoff, 190))
    assert {"0.000", "\u22120.240", "\u22120.480"} <= set(words)  # ground at 0, 2400, 4800
    assert {"+1.860", "+1.620", "+1.380"} <= set(words)  # 60 gap and 1800 over it


def test_a_notice_stands_over_its_bay_with_its_number_and_its_gravity() -> None:
    plain = jobs.job(jobs.run(length=7200))
    data = (Notice("a", Severity.WARNING, "A-2", "mind <this>"), Notice("b", Severity.STOP, "A-2", "and this"))
    svg = draw_elevation(replace(plain, notices=data), 190, n=50)
    [(mark, dx, dy)] = reading.marks(svg, "g-stop")
    middle = sum(x for x, _ in reading.path_points(mark, dx, dy)) / len(reading.path_points(mark, dx, dy))
    places = post_places(svg)
    assert places["A-P2"][0] < middle < places["A-P3"][0]
    assert "1, 2" in texts(svg)
    assert "1: mind <this>. 2: and this." in "".join(mark.itertext())


@pytest.mark.parametrize(
    ("terminal", "style"), [(Terminal.WALL, "d-wall"), (Terminal.JOIN, "d-existing"), (Terminal.FREE, None)]
)
def test_what_stands_at_an_end_is_drawn(terminal: Terminal, style: str | None) -> None:
    svg = draw_elevation(jobs.job(jobs.run(length=4800, start=terminal)), 190)
    drawn = {name for name in ("d-wall", "d-existing") if reading.marks(svg, name)}
    assert drawn == ({style} if style else set())


def mirrored(run: Run) -> Run:
    """The same fence walked from its other end."""
    gates = tuple(
        replace(gate, start=run.length - gate.end, hinge_side="right" if gate.hinge_side == "left" else "left")
        for gate in reversed(run.gates)
    )
    levels = tuple(Station(run.length - station.at, station.level) for station in reversed(run.levels))
    return replace(run, gates=gates, levels=levels, start=run.end, end=run.start)


def test_a_run_walked_from_its_other_end_is_the_mirror_image() -> None:
    run = jobs.run(
        length=14230, layout=Layout.EVEN, form=Form.STEPPED, levels=(Station(0, 0), Station(14230, -480)),
        gates=(Gate("G", 6000, 1000, GateKind.SINGLE, 1800),),
    )  # fmt: skip
    one, other = (post_places(draw_elevation(jobs.job(made), 190, n=100)) for made in (run, mirrored(run)))
    first, second = sorted(one.values()), sorted(other.values())
    width = first[0][0] + second[-1][0]
    # stepped posts and gate posts change sides with their channels: what is left of the centre comes to the right of it
    for (x, top, foot), (mirror, its_top, its_foot) in zip(first, reversed(second), strict=True):
        assert x + mirror == pytest.approx(width, abs=0.01)
        assert (top, foot) == pytest.approx((its_top, its_foot), abs=0.01)


def test_each_member_of_a_stepped_post_stands_to_its_own_top() -> None:
    # a step of 240 between two bays: the pair of the middle post differs by 2.4 mm at 1:100
    takeoff = jobs.job(jobs.run(length=4800, form=Form.STEPPED, levels=(Station(0, 0), Station(4800, -480))))
    middle = next(
        (element, dx, dy)
        for element, dx, dy in reading.marks(draw_elevation(takeoff, 190, n=100), "g-standing")
        if element.get("data-post") == "A-P2"
    )
    solid = next(path for path in middle[0] if path.get("class") == "d-post")
    tops = sorted({y for _, y in reading.points(solid.get("d", ""))})[:2]
    assert tops[1] - tops[0] == pytest.approx(240 / 100, abs=0.003)


def test_a_retrofit_shows_what_stands_dashed_and_what_is_new_drawn_through() -> None:
    takeoff = jobs.job(retrofits=(Retrofit("R1", (2400, 2310), 320, existing_height=1500),))
    svg = draw_elevation(takeoff, 190, n=100)
    assert reading.marks(svg, "d-existing")
    bays = [element.get("data-bay") for element, _, _ in reading.marks(svg, "g-bay")]
    assert bays == ["R1-1", "R1-2"]
    assert {"2400", "2310", "320"} <= set(texts(svg))


def test_a_corner_post_keeps_its_first_name_in_the_next_run() -> None:
    takeoff = jobs.job(
        jobs.run("A", 4800, end=Terminal.CORNER), jobs.run("B", 4800, start=Terminal.CORNER, turn=Fraction(90))
    )
    assert "A-P3" in texts(draw_elevation(takeoff, 190))


def sheet_marks(takeoff: TakeOff, bay: Bay) -> int:
    """Return the number of joints between sheets in a bay."""
    for element, _, _ in reading.marks(draw_elevation(takeoff, 190, n=50), "g-bay"):
        if element.get("data-bay") == bay.id:
            return sum(path.get("d", "").count("M") for path in element if path.get("class") == "d-lap")
    raise AssertionError(bay.id)


def test_sheets_are_ruled_where_they_lap() -> None:
    # 2388 wide with a cover of 790 and a lap of 32 takes three sheets: two laps
    takeoff = jobs.one_bay()
    assert sheet_marks(takeoff, takeoff.runs[0].bays[0]) == 2
