"""Shared parts of the law tests: their profile, and the comparable parts of a take-off."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from decimal import Decimal

from hypothesis import settings

from fencing.model.measure import Layout, Run, Station
from fencing.quantities.take_off import TakeOff, take_off
from tests.fencing.strategies import Job, JobLimits

settings.register_profile("laws", max_examples=80, deadline=None, derandomize=True, database=None)
laws = settings.get_profile("laws")

ONE_RUN = JobLimits(most_runs=1, retrofits=False)


def built(job: Job) -> TakeOff:
    return take_off(job.measure, job.system)


def nets(taken: TakeOff) -> dict[tuple[str, str | None], Decimal]:
    return {(quantity.role, quantity.finish): quantity.net for quantity in taken.quantities}


def pieces(taken: TakeOff) -> Counter[tuple[str, str | None, int, int | None]]:
    found: Counter[tuple[str, str | None, int, int | None]] = Counter()
    for piece in taken.pieces:
        found[piece.role, piece.finish, piece.length, piece.width] += piece.count
    return found


def with_run(job: Job, run: Run) -> Job:
    return replace(job, measure=replace(job.measure, runs=(run,)))


def reversed_run(run: Run) -> Run:
    """The same run walked from its other end."""
    swapped = {"start": "end", "end": "start"}
    sides = {"left": "right", "right": "left"}
    layouts = {Layout.FROM_START: Layout.FROM_END, Layout.FROM_END: Layout.FROM_START}
    return replace(
        run,
        start=run.end,
        end=run.start,
        layout=layouts[run.layout],
        levels=tuple(Station(run.length - level.at, level.level) for level in reversed(run.levels)),
        taper=replace(run.taper, at=swapped[run.taper.at]) if run.taper else None,
        gates=tuple(
            replace(gate, start=run.length - gate.end, hinge_side=sides[gate.hinge_side])
            for gate in reversed(run.gates)
        ),
    )
