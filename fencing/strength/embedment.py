"""Embedment that a post needs in the ground by the building code's pole formula.

Allowable loads: lateral force P at height h above ground, width b across the load, lateral soil bearing growing with depth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt

HALVINGS = 80  # halves any bracket below the spacing of floats


def find_rising_root(function: Callable[[float], float], low: float, high: float) -> float:
    """Find where a rising function crosses zero between ``low`` and ``high``.

    Rule: bisection; the answer is the upper end of the last bracket, so ``function`` of it is not below zero.

    Args:
        function: rising, negative or zero at ``low``, positive or zero at ``high``.
        low: lower end of the bracket [the unit of the argument].
        high: upper end of the bracket.

    Returns:
        The crossing, in the unit of the argument.

    Raises:
        ValueError: the function does not change sign between the two.

    Source: bisection, any numerical textbook; compared with scipy in tests/checks.

    Example:
        >>> round(find_rising_root(lambda x: x * x - 2, 0, 2), 12)
        1.414213562373
    """
    if function(low) > 0 or function(high) < 0:
        raise ValueError("the function does not rise through zero between the two ends")
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if function(middle) < 0:
            low = middle
        else:
            high = middle
    return high


MIN_M = 1e-6  # [m] a load that needs less embedment than this is zero: float sums leave such rests
CAP_M = 3.6576  # 12 ft: below it the lateral pressure stays constant
PSF_PER_FT = 0.157087463  # [kPa/m] 1 psf per foot of depth, from the definitions of pound, foot and gravity


@dataclass(frozen=True, slots=True)
class SoilClass:
    """A soil class of the code: ``lateral_psf_ft`` is allowable per foot of depth, None without presumptive value."""

    code: str
    label: str
    lateral_psf_ft: int | None

    @property
    def lateral_kpa_m(self) -> float | None:
        """The allowable lateral bearing per metre below grade [kPa/m]; None without a presumptive value.

        Source: IBC Table 1806.2.

        Example: 100 psf a foot:

            >>> round(SOILS["clay"].lateral_kpa_m, 4)
            15.7087
        """
        return None if self.lateral_psf_ft is None else self.lateral_psf_ft * PSF_PER_FT


SOIL_EDITION = "IBC 2012 Table 1806.2"
SOILS = {
    soil.code: soil
    for soil in (
        SoilClass("rock", "crystalline bedrock", 1200),
        SoilClass("weak_rock", "sedimentary or foliated rock", 400),
        SoilClass("gravel", "gravel or sandy gravel", 200),
        SoilClass("sand", "sand, silty or clayey sand, silty or clayey gravel", 150),
        SoilClass("clay", "clay, sandy or silty clay, silt", 100),
        SoilClass("soft", "mud, organic soil or peat", None),
        SoilClass("fill", "unprepared fill", None),
    )
}


def calculate_diagonal_width(side: float) -> float:
    """Return width b of a square post or footing in the pole formula: its diagonal, in the unit of ``side`` [over 0].

    Source: IBC 1807.3.2.1.

    >>> round(calculate_diagonal_width(300), 1)
    424.3
    """
    return side * sqrt(2)


def calculate_trial_depth_m(force_kn: float, arm_m: float, width_m: float, lateral_kpa: float) -> float:
    """Evaluate Eq. 18-1 once for a given lateral pressure at a third of the trial depth.

    Rule: A = 2.34 P / (S1 b); d = A/2 (1 + sqrt(1 + 4.36 h / A)).

    Args:
        force_kn: lateral force P [kN, over 0].
        arm_m: height h of P above ground [m].
        width_m: diameter of a round footing or diagonal of a square one [m].
        lateral_kpa: allowable lateral pressure S1 at a third of the trial depth [kPa].

    Returns:
        Depth d [m].

    Source: IBC 1807.3.2.1, Eq. 18-1.

    Example:
        >>> round(calculate_trial_depth_m(1.33, 8.0, calculate_diagonal_width(0.6), 31.4 * 1.55 / 3), 2)
        1.52
    """
    a = 2.34 * force_kn / (lateral_kpa * width_m)
    return a / 2 * (1 + sqrt(1 + 4.36 * arm_m / a))


def calculate_nonconstrained_m(force_kn: float, arm_m: float, width_m: float, lateral_kpa_m: float) -> float:
    """Calculate the embedment of a post without restraint at the ground: the converged Eq. 18-1.

    Rule: (s b / 3) d^3 - 2.34 P d - 1.09 * 2.34 P h = 0 with s d / 3 taken no deeper than 12 ft / 3.

    Args:
        force_kn: lateral force P, allowable load level [kN, 0 or more].
        arm_m: height of P above ground [m, 0 or more].
        width_m: diameter of a round footing, diagonal of a square one [m, over 0].
        lateral_kpa_m: allowable lateral bearing per metre of depth [kPa/m, over 0].

    Returns:
        Depth [m] at which d^2 - A d - 1.09 A h = 0.

    Source: IBC 1807.3.2.1, Eq. 18-1.

    Example:
        >>> round(calculate_nonconstrained_m(2.0, 0.9, 0.30, 15.7), 4)
        2.0925
    """
    if force_kn == 0:
        return 0.0

    def short_by(depth: float) -> float:
        return depth - calculate_trial_depth_m(force_kn, arm_m, width_m, lateral_kpa_m * min(depth, CAP_M) / 3)

    if short_by(MIN_M) >= 0:
        return 0.0
    return find_rising_root(short_by, MIN_M, _find_bracket(short_by))


def calculate_constrained_m(moment_knm: float, width_m: float, lateral_kpa_m: float) -> float:
    """Calculate the embedment of a post that a rigid floor or pavement restrains at the ground.

    Rule: d^2 = 4.25 P h / (S3 b), S3 at the full depth, taken no deeper than 12 ft.

    Args:
        moment_knm: P h, allowable load level [kN.m, 0 or more].
        width_m: diameter or diagonal [m, over 0].
        lateral_kpa_m: allowable lateral bearing per metre of depth [kPa/m, over 0].

    Returns:
        Depth [m].

    Source: IBC 1807.3.2.2, Eq. 18-2.

    Example:
        >>> round(calculate_constrained_m(2.0 * 0.9, 0.30, 15.7), 3)
        1.175
    """
    uncapped = (4.25 * moment_knm / (lateral_kpa_m * width_m)) ** (1 / 3)
    if uncapped <= CAP_M:
        return float(uncapped)
    return sqrt(4.25 * moment_knm / (lateral_kpa_m * CAP_M * width_m))


def _find_bracket(short_by: Callable[[float], float]) -> float:
    deep = 1.0
    while short_by(deep) < 0:
        deep *= 2
    return deep
