"""Tests of the texts of --explain, --cut-list and the summary."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from math import ceil

import pytest

from fencing.documents.explain import UnknownComponent, explain, write_cut_list, write_summary
from fencing.model.example_system import ROUND_SIZES
from fencing.model.fence import PLACES, RunOption
from fencing.model.measure import Finishes, Form, Gate, GateKind, Layout, Measure, MeasureBasis, Retrofit, Run
from fencing.model.roles import ROLES
from fencing.quantities.take_off import TakeOff, take_off
from fencing.reading.strength import read_strength
from tests.fencing.strategies import random_jobs

INK = Finishes(post="ink", rail="ink", sheet="oat")
RUN = Run("A", 10_060, 1800, form=Form.LEVEL, layout=Layout.EVEN, finishes=INK)
GATES = (Gate("A-G1", 4000, 3000, GateKind.DOUBLE, 1800),)


def take_off_runs(*runs: Run, retrofits: tuple[Retrofit, ...] = (), **sizes: object) -> TakeOff:
    system = replace(ROUND_SIZES, **sizes)  # type: ignore[arg-type]  # any member of the system
    return take_off(Measure("Rear", system.code, runs, retrofits), system)


def test_screws_are_stated_place_by_place() -> None:
    job = take_off_runs(RUN)
    (text,) = explain(job, "screw")
    row = next(row for row in job.quantities if row.role == "screw")
    assert text.startswith(f"Screws (ink): {row.total}. Needed: {row.net}, that is ")
    ends = 2 * 2 * len(job.runs[0].bays)  # two rails of two ends in each bay
    each = ROUND_SIZES.screws.per_rail_end
    assert f"{each} at each of {ends} rail ends makes {ends * each}" in text


def test_one_is_one_and_two_are_two() -> None:
    job = take_off_runs(replace(RUN, gates=GATES))
    assert explain(job, "latch") == ("Latch (ink): 1. Needed: 1, that is 1 at one gate.",)
    assert explain(job, "drop_bolt") == ("Drop bolt (ink): 1. Needed: 1, that is 1 at one double gate.",)
    assert explain(job, "hinge") == ("Hinges (ink): 4. Needed: 4, that is 2 at each of 2 gate leaves makes 4.",)


def test_a_single_leaf_has_a_drop_bolt_where_its_hardware_names_one() -> None:
    gate = Gate("A-G1", 4000, 1000, GateKind.SINGLE, 1800, hardware=("hinges", "drop_bolt"))
    job = take_off_runs(replace(RUN, gates=(gate,)))
    assert explain(job, "drop_bolt") == ("Drop bolt (ink): 1. Needed: 1, that is 1 at one gate.",)
    with pytest.raises(UnknownComponent):
        explain(job, "latch")


def test_pieces_are_stated_by_what_they_are_for_and_what_they_are_cut_to() -> None:
    job = take_off_runs(RUN)
    (text,) = explain(job, "rails")
    bays = len(job.runs[0].bays)
    assert text.startswith(f"Rails (ink): {2 * bays}. Needed: {2 * bays}, that is {bays} for bottom rails;")
    longest = max(rail.length for bay in job.runs[0].bays for rail in bay.rails)
    assert f"of {longest} mm" in text


def test_concrete_is_stated_in_cubic_metres_and_in_bags_where_their_yield_is_known() -> None:
    known = take_off_runs(RUN, bag_yield=Decimal("0.0105"))
    (text,) = explain(known, "concrete")
    bags = ceil(known.concrete.total / Decimal("0.0105"))  # the last bag is opened too
    assert text.startswith(f"Concrete in bags: {known.concrete.total} m³, in {bags} bags that yield 0.0105 m³ each.")
    assert f"The allowance of 10 % adds {known.concrete.allowance} m³." in text


@pytest.mark.parametrize(
    ("asked", "roles"),
    [
        ("cap", ["Post caps", "Square post caps"]),
        ("CAP.PAIR", ["Post caps"]),
        ("post", ["Square posts", "Post channels"]),
        ("square posts", ["Square posts"]),
        ("Sheet", ["Sheets"]),
    ],
)
def test_a_role_a_family_or_a_word_for_it_may_be_asked_for(asked: str, roles: list[str]) -> None:
    assert [text.split(" (")[0] for text in explain(take_off_runs(RUN), asked)] == roles


def test_a_component_may_be_asked_for_by_its_name() -> None:
    job = take_off_runs(RUN, components={"rail": "RB-RAIL"})
    assert explain(job, "rb-rail") == explain(job, "rail")
    assert "[RB-RAIL]" in explain(job, "rail")[0]


def test_what_is_not_known_is_answered_with_what_is() -> None:
    with pytest.raises(UnknownComponent, match="'screwz' is not known here; did you mean screw"):
        explain(take_off_runs(RUN), "screwz")
    with pytest.raises(UnknownComponent, match=r"there are no hinges in this job; this job needs post\.square, "):
        explain(take_off_runs(RUN), "hinge")


def test_what_a_person_adds_up_is_the_concrete_needed() -> None:
    # volumes are litres that add up: where one hole is rounded the other way for it, that is stated
    for job in (job for job in random_jobs(60, 7) if job.measure.runs):
        (text,) = explain(take_off(job.measure, job.system), "concrete")
        _, _, after = text.partition(" Needed: ")
        needed, _, reasons = after.partition(" m³, that is ")
        made = [re.findall(r"([0-9.]+) m³", reason)[-1] for reason in reasons.split(" The allowance")[0].split("; ")]
        assert sum(Decimal(litres).quantize(Decimal("0.001")) for litres in made) == Decimal(needed)


def test_concrete_is_not_counted_in_words() -> None:
    with pytest.raises(UnknownComponent, match="there is no ready-mixed concrete in this job; this job needs"):
        explain(take_off_runs(RUN, bag_yield=Decimal("0.01"), components={"concrete.bag": "bag-20"}), "concrete.mix")


def test_every_quantity_of_any_job_can_be_explained_in_known_words() -> None:
    for job in random_jobs(60, 3):
        built = take_off(job.measure, job.system)
        for row in built.quantities:
            assert row.role in ROLES
            assert any(f": {row.total:f}" in text for text in explain(built, row.role))
            for line in row.breakdown:
                assert line.element_type in PLACES or line.element_type.endswith("half caps, two from a cap")


def test_the_cut_list_has_every_piece_once_and_longest_first() -> None:
    job = take_off_runs(replace(RUN, gates=GATES), retrofits=(Retrofit("R1", (2000,), 300, INK),))
    rows = [line.split() for line in write_cut_list(job).splitlines() if line.startswith("  ") and "pieces" not in line]
    assert sum(int(row[0]) for row in rows) == sum(piece.count for piece in job.pieces)
    assert "2 post extensions, ink" in write_cut_list(job).splitlines()
    for role in ("rail", "sheet"):
        lengths = [piece.length for piece in job.pieces if piece.role == role]
        assert lengths == sorted(lengths, reverse=True)


def test_a_job_without_pieces_says_so() -> None:
    assert write_cut_list(replace(take_off_runs(RUN), pieces=())) == "nothing to cut"


def test_the_summary_counts_in_words() -> None:
    data = write_summary(take_off_runs(replace(RUN, gates=GATES), replace(RUN, id="B", length=2000)))
    assert "Run A: 10060 mm, level, even, 6 posts, 4 bays, 1 gate" in data
    assert "Run B: 2000 mm, level, even, 2 posts, 1 bay\n" in data
    assert "        1 latch (ink)" in data


def test_the_summary_sets_what_auto_chose_beside_the_other_forms() -> None:
    proposed = (
        RunOption(Form.LEVEL, Layout.FROM_START, 4, 3, "900.00", False),
        RunOption(Form.STEPPED, Layout.EVEN, 4, 0, "1010.50", True),
        RunOption(Form.RAKED, Layout.EVEN, 4, 0, "1140.25", False),
        RunOption(Form.RAKED, Layout.FROM_START, 4, 0, "1120.25", False),
    )
    job = take_off_runs(RUN)
    data = write_summary(replace(job, runs=(replace(job.runs[0], options=proposed),))).splitlines()
    assert data[2:5] == [
        "  chosen: stepped, even, 1010.50",
        "    raked, from_start: 109.75 dearer",  # 1120.25 - 1010.50; even would be 129.75
        "    level, from_start: 3 must-fix notices",
    ]


def test_the_summary_of_a_chosen_form_sets_the_layouts_beside_each_other() -> None:
    data = write_summary(take_off_runs(replace(RUN, length=7200, basis=MeasureBasis.CENTRES, layout=Layout.AUTO)))
    assert "  chosen: level, full_rails\n    level, from_start: 3 bays\n" in data  # its rails are stock: nothing to cut
    assert "chosen" not in write_summary(take_off_runs(RUN))


def test_the_summary_names_the_first_posts_a_screening_is_about_and_counts_the_rest() -> None:
    # 96 m at 2400: 40 bays, 41 posts
    wind = read_strength({"method": "given_pressure", "pressure_kpa": "0.4", "soil_class": "clay"})
    long = replace(RUN, length=96_000, basis=MeasureBasis.CENTRES)
    data = write_summary(take_off(Measure("Rear", ROUND_SIZES.code, (long,), strength=wind), ROUND_SIZES))
    assert ", A-P23, A-P24 and 17 more (embedment" in data
    assert "A-P25" not in data
