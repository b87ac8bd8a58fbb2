"""What the tests of laws share: the profile they run by, and a take-off folded into what may be compared."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from decimal import Decimal

from hypothesis import settings

from fencing.measure import Run
from fencing.takeoff import TakeOff, take_off
from tests.fencing.strategies import Job, Wanted

settings.register_profile("laws", max_examples=80, deadline=None, derandomize=True, database=None)
laws = settings.get_profile("laws")

ONE_RUN = Wanted(most_runs=1, retrofits=False)


def built(job: Job) -> TakeOff:
    return take_off(job.measure, job.system)


def nets(taken: TakeOff) -> dict[tuple[str, str | None], Decimal]:
    return {(one.role, one.colour): one.net for one in taken.quantities}


def pieces(taken: TakeOff) -> Counter[tuple[str, str | None, int, int | None]]:
    found: Counter[tuple[str, str | None, int, int | None]] = Counter()
    for piece in taken.pieces:
        found[piece.role, piece.colour, piece.length, piece.width] += piece.count
    return found


def with_run(job: Job, run: Run) -> Job:
    return replace(job, measure=replace(job.measure, runs=(run,)))
