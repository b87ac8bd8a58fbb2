"""Ultimate lateral load of a short rigid post by Broms, the second method for an embedment.

It is an ultimate method: compare it with the code's allowable one only after a factor of safety.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt, tan


@dataclass(frozen=True, slots=True)
class LateralCapacity:
    """Ultimate lateral load: ``force_kn`` at failure at the stated height, and the maximum moment in the post then."""

    force_kn: float
    moment_knm: float


def cohesive(undrained_kpa: float, width_m: float, depth_m: float, arm_m: float) -> LateralCapacity:
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
        >>> round(cohesive(50, 0.75, 2.34575, 7.5).force_kn, 3)
        13.6
    """
    dead = 1.5 * width_m
    if depth_m <= dead:
        return LateralCapacity(0.0, 0.0)
    line = 9 * undrained_kpa * width_m
    force = line * (sqrt(2 * ((arm_m + depth_m) ** 2 + (arm_m + dead) ** 2)) - (2 * arm_m + dead + depth_m))
    return LateralCapacity(force, force * (arm_m + dead + force / line / 2))


def cohesive_depth_m(force_kn: float, undrained_kpa: float, width_m: float, arm_m: float) -> float:
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
        >>> round(cohesive_depth_m(13.6, 50, 0.75, 7.5), 2)
        2.35
    """
    f = force_kn / (9 * undrained_kpa * width_m)
    moment = force_kn * (arm_m + 1.5 * width_m + f / 2)
    return 1.5 * width_m + f + sqrt(moment / (2.25 * undrained_kpa * width_m))


def passive_coefficient(friction_deg: float) -> float:
    """Return Rankine's passive earth pressure coefficient tan^2(45 + phi/2) for ``friction_deg`` [degrees, 0 to under 90].

    Source: Rankine.

    Example: tan^2 60 = 3:

        >>> round(passive_coefficient(30), 9)
        3.0
    """
    return tan((45 + friction_deg / 2) * pi / 180) ** 2


def cohesionless(
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
        >>> round(cohesionless(18, 30, 0.30, 0.75, 0.90).force_kn, 3)
        2.071
    """
    kp = passive_coefficient(friction_deg)
    force = 0.5 * unit_weight_kn_m3 * width_m * depth_m**3 * kp / (arm_m + depth_m)
    zero_shear = sqrt(force / (1.5 * kp * width_m * unit_weight_kn_m3))
    return LateralCapacity(force, force * (arm_m + 2 * zero_shear / 3))
