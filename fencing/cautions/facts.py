"""Facts of a job that decide its cautions: from the take-off, and from people who know the site."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from fencing.model.fence import Bay, BuiltRun
from fencing.model.measure import Form
from fencing.model.roles import CUT_ROLES, ROLES
from fencing.quantities.take_off import TakeOff

FIBRE_CEMENT = ("fibre", "fiber", "fibro", "asbestos", "cement sheet", "ac sheet")
"""Words in the kind of an existing fence that may contain asbestos. Source: common practice."""

MIN_GAP_GROWTH = 20
"""Minimum growth [mm] of the gap under a stepped bay for a caution. Less comes from a hump. Source: house rule."""

COATED_ROLES = frozenset(role.code for role in ROLES.values() if role.is_coated)
"""Roles that are cut through their coating. Source: common practice."""


@dataclass(frozen=True, slots=True)
class CautionFacts:
    """Facts of a job that decide its cautions. Heights and gaps are in mm; None: not known or not applicable.

    ``pool_lowest`` and ``pool_gap`` are the lowest clear height and the largest ground gap of the runs beside a pool.
    """

    digging: bool = False
    boundary: bool = False
    concrete: bool = False
    sheets: bool = False
    sawing: bool = False
    cutting_coated: bool = False
    lifting: bool = False
    stepped: bool = False
    gates: bool = False
    retrofit: bool = False
    removal: bool = False
    old_fibre_cement: bool = False
    driveway: bool = False
    highest: int | None = None
    local_height: int | None = None
    pool: bool = False
    pool_lowest: int | None = None
    pool_gap: int | None = None
    pool_lattice: bool = False
    strength_screened: bool = False


def find_lowest_clear_height(bays: Collection[Bay]) -> int | None:
    """Return the lowest height of the top above the ground [mm] at any end of any bay; None without bays.

    A stepped bay is measured at the highest ground under it, like a barrier. Source: house rule.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> find_lowest_clear_height(take_off(TWO_BAYS, ROUND_SIZES).runs[0].bays)  # 1800 over a gap of 50
    1850
    """
    return min(_list_heights(bays), default=None)


def _list_heights(bays: Iterable[Bay]) -> list[int]:
    """Return the height of the top above the ground [mm] at both ends of every bay."""
    return [top - ground for bay in bays for top, ground in zip(bay.top, bay.ground, strict=True)]


def _list_bays(runs: Iterable[BuiltRun]) -> list[Bay]:
    return [bay for run in runs for bay in run.bays]


def _may_hold_asbestos(old: str) -> bool:
    return any(word in old.casefold() for word in FIBRE_CEMENT)


def collect_facts(
    takeoff: TakeOff, *, pool_runs: Collection[str] = (), driveway: bool = False, local_height: int | None = None
) -> CautionFacts:
    """Return the facts of a job from its take-off and from answers of the user.

    Args:
        takeoff: the job.
        pool_runs: ids of runs beside a pool.
        driveway: true if a driveway or street corner is near.
        local_height: local limit on height above ground [mm], if entered.

    Returns:
        The facts; heights and gaps in mm.

    Source: house rule.

    Example:
        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> from fencing.quantities.take_off import take_off
        >>> facts = collect_facts(take_off(TWO_BAYS, ROUND_SIZES), pool_runs={"A"})
        >>> facts.highest, facts.pool_gap, facts.gates
        (1850, 50, False)
    """
    bays = _list_bays(takeoff.runs)
    by_pool = _list_bays(run for run in takeoff.runs if run.id in pool_runs)
    old = [run.existing_fence.kind for run in takeoff.measure.runs if run.existing_fence]
    new = bool(takeoff.runs)
    roles = {piece.role for piece in takeoff.pieces}
    return CautionFacts(
        digging=new,
        boundary=new,
        concrete=takeoff.concrete.holes > 0,
        sheets=any(bay.sheets for bay in bays),
        sawing=not roles.isdisjoint(CUT_ROLES),
        cutting_coated=not roles.isdisjoint(COATED_ROLES),
        lifting=new,
        stepped=any(bay.form is Form.STEPPED and bay.gap_max - bay.gap_min >= MIN_GAP_GROWTH for bay in bays),
        gates=any(run.gates for run in takeoff.runs),
        retrofit=bool(takeoff.retrofits),
        removal=bool(old),
        old_fibre_cement=any(map(_may_hold_asbestos, old)),
        driveway=driveway,
        highest=max(_list_heights(bays), default=None),
        local_height=local_height,
        pool=bool(pool_runs),
        pool_lowest=find_lowest_clear_height(by_pool),
        pool_gap=max((bay.gap_max for bay in by_pool), default=None),
        pool_lattice=any(bay.lattice_height for bay in by_pool),
        strength_screened=takeoff.measure.strength is not None,
    )
