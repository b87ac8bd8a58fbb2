"""Checks of numbers with units. The fault suggests the unit a person may have used: Pa for kPa, cm for mm, km/h for m/s."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from fencing.model.faults import show_value
from fencing.reading.object_reader import ObjectReader, convert_decimal


@dataclass(frozen=True, slots=True)
class Bound:
    """A plausible range in ``unit``. ``others``: units that a person may have used, and their size in ``unit``."""

    what: str
    unit: str
    minimum: Decimal
    maximum: Decimal
    others: tuple[tuple[str, Decimal], ...] = ()
    whole: bool = False


def _bound(what: str, unit: str, minimum: str, maximum: str, whole: bool = False, **others: str) -> Bound:
    sizes = tuple((name.replace("_per_", "/").replace("3", "³"), Decimal(size)) for name, size in others.items())
    return Bound(what, unit, Decimal(minimum), Decimal(maximum), sizes, whole)


BOUNDS: Mapping[str, Bound] = {
    "pressure_kpa": _bound("a net wind pressure", "kPa", "0.05", "6", Pa="0.001", psf="0.04788", MPa="1000"),
    "speed_m_s": _bound("a wind speed", "m/s", "15", "90", km_per_h="0.27778", mph="0.44704", knots="0.51444"),
    "end_factor": _bound("an end factor", "times", "1", "3"),
    "footing_factor": _bound("a footing factor", "times", "0.4", "1"),
    "safety_factor": _bound("a factor of safety", "times", "1", "5"),
    "return_period_years": _bound("a return period", "years", "5", "2500", whole=True),
    "direction_multiplier": _bound("a direction multiplier", "times", "0.5", "1"),
    "shielding_multiplier": _bound("a shielding multiplier", "times", "0.5", "1"),
    "topography_multiplier": _bound("a topography multiplier", "times", "1", "3"),
    "orography": _bound("an orography factor", "times", "1", "3"),
    "undrained_kpa": _bound("an undrained shear strength", "kPa", "5", "500", Pa="0.001", MPa="1000"),
    "friction_deg": _bound("a friction angle", "degrees", "20", "48", radians="57.29578"),
    "unit_weight_kn_m3": _bound(
        "a unit weight of soil", "kN/m³", "8", "24", kg_per_m3="0.00980665", t_per_m3="9.80665"
    ),
    "old_embedment_mm": _bound("an old post's embedment", "mm", "200", "3000", whole=True, cm="10", m="1000"),
    "old_diameter_mm": _bound("an old footing's diameter", "mm", "100", "1500", whole=True, cm="10", m="1000"),
    "yield_mpa": _bound(
        "a yield strength", "MPa", "150", "1000", Pa="0.000001", kPa="0.001", GPa="1000", ksi="6.894757"
    ),
    "capacity_factor": _bound("a capacity factor", "times", "0.5", "1"),
    "side_mm": _bound("a post's side", "mm", "20", "300", cm="10", m="1000"),
    "depth_mm": _bound("a channel's depth", "mm", "20", "300", cm="10", m="1000"),
    "flange_mm": _bound("a channel's flange", "mm", "8", "200", cm="10", m="1000"),
    "lip_mm": _bound("a channel's lip", "mm", "2", "60", cm="10", m="1000"),
    "thickness_mm": _bound("a post's wall", "mm", "0.5", "10", cm="10", m="1000"),
}


SPEEDS: Mapping[str, Bound] = {
    "en-1991-1-4": replace(BOUNDS["speed_m_s"], what="a basic wind speed", maximum=Decimal(50)),
    "asce-7": replace(BOUNDS["speed_m_s"], what="a basic wind speed"),
}
"""Wind speeds by method: the mean over ten minutes in the European standard, the gust of three seconds in the American."""


def read_number(
    table: ObjectReader, key: str, default: str | None = None, bound: Bound | None = None
) -> Decimal | None:
    """Read a number within its plausible range. The fault suggests another unit if one fits.

    Args:
        table: reader of the object with the number.
        key: its key, one of ``BOUNDS``.
        default: value if the key is left out; None: no value.
        bound: range to use in place of the key's own.

    Returns:
        The number in the unit of its key [e.g. kPa], or None if it is left out or has a fault.

    Source: house rule; the bounds are wider than any fence needs.

    Example:
        >>> from fencing.model.faults import FaultList
        >>> faults = FaultList()
        >>> read_number(ObjectReader({"pressure_kpa": 600}, "/strength", faults, ("pressure_kpa",)), "pressure_kpa")
        >>> faults.found[0].code, faults.found[0].text
        ('unit', 'a net wind pressure of 600 kPa is out of range (0.05 to 6 kPa): is it in Pa? 600 Pa is 0.6 kPa')
    """
    if key not in table:
        return None if default is None else Decimal(default)
    bound, value = bound or BOUNDS[key], convert_decimal(table.raw(key))
    kind = "whole number" if bound.whole else "number"
    if value is None:
        example = f"write a {kind} of {bound.unit} from {bound.minimum} to {bound.maximum}"
        table.fault(key, "type", f"{show_value(table.raw(key))} is not valid here; {example}")
    elif not bound.minimum <= value <= bound.maximum:
        table.fault(key, *_question(bound, value))
    elif bound.whole and value != value.to_integral_value():
        table.fault(key, "type", f"{value} is not valid here; write a whole number of {bound.unit}")
    else:
        return value
    return None


def _question(bound: Bound, value: Decimal) -> tuple[str, str]:
    text = f"{bound.what} of {show_value(value)} {bound.unit} is out of range ({bound.minimum} to {bound.maximum} {bound.unit})"
    fits = [(unit, value * size) for unit, size in bound.others if bound.minimum <= value * size <= bound.maximum]
    if not fits:
        return "range", f"{text}: write it in {bound.unit}"
    units = " or ".join(unit for unit, _ in fits[:2])
    sizes = ", ".join(f"{show_value(value)} {unit} is {_plain(meant)} {bound.unit}" for unit, meant in fits[:2])
    return "unit", f"{text}: is it in {units}? {sizes}"


def _plain(value: Decimal) -> str:
    return f"{value.quantize(Decimal('0.01')).normalize():f}"
