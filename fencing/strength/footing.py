"""Footing of a post: the soil inputs, and the required embedment by the pole formula and by Broms.

The method of Broms gives the ultimate lateral load of a short rigid post. Compare it with the code's allowable load only
after a factor of safety.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, pi, sqrt, tan

from fencing.strength.embedment import (
    MIN_M,
    SOILS,
    calculate_constrained_m,
    calculate_nonconstrained_m,
    find_rising_root,
)
from fencing.strength.loads import Load

Inputs = Mapping[str, str | int | bool]


def read_number(inputs: Inputs, key: str, default: float) -> float:
    """Return a numeric input in the unit that its key names [e.g. kPa], or the default.

    >>> read_number({"end_factor": "1.5"}, "end_factor", 2.0), read_number({}, "end_factor", 2.0)
    (1.5, 2.0)
    """
    return float(inputs.get(key, default))


@dataclass(frozen=True, slots=True)
class LateralCapacity:
    """Ultimate lateral load: ``force_kn`` at failure at the stated height, and the maximum moment in the post then."""

    force_kn: float
    moment_knm: float


def calculate_clay_capacity(undrained_kpa: float, width_m: float, depth_m: float, arm_m: float) -> LateralCapacity:
    """Calculate the lateral capacity of a short free-headed post in clay.

    Rule: soil resists 9 cu B below 1.5 B and nothing above; P = 9 cu B {sqrt(2[(e+L)^2 + (e+f0)^2]) - (2e + f0 + L)}, f0 = 1.5 B.

    Args:
        undrained_kpa: undrained shear strength cu [kPa, over 0].
        width_m: width of the footing B [m].
        depth_m: embedment L [m].
        arm_m: height of the force above ground e [m].

    Returns:
        Ultimate force [kN] and maximum moment [kN.m]; both 0 if the embedment is at most 1.5 B.

    Source: Broms, ASCE J. SMFD 90 (SM2), 1964; closed form from its equilibrium.

    Example:
        >>> round(calculate_clay_capacity(50, 0.75, 2.34575, 7.5).force_kn, 3)
        13.6
    """
    dead = 1.5 * width_m
    if depth_m <= dead:
        return LateralCapacity(0.0, 0.0)
    line = 9 * undrained_kpa * width_m
    force = line * (sqrt(2 * ((arm_m + depth_m) ** 2 + (arm_m + dead) ** 2)) - (2 * arm_m + dead + depth_m))
    return LateralCapacity(force, force * (arm_m + dead + force / line / 2))


def calculate_clay_depth_m(force_kn: float, undrained_kpa: float, width_m: float, arm_m: float) -> float:
    """Calculate the embedment in clay at which the post just fails under ``force_kn``.

    Rule: f = P / (9 cu B); Mmax = P (e + 1.5 B + f/2) = 2.25 cu B g^2; L = 1.5 B + f + g.

    Args:
        force_kn: lateral force, factor of safety included [kN].
        undrained_kpa: undrained shear strength [kPa].
        width_m: width of the footing [m].
        arm_m: height of the force above ground [m].

    Returns:
        Embedment [m].

    Source: Broms, ASCE J. SMFD 90 (SM2), 1964.

    Example:
        >>> round(calculate_clay_depth_m(13.6, 50, 0.75, 7.5), 2)
        2.35
    """
    f = force_kn / (9 * undrained_kpa * width_m)
    moment = force_kn * (arm_m + 1.5 * width_m + f / 2)
    return 1.5 * width_m + f + sqrt(moment / (2.25 * undrained_kpa * width_m))


def calculate_passive_coefficient(friction_deg: float) -> float:
    """Return Rankine's passive earth pressure coefficient tan^2(45 + phi/2) for ``friction_deg`` [degrees, 0 to under 90].

    Source: Rankine.

    Example: tan^2 60 = 3:

        >>> round(calculate_passive_coefficient(30), 9)
        3.0
    """
    return tan((45 + friction_deg / 2) * pi / 180) ** 2


def calculate_sand_capacity(
    unit_weight_kn_m3: float, friction_deg: float, width_m: float, depth_m: float, arm_m: float
) -> LateralCapacity:
    """Calculate the lateral capacity of a short free-headed post in sand.

    Rule: P = gamma B L^3 Kp / (2 (e + L)); zero shear at zf = sqrt(P / (1.5 Kp B gamma)); Mmax = P (e + 2 zf / 3).

    Args:
        unit_weight_kn_m3: unit weight of the soil gamma [kN/m3].
        friction_deg: friction angle phi [degrees].
        width_m: width of the footing B [m].
        depth_m: embedment L [m].
        arm_m: height of the force above ground e [m].

    Returns:
        Ultimate force [kN] and greatest moment [kN.m].

    Source: Broms, ASCE J. SMFD 90 (SM3), 1964 (from memory).

    Example:
        >>> round(calculate_sand_capacity(18, 30, 0.30, 0.75, 0.90).force_kn, 3)
        2.071
    """
    kp = calculate_passive_coefficient(friction_deg)
    force = 0.5 * unit_weight_kn_m3 * width_m * depth_m**3 * kp / (arm_m + depth_m)
    zero_shear = sqrt(force / (1.5 * kp * width_m * unit_weight_kn_m3))
    return LateralCapacity(force, force * (arm_m + 2 * zero_shear / 3))


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


def find_soil_inputs(inputs: Inputs, measured_soil: str | None) -> SoilInputs:
    """Return the soil of a request; without a class in the request, the soil measured for the run if the code lists it.

    Source: IBC 1806.2 (classes), 1806.3.4 (doubling, if the request states it).

    Example:
        >>> find_soil_inputs({"soil_class": "clay"}, "sand").soil_class, find_soil_inputs({}, "sand").soil_class
        ('clay', 'sand')
        >>> find_soil_inputs({}, "stony").soil_class is None
        True
    """
    named = str(inputs.get("soil_class", measured_soil or ""))
    soil = SOILS.get(named)
    lateral = soil.lateral_kpa_m if soil else None
    return SoilInputs(
        soil_class=soil.code if soil else None,
        lateral_kpa_m=lateral * 2 if lateral and inputs.get("bearing_doubled") else lateral,
        restrained_at_ground=bool(inputs.get("restrained_at_ground", False)),
        undrained_kpa=_read_optional(inputs, "undrained_kpa"),
        friction_deg=_read_optional(inputs, "friction_deg"),
        unit_weight_kn_m3=_read_optional(inputs, "unit_weight_kn_m3"),
        safety_factor=read_number(inputs, "safety_factor", 2.0),
    )


def _read_optional(inputs: Inputs, key: str) -> float | None:
    return float(inputs[key]) if key in inputs else None


def calculate_needed_mm(load: Load, width_m: float, ground: SoilInputs) -> int | None:
    """Calculate the embedment required by the code's formula [mm, rounded up]; None if the soil has no presumptive value.

    Args:
        load: at the allowable level [N, N.m].
        width_m: width of the footing across the load [m].
        ground: the ground asked for.

    Source: IBC 1807.3.2.1 and 1807.3.2.2.

    Example:
        >>> calculate_needed_mm(Load(2000.0, 1800.0), 0.30, SoilInputs("clay", 15.7))
        2093
    """
    if ground.lateral_kpa_m is None:
        return None
    if ground.restrained_at_ground:
        return ceil(calculate_constrained_m(load.moment_nm / 1000, width_m, ground.lateral_kpa_m) * 1000)
    return ceil(calculate_nonconstrained_m(load.force_n / 1000, load.arm_m, width_m, ground.lateral_kpa_m) * 1000)


def calculate_second_needed_mm(load: Load, width_m: float, ground: SoilInputs) -> int | None:
    """Calculate the embedment at which the post fails by Broms under the factored load [mm, up]; None without soil strength.

    Args:
        load: at the allowable level [N, N.m].
        width_m: width of the footing across the load [m].
        ground: the ground asked for.

    Source: Broms, ASCE J. SMFD 90, 1964.

    Example:
        >>> clay = SoilInputs("clay", 15.7, undrained_kpa=50, safety_factor=1)
        >>> calculate_second_needed_mm(Load(13600.0, 13600 * 7.5), 0.75, clay)
        2346
    """
    force = load.force_n / 1000 * ground.safety_factor
    if force == 0:
        return 0
    if ground.undrained_kpa is not None:
        return ceil(calculate_clay_depth_m(force, ground.undrained_kpa, width_m, load.arm_m) * 1000)
    if ground.friction_deg is None or ground.unit_weight_kn_m3 is None:
        return None
    weight, friction = ground.unit_weight_kn_m3, ground.friction_deg

    def spare(depth_m: float) -> float:
        return calculate_sand_capacity(weight, friction, width_m, depth_m, load.arm_m).force_kn - force

    return 0 if spare(MIN_M) >= 0 else ceil(find_rising_root(spare, MIN_M, 100.0) * 1000)
