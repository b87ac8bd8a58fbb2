"""Suggested changes to a screened job: the changed job, whether it is within the limits, and whether it can be built."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from fencing.model.faults import InvalidDocument, Notice, Severity
from fencing.model.measure import Measure, Run
from fencing.model.system import PostSection, System
from fencing.quantities.take_off import TakeOff, take_off
from fencing.strength.screening import Screening, ScreeningOutcome, screen


@dataclass(frozen=True, slots=True)
class SuggestedChange:
    """One change. ``kind``: pitch, hole_depth, pitch_and_depth, hole_diameter, section or height; ``value`` in ``unit``.

    ``posts`` are those it was worked out for, ``run`` the run of a height, ``depth`` [mm] the hole that goes with a pitch.
    ``blocked_by`` is the reason why it can't be built. ``cost`` is what it adds to the job's price, if it was priced.
    """

    kind: str
    value: int
    unit: str
    resolves: bool
    text: str
    posts: tuple[str, ...]
    run: str | None = None
    depth: int | None = None
    blocked_by: str = ""
    cost: Decimal | None = None


def apply_change(measure: Measure, system: System, change: SuggestedChange) -> tuple[Measure, System] | None:
    """Apply a suggested change to the measure and system; return None for a section or a retrofit.

    Rule: a deeper hole takes the least embedment of both posts [mm] down with it.

    Source: house rule.

    Example: a hole of 900 with 50 of bedding leaves 850 for the posts:

        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> _, deeper = apply_change(TWO_BAYS, ROUND_SIZES, SuggestedChange("hole_depth", 900, "mm", True, "", ()))
        >>> deeper.hole.depth, deeper.channel.embedment_min
        (900, 850)
    """
    if change.kind == "pitch":
        return measure, replace(system, pitch=change.value)
    if change.kind == "pitch_and_depth" and change.depth:
        return measure, replace(_deepen(system, change.depth), pitch=change.value)
    if change.kind == "hole_diameter":
        end = max(change.value, system.hole.end_diameter)
        return measure, replace(system, hole=replace(system.hole, diameter=change.value, end_diameter=end))
    if change.kind == "hole_depth":
        return measure, _deepen(system, change.value)
    if change.kind == "height" and change.run in {run.id for run in measure.runs}:
        return replace(measure, runs=tuple(_lower_run(run, change) for run in measure.runs)), system
    return None


def _deepen(system: System, depth: int) -> System:
    embedment = depth - system.hole.bedding

    def post(section: PostSection) -> PostSection:
        return replace(section, embedment_min=max(section.embedment_min, embedment))

    hole = replace(system.hole, depth=depth)
    return replace(system, hole=hole, channel=post(system.channel), square=post(system.square))


def _lower_run(run: Run, change: SuggestedChange) -> Run:
    """Return the run at the suggested height. Gates as high as the fence are lowered with it."""
    if run.id != change.run:
        return run
    gates = tuple(replace(gate, height=change.value) if gate.height == run.height else gate for gate in run.gates)
    return replace(run, height=change.value, gates=gates)


def check_change(screening: Screening, change: SuggestedChange) -> SuggestedChange:
    """Check a suggested change: set ``resolves`` and ``blocked_by`` from a take-off and screening of the changed job.

    Source: house rule.

    Example: holes 900 [mm] deep are not enough for posts that want 3198 in the ground:

        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> screening = screen(take_off(IN_WIND, ROUND_SIZES))
        >>> check_change(screening, SuggestedChange("hole_depth", 900, "mm", True, "holes 900 mm deep", ("A-P2",))).resolves
        False
    """
    takeoff = screening.takeoff
    job = apply_change(takeoff.measure, takeoff.system, change)
    if job is None:
        return change
    try:
        changed = take_off(*job)
    except InvalidDocument as refused:  # a gate or a taper no longer fits the changed bays
        return replace(change, resolves=False, blocked_by=refused.faults[0].text)
    after = screen(changed, screening.request)
    built = {run.id for run in takeoff.runs if change.run in (None, run.id)}
    resolves = not any(post.outcome is ScreeningOutcome.OVER for post in after.posts if post.case.run in built)
    return replace(change, resolves=resolves, blocked_by=_find_new_stop(takeoff, changed))


def _find_new_stop(before: TakeOff, after: TakeOff) -> str:
    """Return what prevents building the changed job but not the present one; an empty text if nothing does."""
    known = {notice.code for notice in _list_stops(before)}
    return next((notice.text for notice in _list_stops(after) if notice.code not in known), "")


def _list_stops(takeoff: TakeOff) -> list[Notice]:
    return [notice for notice in takeoff.notices if notice.severity is Severity.STOP]
