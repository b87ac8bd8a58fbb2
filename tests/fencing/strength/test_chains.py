"""Runs that share a post: what wind sees as one wall, what hangs on a shared post, and what counts as a return.

Expected values were computed by an independent script from the methods' own tables.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

import pytest

from fencing.model.measure import Gate, GateKind, Layout, Measure, Run, StrengthRequest, Terminal
from fencing.quantities.take_off import TakeOff, take_off
from fencing.strength.chains import find_exposures
from fencing.strength.loads import Load, calculate_post_load
from fencing.strength.post_cases import build_run_cases
from fencing.strength.wind import GivenPressure, WindMethod
from fencing.strength.wind_as_nzs import AsNzs
from fencing.strength.wind_asce import Asce
from fencing.strength.wind_en import En, find_net_coefficients
from tests.fencing.drawing.jobs import run, system

FLAT = replace(system(), ground_gap=0)
OPEN = AsNzs(41 * 0.83)
AS_ENDS = 1.2 * 0.6 * (41 * 0.83) ** 2


def job(*runs: Run, pitch: int = 2400) -> TakeOff:
    return take_off(Measure("job", "drawn", runs), replace(FLAT, pitch=pitch))


def chain(*pieces: tuple[int, int], **changes: object) -> list[Run]:
    """Runs of (length, turn at their start), joined post to post."""
    last = len(pieces) - 1
    return [
        run(
            "ABCDEFGHIJKL"[number], length, turn=Fraction(turn), layout=Layout.EVEN,
            start=Terminal.CORNER if number else Terminal.FREE,
            end=Terminal.CORNER if number < last else Terminal.FREE, **changes,
        )
        for number, (length, turn) in enumerate(pieces)
    ]  # fmt: skip


def loads(takeoff: TakeOff, method: WindMethod) -> dict[str, Load]:
    """Each post's load, the greatest where it stands in two runs."""
    found: dict[str, Load] = {}
    for case in build_run_cases(takeoff, method):
        load = calculate_post_load(case.sides)
        if case.post not in found or load.force_n > found[case.post].force_n:
            found[case.post] = load
    return found


def forces(takeoff: TakeOff, method: WindMethod) -> list[float]:
    return [load.force_n for load in loads(takeoff, method).values()]


def moments(takeoff: TakeOff, method: WindMethod) -> list[float]:
    return [load.moment_nm for load in loads(takeoff, method).values()]


def test_eight_chords_of_a_curve_are_one_wall_and_their_posts_carry_both_sides() -> None:
    curve = job(*chain(*[(2_200, 12 if number else 0) for number in range(8)]))
    whole = [3301.8, 6567.4, 3731.8, 3283.7, 3283.7, 3283.7, 3731.8, 6567.4, 3301.8]
    assert forces(curve, OPEN) == pytest.approx(whole, abs=0.1)
    assert moments(curve, OPEN)[:4] == pytest.approx([2971.6, 5910.7, 3358.6, 2955.3], abs=0.1)


def test_chords_in_line_are_the_run_they_make() -> None:
    pieces = forces(job(*chain(*[(2_200, 0)] * 8)), OPEN)
    assert pieces == pytest.approx(forces(job(*chain((17_600, 0)), pitch=2_200), OPEN))
    assert pieces[:5] == pytest.approx([3301.8, 6603.6, 3752.1, 3301.8, 3301.8], abs=0.1)


def test_twenty_metres_split_at_four_stay_twenty_metres() -> None:
    found = moments(job(*chain((4_000, 0), (16_000, 0))), OPEN)
    assert found[:3] == pytest.approx([2701.5, 5403.0, 3704.9], abs=1)
    assert found[-3:] == pytest.approx([3319.0, 6174.8, 3087.4], abs=2)


@pytest.mark.parametrize("method", [OPEN, En(24, "III"), Asce(46.9, "B"), GivenPressure(600.0)])
@pytest.mark.parametrize("first", [2_000, 4_000, 10_000, 18_000])
def test_splitting_a_straight_run_at_a_post_changes_no_load(method: WindMethod, first: int) -> None:
    whole = job(*chain((20_000, 0)), pitch=2_000)
    split = job(*chain((first, 0), (20_000 - first, 0)), pitch=2_000)
    assert forces(split, method) == pytest.approx(forces(whole, method))
    assert moments(split, method) == pytest.approx(moments(whole, method))


def test_the_free_end_of_a_split_run_keeps_the_pressures_of_the_whole() -> None:
    split = job(*chain((4_000, 0), (16_000, 0)))
    for method in (En(24, "III"), Asce(46.9, "B")):
        zones = [find_exposures(takeoff, method)[0].zones[0] for takeoff in (split, job(*chain((20_000, 0))))]
        assert zones[0] == zones[1]


def first_zone(takeoff: TakeOff, method: WindMethod, name: str = "B") -> float:
    """The pressure at the start of a run's chain [Pa]."""
    index = next(place for place, built in enumerate(takeoff.runs) if built.id == name)
    return find_exposures(takeoff, method)[index].zones[0][0].pressure_pa


@pytest.mark.parametrize(("back", "times"), [(300, 2.4), (1_800, 2.4), (1_801, 1.8), (3_000, 1.8)])
def test_a_return_counts_by_as_nzs_if_it_is_longer_than_the_face_is_high(back: int, times: float) -> None:
    takeoff = job(*chain((back, 0), (20_000, 90)))
    assert first_zone(takeoff, OPEN) == pytest.approx(times / 1.2 * AS_ENDS, rel=1e-6)


@pytest.mark.parametrize(("turn", "times"), [(5, 2.4), (30, 2.4), (45, 2.4), (60, 1.8), (135, 1.8), (136, 2.4)])
def test_a_bend_is_no_return(turn: int, times: float) -> None:
    takeoff = job(*chain((5_000, 0), (20_000, turn)))
    assert first_zone(takeoff, OPEN) == pytest.approx(times / 1.2 * AS_ENDS, rel=1e-6)


def test_a_stub_counts_by_en_in_proportion() -> None:
    assert find_net_coefficients(20 / 1.8, 1.0, 0.3 / 1.8) == pytest.approx((3.1833, 2.05, 1.65, 1.2), abs=1e-4)
    assert find_net_coefficients(3, 1.0, 1.0) == pytest.approx((2.1, 1.8, 1.4, 1.2))
    assert find_net_coefficients(4, 0.9, 0.5) == pytest.approx((1.775, 1.45, 1.275, 1.2))


def test_a_stub_eases_nothing_by_asce() -> None:
    stub, free = job(*chain((300, 0), (20_000, 90))), job(*chain((20_000, 0)))
    assert first_zone(stub, Asce(46.9, "B")) == first_zone(free, Asce(46.9, "B"), "A")
    back = job(*chain((1_800, 0), (20_000, 90)))
    assert first_zone(back, Asce(46.9, "B")) == pytest.approx(0.75 * first_zone(stub, Asce(46.9, "B")))


@pytest.mark.parametrize(("back", "factor"), [(300, 2.0), (5_000, 1.5)])
def test_a_stated_pressure_is_never_without_its_end(back: int, factor: float) -> None:
    takeoff = job(*chain((back, 0), (20_000, 90)))
    assert first_zone(takeoff, GivenPressure(833.8)) == pytest.approx(factor * 833.8)


def test_a_leg_that_opens_by_a_gate_or_is_low_is_no_return() -> None:
    gate = (Gate("A-G1", 3_600, 1_000, GateKind.SINGLE, 1_800),)
    opened = chain((5_000, 0), (20_000, 90))
    opened[0] = replace(opened[0], gates=gate)
    assert first_zone(job(*opened), OPEN) == pytest.approx(2 * AS_ENDS, rel=1e-6)
    low = chain((5_000, 0), (20_000, 90))
    low[0] = replace(low[0], height=1_200)
    assert first_zone(job(*low), OPEN) == pytest.approx(2 * AS_ENDS, rel=1e-6)


@pytest.mark.parametrize("method", [OPEN, GivenPressure(833.79)])
def test_the_post_of_a_slight_bend_and_the_next_one_are_near_the_end(method: WindMethod) -> None:
    found = moments(job(*chain((1_200, 0), (18_800, 5)), pitch=2_350), method)
    assert found[:4] == pytest.approx([1620.9, 4791.0, 4828.9, 3174.2], abs=1)
    assert found[-3:] == pytest.approx([3275.5, 6348.5, 3174.2], abs=1)


def test_between_bend_and_corner_the_greater_reading_counts() -> None:
    bent = moments(job(*chain((9_600, 0), (9_600, 45))), OPEN)
    cornered = moments(job(*chain((9_600, 0), (9_600, 60))), OPEN)
    straight = moments(job(*chain((9_600, 0), (9_600, 30))), OPEN)
    joint = 4
    assert bent[joint] > straight[joint]
    assert bent[joint - 1] >= max(straight[joint - 1], cornered[joint - 1]) - 1e-6


def test_a_closed_curve_has_no_end() -> None:
    """Thirty chords round a circle: every post carries the middle of the wall."""
    sides: Mapping[str, Terminal] = {"start": Terminal.CORNER, "end": Terminal.CORNER}
    ring = [run(f"R{number}", 2_000, turn=Fraction(12 if number else 0), **sides) for number in range(30)]
    found = forces(job(*ring), GivenPressure(600.0))
    assert len(found) == 30
    assert found == pytest.approx([found[0]] * 30)


def test_a_request_of_the_measure_still_screens_every_post() -> None:
    runs = tuple(chain((4_000, 0), (16_000, 0)))
    asked = StrengthRequest("given_pressure", {"pressure_kpa": "0.60", "soil_class": "clay"})
    takeoff = take_off(Measure("job", "drawn", runs, strength=asked), FLAT)
    assert {case.post for case in build_run_cases(takeoff, GivenPressure(600.0))} == {
        post.id for built in takeoff.runs for post in built.posts
    }
