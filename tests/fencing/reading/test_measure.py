"""A measure with its defaults filled in is the same measure, named member by member."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from typing import Any

from hypothesis import given, settings

from fencing.model.measure import ExistingFence, Measure, StrengthRequest
from fencing.reading import read_measure
from fencing.reading.measure import write_measure
from tests.fencing.strategies import Job, jobs
from tests.fencing.test_schemas import FULL_MEASURE, VALIDATORS


def read_back(measure: Measure) -> Measure:
    """The measure read from its own document, without the digest of a document it was not read from."""
    return replace(read_measure(write_measure(measure)), sha256=measure.sha256)


@settings(max_examples=100)
@given(jobs())
def test_a_measure_written_whole_reads_back_as_itself(job: Job) -> None:
    written = write_measure(job.measure)
    assert list(VALIDATORS["measure-2"].iter_errors(written)) == []
    assert read_back(job.measure) == job.measure


def test_members_that_may_be_missing_are_written_where_they_are_given() -> None:
    measure = read_measure(FULL_MEASURE)
    first, *rest = measure.runs
    shared = replace(
        first,
        soil="clay",
        existing_fence=ExistingFence("brick", 3000),
        shares={"us": Fraction(1, 3), "them": Fraction(2, 3)},
    )
    strength = StrengthRequest("given_pressure", {"pressure_kpa": "0.60"})
    whole = replace(measure, runs=(shared, *rest), strength=strength)
    assert read_back(whole) == whole
    written: dict[str, Any] = json.loads(json.dumps(write_measure(whole)))
    assert written["runs"][0]["existing_fence"] == {"kind": "brick", "length_mm": 3000}
    assert written["runs"][0]["shares"] == {"us": "1/3", "them": "2/3"}
    assert "defaults" not in written


def test_a_levelling_book_is_written_as_the_levels_it_gives() -> None:
    run = write_measure(read_measure(FULL_MEASURE))["runs"][-1]
    # 1.210 back to a level of 519 at 0.933: 519 - (1.210 - 0.933) * 1000 = 242
    assert "book" not in run
    assert run["levels"] == [[0, 242], [9600, 519]]
    assert run["turn_deg"] == "-45.5"


def test_an_old_fence_without_a_length_is_as_long_as_its_run() -> None:
    run = {"id": "A", "length_mm": 9600, "height_mm": 1800, "existing_fence": {"kind": "brick"}}
    measure = read_measure({"schema": "measure-2", "label": "Rear", "system": "ribbed", "runs": [run]})
    assert write_measure(measure)["runs"][0]["existing_fence"] == {"kind": "brick", "length_mm": 9600}
