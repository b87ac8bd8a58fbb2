"""Readers for the ``strength`` member of a site measure and of a fence system (schemas strength-2 and steel-1).

The fault of a number suggests the unit a person may have used: Pa for kPa, cm for mm, km/h for m/s.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from fencing.model.faults import FaultList, show_value
from fencing.model.measure import StrengthRequest
from fencing.model.system import Profile, Steel
from fencing.reading.object_reader import ObjectReader, convert_decimal
from fencing.strength.embedment import SOILS
from fencing.strength.wind_as_nzs import REGIONS
from fencing.strength.wind_as_nzs import TERRAIN as AS_TERRAIN
from fencing.strength.wind_asce import EXPOSURE
from fencing.strength.wind_en import TERRAIN as EN_TERRAIN


@dataclass(frozen=True, slots=True)
class Bound:
    """A plausible range in ``unit``. ``others``: units that a person may have used, and their size in ``unit``."""

    what: str
    unit: str
    minimum: Decimal
    maximum: Decimal
    others: tuple[tuple[str, Decimal], ...] = ()
    whole: bool = False


def _make_bound(what: str, unit: str, minimum: str, maximum: str, whole: bool = False, **others: str) -> Bound:
    sizes = tuple((name.replace("_per_", "/").replace("3", "³"), Decimal(size)) for name, size in others.items())
    return Bound(what, unit, Decimal(minimum), Decimal(maximum), sizes, whole)


BOUNDS: Mapping[str, Bound] = {
    "pressure_kpa": _make_bound("a net wind pressure", "kPa", "0.05", "6", Pa="0.001", psf="0.04788", MPa="1000"),
    "speed_m_s": _make_bound("a wind speed", "m/s", "15", "90", km_per_h="0.27778", mph="0.44704", knots="0.51444"),
    "end_factor": _make_bound("an end factor", "times", "1", "3"),
    "footing_factor": _make_bound("a footing factor", "times", "0.4", "1"),
    "safety_factor": _make_bound("a factor of safety", "times", "1", "5"),
    "return_period_years": _make_bound("a return period", "years", "5", "2500", whole=True),
    "direction_multiplier": _make_bound("a direction multiplier", "times", "0.5", "1"),
    "shielding_multiplier": _make_bound("a shielding multiplier", "times", "0.5", "1"),
    "topography_multiplier": _make_bound("a topography multiplier", "times", "1", "3"),
    "orography": _make_bound("an orography factor", "times", "1", "3"),
    "undrained_kpa": _make_bound("an undrained shear strength", "kPa", "5", "500", Pa="0.001", MPa="1000"),
    "friction_deg": _make_bound("a friction angle", "degrees", "20", "48", radians="57.29578"),
    "unit_weight_kn_m3": _make_bound(
        "a unit weight of soil", "kN/m³", "8", "24", kg_per_m3="0.00980665", t_per_m3="9.80665"
    ),
    "old_embedment_mm": _make_bound("an old post's embedment", "mm", "200", "3000", whole=True, cm="10", m="1000"),
    "old_diameter_mm": _make_bound("an old footing's diameter", "mm", "100", "1500", whole=True, cm="10", m="1000"),
    "yield_mpa": _make_bound(
        "a yield strength", "MPa", "150", "1000", Pa="0.000001", kPa="0.001", GPa="1000", ksi="6.894757"
    ),
    "capacity_factor": _make_bound("a capacity factor", "times", "0.5", "1"),
    "side_mm": _make_bound("a post's side", "mm", "20", "300", cm="10", m="1000"),
    "depth_mm": _make_bound("a channel's depth", "mm", "20", "300", cm="10", m="1000"),
    "flange_mm": _make_bound("a channel's flange", "mm", "8", "200", cm="10", m="1000"),
    "lip_mm": _make_bound("a channel's lip", "mm", "2", "60", cm="10", m="1000"),
    "thickness_mm": _make_bound("a post's wall", "mm", "0.5", "10", cm="10", m="1000"),
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
        table.fault(key, *_suggest_unit(bound, value))
    elif bound.whole and value != value.to_integral_value():
        table.fault(key, "type", f"{value} is not valid here; write a whole number of {bound.unit}")
    else:
        return value
    return None


def _suggest_unit(bound: Bound, value: Decimal) -> tuple[str, str]:
    text = f"{bound.what} of {show_value(value)} {bound.unit} is out of range ({bound.minimum} to {bound.maximum} {bound.unit})"
    fits = [(unit, value * size) for unit, size in bound.others if bound.minimum <= value * size <= bound.maximum]
    if not fits:
        return "range", f"{text}: write it in {bound.unit}"
    units = " or ".join(unit for unit, _ in fits[:2])
    sizes = ", ".join(f"{show_value(value)} {unit} is {_format_plain(meant)} {bound.unit}" for unit, meant in fits[:2])
    return "unit", f"{text}: is it in {units}? {sizes}"


def _format_plain(value: Decimal) -> str:
    return f"{value.quantize(Decimal('0.01')).normalize():f}"


METHODS = ("given_pressure", "as-nzs-1170.2", "en-1991-1-4", "asce-7")
GROUND_KEYS = (
    "soil_class", "footing_factor", "bearing_doubled", "restrained_at_ground", "undrained_kpa", "friction_deg",
    "unit_weight_kn_m3", "safety_factor", "old_embedment_mm", "old_diameter_mm",
)  # fmt: skip
REGIONAL_KEYS = ("wind_region", "return_period_years", "terrain_category")
METHOD_KEYS = {
    "given_pressure": ("pressure_kpa", "end_factor"),
    "as-nzs-1170.2": (
        "speed_m_s",
        *REGIONAL_KEYS,
        "direction_multiplier",
        "shielding_multiplier",
        "topography_multiplier",
    ),
    "en-1991-1-4": ("speed_m_s", "terrain_category", "orography"),
    "asce-7": ("speed_m_s", "exposure_category", "topography_multiplier"),
}
REQUIRED = {
    "given_pressure": ("pressure_kpa",),
    "en-1991-1-4": ("speed_m_s", "terrain_category"),
    "asce-7": ("speed_m_s", "exposure_category"),
}
WORDS = {
    ("as-nzs-1170.2", "wind_region"): tuple(REGIONS),
    ("as-nzs-1170.2", "terrain_category"): tuple(AS_TERRAIN),
    ("en-1991-1-4", "terrain_category"): tuple(EN_TERRAIN),
    ("asce-7", "exposure_category"): tuple(EXPOSURE),
}


def read_strength(document: object, pointer: str = "", faults: FaultList | None = None) -> StrengthRequest:
    """Read the request for the strength screening.

    Rule: ``method`` decides which keys are known. A number that looks like another unit is a fault; it is never converted.

    Args:
        document: the ``strength`` member of a site measure, plain values.
        pointer: its JSON Pointer, for faults.
        faults: list for the faults of the whole document; if it is None, faults are raised here.

    Returns:
        The request; numbers as decimal texts in the unit their key names [e.g. kPa].

    Raises:
        InvalidDocument: every fault at once, if ``faults`` is None.

    Source: house rule.

    Example:
        >>> request = read_strength({"method": "given_pressure", "pressure_kpa": "0.60", "soil_class": "clay"})
        >>> request.method, dict(request.inputs)
        ('given_pressure', {'pressure_kpa': '0.60', 'soil_class': 'clay'})
    """
    gathered = FaultList() if faults is None else faults
    method = _read_method(document)
    table = ObjectReader(document, pointer, gathered, ("method", *METHOD_KEYS[method], *GROUND_KEYS))
    table.word("method", METHODS)
    inputs: dict[str, str | int | bool] = {}
    for key in (*METHOD_KEYS[method], *GROUND_KEYS):
        if key in table:
            _read_member(table, method, key, inputs)
        elif key in REQUIRED.get(method, ()) and table.good("method"):
            table.raw(key)
    _check_together(table, method)
    if faults is None:
        gathered.refuse()
    return StrengthRequest(method, inputs)


def _read_method(document: object) -> str:
    named = document.get("method") if isinstance(document, dict) else None
    return named if isinstance(named, str) and named in METHODS else METHODS[0]


def _read_member(table: ObjectReader, method: str, key: str, inputs: dict[str, str | int | bool]) -> None:
    if key in ("bearing_doubled", "restrained_at_ground"):
        inputs[key] = table.flag(key)
    elif key == "soil_class":
        inputs[key] = table.word(key, tuple(SOILS))
    elif (method, key) in WORDS:
        inputs[key] = table.word(key, WORDS[method, key])
    else:
        number = read_number(table, key, bound=SPEEDS.get(method) if key == "speed_m_s" else None)
        inputs[key] = str(number) if number is not None and not BOUNDS[key].whole else int(number or 0)


def _check_together(table: ObjectReader, method: str) -> None:
    """Check keys that must occur together or exclude each other."""
    if not table.good("method"):
        return
    if method == "as-nzs-1170.2" and "speed_m_s" not in table:
        for key in REGIONAL_KEYS:
            if key not in table:
                needed = f"{', '.join(REGIONAL_KEYS[:-1])} and {REGIONAL_KEYS[-1]}"
                table.fault(key, "missing", f"{key} is missing; give {needed}, or the design speed as speed_m_s")
    if "undrained_kpa" in table and "friction_deg" in table:
        table.fault("friction_deg", "soil.both", "give undrained_kpa (clay) or friction_deg (sand), not both")
    if ("friction_deg" in table) != ("unit_weight_kn_m3" in table):
        table.fault(
            "friction_deg", "soil.sand", "the second method in sand needs friction_deg and unit_weight_kn_m3 together"
        )
    if ("old_embedment_mm" in table) != ("old_diameter_mm" in table):
        table.fault(
            "old_embedment_mm", "old.both", "an old footing needs old_embedment_mm and old_diameter_mm together"
        )


STEEL_KEYS = ("yield_mpa", "capacity_factor", "channel", "square")
CHANNEL_KEYS = ("depth_mm", "flange_mm", "thickness_mm", "lip_mm")
SQUARE_KEYS = ("side_mm", "thickness_mm")


def read_steel(system: ObjectReader) -> Steel | None:
    """Read the optional ``strength`` member of a fence system: yield strength [MPa], capacity factor, sections of the posts [mm].

    Args:
        system: reader of the system document; it collects the faults.

    Returns:
        The steel, or None if the member is left out or has a fault.

    Source: house rule.

    Example:
        >>> square = {"side_mm": 60, "thickness_mm": 2}
        >>> document = {"strength": {"yield_mpa": 350, "capacity_factor": "0.9", "square": square}}
        >>> read_steel(ObjectReader(document, "", FaultList(), ("strength",))).square.depth
        Decimal('60')
    """
    if "strength" not in system:
        return None
    table = system.table("strength", STEEL_KEYS)
    yield_mpa, factor = (_read_needed(table, key) for key in ("yield_mpa", "capacity_factor"))
    square = _read_square(table.table("square", SQUARE_KEYS)) if "square" in table else None
    channel = _read_channel(table.table("channel", CHANNEL_KEYS)) if "channel" in table else None
    return Steel(yield_mpa, factor, channel, square)


def _read_needed(table: ObjectReader, key: str) -> Decimal:
    """Read a required number; the minimum is the stand-in for a number with a fault."""
    if key not in table:
        table.raw(key)
    number = read_number(table, key)
    return BOUNDS[key].minimum if number is None else number


def _read_square(table: ObjectReader) -> Profile:
    side, thickness = _read_needed(table, "side_mm"), _read_needed(table, "thickness_mm")
    if table.good(*SQUARE_KEYS) and side <= 5 * thickness:
        table.fault("thickness_mm", "section.order", f"a wall of {thickness} mm doesn't fit a side of {side} mm")
    return Profile(side, thickness)


def _read_channel(table: ObjectReader) -> Profile:
    depth, flange, thickness = (_read_needed(table, key) for key in CHANNEL_KEYS[:3])
    lip = read_number(table, "lip_mm", "0") or Decimal(0)
    corner = 2 * thickness  # sheet is rolled to an outer radius of twice its thickness
    if table.good(*CHANNEL_KEYS) and (
        depth <= 2 * corner or flange <= (2 if lip else 1) * corner or (lip and not corner < lip <= depth / 2)
    ):
        text = f"depth, flange, lip and thickness don't make a channel together; its corners are rolled to {corner} mm"
        table.fault("thickness_mm", "section.order", text)
    return Profile(depth, thickness, flange, lip)
