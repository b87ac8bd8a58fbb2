"""What is known of a job when its cautions are chosen: from its take-off, and from the people who know the place."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from fencing.fence import Bay
from fencing.prices import PIECE_ROLES
from fencing.takeoff import TakeOff

FIBRE_CEMENT = ("fibre", "fiber", "fibro", "asbestos", "cement sheet", "ac sheet")
"""Words for an old fence that may contain asbestos. Source: common practice."""


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
    """
    return min((top - ground for bay in bays for top, ground in zip(bay.top, bay.ground, strict=True)), default=None)


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
    """
    bays = [bay for run in takeoff.runs for bay in run.bays]
    by_pool = [bay for run in takeoff.runs if run.id in pool_runs for bay in run.bays]
    old = [run.remove.kind.casefold() for run in takeoff.measure.runs if run.remove]
    new = bool(takeoff.runs)
    leaves = [leaf for run in takeoff.runs for gate in run.gates for leaf in gate.leaves]
    return CautionFacts(
        digging=new,
        boundary=new,
        concrete=takeoff.concrete.holes > 0,
        sheets=any(bay.sheets for bay in bays),
        sawing=any(piece.role in PIECE_ROLES for piece in takeoff.pieces),
        cutting_coated=any(piece.role in ("sheet", "rail") for piece in takeoff.pieces),
        lifting=new,
        stepped=any(bay.step for bay in bays),
        gates=bool(leaves),
        retrofit=bool(takeoff.retrofits),
        removal=bool(old),
        old_fibre_cement=any(word in kind for kind in old for word in FIBRE_CEMENT),
        driveway=driveway,
        highest=max(
            (top - ground for bay in bays for top, ground in zip(bay.top, bay.ground, strict=True)), default=None
        ),
        local_height=local_height,
        pool=bool(pool_runs),
        pool_lowest=lowest_clear_height(by_pool),
        pool_gap=max((bay.gap_most for bay in by_pool), default=None),
        pool_lattice=any(bay.lattice_height for bay in by_pool),
        strength_screened=takeoff.measure.strength is not None,
    )
