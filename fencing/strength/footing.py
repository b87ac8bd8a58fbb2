"""Footing of a post: the soil inputs and the required embedment by both methods."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from fencing.strength.bisection import rising_root
from fencing.strength.broms import cohesionless, cohesive_depth_m
from fencing.strength.embedment import MIN_M, SOILS, constrained_m, nonconstrained_m
from fencing.strength.loads import Load
from fencing.strength.wind_methods import Inputs, number

FORMULA = "IBC 1807.3.2 (Eq. 18-1; Eq. 18-2 where the ground is paved)"
SECOND = "Broms 1964, short rigid free-headed post"


@dataclass(frozen=True, slots=True)
class SoilInputs:
    """The requested soil. ``lateral_kpa_m`` is None if the code has no presumptive value for ``soil_class``.

    ``undrained_kpa`` (clay) or ``friction_deg`` with ``unit_weight_kn_m3`` (sand) allow the second method.
    """

    soil_class: str | None
    lateral_kpa_m: float | None
    restrained_at_ground: bool = False
    undrained_kpa: float | None = None
    friction_deg: float | None = None
    unit_weight_kn_m3: float | None = None
    safety_factor: float = 2.0


def ground_of(inputs: Inputs, measured_soil: str | None) -> SoilInputs:
    """Return the soil of a request; without a class in the request, the soil measured for the run if the code lists it.

    Source: IBC 1806.2 (classes), 1806.3.4 (doubling, if the request states it).

    Example:
        >>> [ground_of(inputs, "sand").soil_class for inputs in ({"soil_class": "clay"}, {})], ground_of({}, "stony").soil_class
        (['clay', 'sand'], None)
    """
    named = str(inputs.get("soil_class", measured_soil or ""))
    soil = SOILS.get(named)
    lateral = soil.lateral_kpa_m if soil else None
    return SoilInputs(
        soil_class=soil.code if soil else None,
        lateral_kpa_m=lateral * 2 if lateral and inputs.get("bearing_doubled") else lateral,
        restrained_at_ground=bool(inputs.get("restrained_at_ground", False)),
        undrained_kpa=_given(inputs, "undrained_kpa"),
        friction_deg=_given(inputs, "friction_deg"),
        unit_weight_kn_m3=_given(inputs, "unit_weight_kn_m3"),
        safety_factor=number(inputs, "safety_factor", 2.0),
    )


def _given(inputs: Inputs, key: str) -> float | None:
    return float(inputs[key]) if key in inputs else None


def needed_mm(load: Load, width_m: float, ground: SoilInputs) -> int | None:
    """Calculate the embedment required by the code's formula [mm, rounded up]; None if the soil has no presumptive value.

    Args:
        load: at the allowable level [N, N.m].
        width_m: width of the footing across the load [m].
        ground: the ground asked for.

    Source: IBC 1807.3.2.1 and 1807.3.2.2.

    Example:
        >>> needed_mm(Load(2000.0, 1800.0), 0.30, SoilInputs("clay", 15.7))
        2093
    """
    if ground.lateral_kpa_m is None:
        return None
    if ground.restrained_at_ground:
        return ceil(constrained_m(load.moment_nm / 1000, width_m, ground.lateral_kpa_m) * 1000)
    return ceil(nonconstrained_m(load.force_n / 1000, load.arm_m, width_m, ground.lateral_kpa_m) * 1000)


def second_needed_mm(load: Load, width_m: float, ground: SoilInputs) -> int | None:
    """Calculate the embedment at which the post fails by Broms under the factored load [mm, up]; None without soil strength.

    Args:
        load: at the allowable level [N, N.m].
        width_m: width of the footing across the load [m].
        ground: the ground asked for.

    Source: Broms, ASCE J. SMFD 90, 1964.

    Example:
        >>> second_needed_mm(Load(13600.0, 13600 * 7.5), 0.75, SoilInputs("clay", 15.7, undrained_kpa=50, safety_factor=1))
        2346
    """
    force = load.force_n / 1000 * ground.safety_factor
    if force == 0:
        return 0
    if ground.undrained_kpa is not None:
        return ceil(cohesive_depth_m(force, ground.undrained_kpa, width_m, load.arm_m) * 1000)
    if ground.friction_deg is None or ground.unit_weight_kn_m3 is None:
        return None
    weight, friction = ground.unit_weight_kn_m3, ground.friction_deg

    def spare(depth_m: float) -> float:
        return cohesionless(weight, friction, width_m, depth_m, load.arm_m).force_kn - force

    return 0 if spare(MIN_M) >= 0 else ceil(rising_root(spare, MIN_M, 100.0) * 1000)
