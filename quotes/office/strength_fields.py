"""The fields of the strength screening: the method, what that method asks for, and the ground."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fencing.reading.strength import METHOD_KEYS, WORDS
from fencing.strength.embedment import SOILS
from quotes.office.fields import Choices, MeasureField, choice, field_text
from shared.common.typed_lengths import number_text

METHODS: Choices = (
    ("", "not screened"), ("given_pressure", "a stated wind pressure"), ("as-nzs-1170.2", "AS/NZS 1170.2"),
    ("en-1991-1-4", "EN 1991-1-4"), ("asce-7", "ASCE 7"),
)  # fmt: skip
LABELS: Mapping[str, tuple[str, str]] = {
    "pressure_kpa": ("Wind pressure", "kPa, as stated for this site"),
    "end_factor": ("Factor at free ends", ""),
    "speed_m_s": ("Wind speed", "m/s"),
    "wind_region": ("Wind region", ""),
    "return_period_years": ("Return period", "years"),
    "terrain_category": ("Terrain category", ""),
    "direction_multiplier": ("Direction multiplier", ""),
    "shielding_multiplier": ("Shielding multiplier", ""),
    "topography_multiplier": ("Topography multiplier", ""),
    "orography": ("Orography factor", ""),
    "exposure_category": ("Exposure category", ""),
}
GROUND: Mapping[str, tuple[str, str]] = {
    "footing_factor": ("Soil strength factor", ""),
    "undrained_kpa": ("Undrained shear strength", "kPa, clay"),
    "friction_deg": ("Angle of friction", "degrees, sand"),
    "unit_weight_kn_m3": ("Unit weight of the soil", "kN/m³, sand"),
    "safety_factor": ("Safety factor", ""),
    "old_embedment_mm": ("Old footings, depth", "for lattice on an existing fence"),
    "old_diameter_mm": ("Old footings, diameter", "mm"),
}
STRENGTH_FIELDS = frozenset({"method", "soil_class", *LABELS, *GROUND})
"""Members that have a field; what an API caller wrote beside them stays."""


def strength_fields(strength: Mapping[str, Any]) -> tuple[MeasureField, ...]:
    """None but the method until one is chosen."""
    method = field_text(strength.get("method"))
    first = choice("strength/method", "Screening method", method, METHODS, "")
    if not method:
        return (first,)
    soils = [("", "not stated"), *((code, f"{code.replace('_', ' ')}: {soil.label}") for code, soil in SOILS.items())]
    asked = [_field(method, key, *LABELS[key], strength.get(key)) for key in METHOD_KEYS.get(method, ())]
    ground = [_field(method, key, *words, strength.get(key)) for key, words in GROUND.items()]
    return (first, *asked, choice("strength/soil_class", "Soil class", strength.get("soil_class"), soils, ""), *ground)


def _field(method: str, key: str, label: str, hint: str, value: Any) -> MeasureField:
    words = WORDS.get((method, key))
    if words:
        return choice(f"strength/{key}", label, value, [("", "not stated"), *((word, word) for word in words)], "")
    return MeasureField(f"strength/{key}", label, number_text(value), "number", hint=hint)
