"""What is known of a job when its cautions are chosen: from its take-off, and from the people who know the place."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from fencing.model.fence import Bay, BuiltRun
from fencing.model.measure import Form
from fencing.quantities.comparison_prices import PIECE_ROLES
from fencing.quantities.take_off import TakeOff

FIBRE_CEMENT = ("fibre", "fiber", "fibro", "asbestos", "cement sheet", "ac sheet")
"""Words for an old fence that may contain asbestos. Source: common practice."""

MIN_GAP_GROWTH = 20
"""A gap under a stepped bay that grows by less than this [mm] comes from a hump and is worth no caution. Source: house rule."""

COATED_ROLES = frozenset({"sheet", "rail"})
"""What is cut through its coating. Source: common practice."""


@dataclass(frozen=True, slots=True)
class CautionFacts:
    """What is known of a job when its cautions are chosen. Heights and gaps in mm; None: not known or not there.

    ``pool_lowest`` and ``pool_gap`` are the lowest clear height and the largest ground gap on the runs that bound a pool.
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


def lowest_clear_height(bays: Collection[Bay]) -> int | None:
    """Lowest height of the top above the ground [mm] at any end of any bay; None without bays. Source: house rule.

    A stepped bay is measured where the ground is highest under it, as a barrier is.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> lowest_clear_height(take_off(TWO_BAYS, ROUND_SIZES).runs[0].bays)  # 1800 over a gap of 50
    1850
    """
    return min(_heights(bays), default=None)


def _heights(bays: Iterable[Bay]) -> list[int]:
    """Height of the top above the ground [mm] at both ends of every bay."""
    return [top - ground for bay in bays for top, ground in zip(bay.top, bay.ground, strict=True)]


def _bays(runs: Iterable[BuiltRun]) -> list[Bay]:
    return [bay for run in runs for bay in run.bays]


def _may_hold_asbestos(old: str) -> bool:
    return any(word in old.casefold() for word in FIBRE_CEMENT)


def facts_of(
    takeoff: TakeOff, *, pool_runs: Collection[str] = (), driveway: bool = False, local_height: int | None = None
) -> CautionFacts:
    """What a take-off tells about its cautions, with what only people know.

    Args:
        takeoff: the job.
        pool_runs: ids of runs that bound a pool.
        driveway: whether a driveway or street corner is near.
        local_height: the local limit on height above ground [mm], where somebody entered it.

    Returns:
        The facts; heights and gaps in mm.

    Source: house rule.

    Example:
        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> from fencing.quantities.take_off import take_off
        >>> facts = facts_of(take_off(TWO_BAYS, ROUND_SIZES), pool_runs={"A"})
        >>> facts.highest, facts.pool_gap, facts.gates
        (1850, 50, False)
    """
    bays = _bays(takeoff.runs)
    by_pool = _bays(run for run in takeoff.runs if run.id in pool_runs)
    old = [run.remove.kind for run in takeoff.measure.runs if run.remove]
    new = bool(takeoff.runs)
    roles = {piece.role for piece in takeoff.pieces}
    return CautionFacts(
        digging=new,
        boundary=new,
        concrete=takeoff.concrete.holes > 0,
        sheets=any(bay.sheets for bay in bays),
        sawing=not roles.isdisjoint(PIECE_ROLES),
        cutting_coated=not roles.isdisjoint(COATED_ROLES),
        lifting=new,
        stepped=any(bay.form is Form.STEPPED and bay.gap_most - bay.gap_least >= MIN_GAP_GROWTH for bay in bays),
        gates=any(run.gates for run in takeoff.runs),
        retrofit=bool(takeoff.retrofits),
        removal=bool(old),
        old_fibre_cement=any(map(_may_hold_asbestos, old)),
        driveway=driveway,
        highest=max(_heights(bays), default=None),
        local_height=local_height,
        pool=bool(pool_runs),
        pool_lowest=lowest_clear_height(by_pool),
        pool_gap=max((bay.gap_most for bay in by_pool), default=None),
        pool_lattice=any(bay.lattice_height for bay in by_pool),
        strength_screened=takeoff.measure.strength is not None,
    )
