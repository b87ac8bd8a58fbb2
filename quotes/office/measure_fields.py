"""Fields of the measure page, made from a document."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from fencing.reading.strength import METHOD_KEYS, WORDS
from fencing.strength.embedment import SOILS
from quotes.office.fields import Choices, MeasureField, choice, field_text, height_field
from quotes.office.run_fields import (
    BASES,
    FORM_CHOICES,
    LAYOUT_CHOICES,
    FormChoices,
    RunFields,
    finish_fields,
    lattice_field,
    list_member,
    object_member,
    run_fields,
    shares_text,
    soil_field,
)
from shared.common.figures import localize
from shared.common.typed_entries import metres, number_text

MANY_RUNS = 12
"""With more runs than this, the additional fields of a run are loaded when the user opens them."""
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


@dataclass(frozen=True, slots=True)
class RetrofitFields:
    """Fields of a retrofit: a new lattice on an existing fence."""

    place: int
    id: str
    fields: tuple[MeasureField, ...]

    kind: ClassVar[str] = "retrofit"


@dataclass(frozen=True, slots=True)
class SheetFields:
    """All fields of the measure page."""

    job: tuple[MeasureField, ...]
    finishes: tuple[MeasureField, ...]
    strength: tuple[MeasureField, ...]
    runs: tuple[RunFields, ...]
    retrofits: tuple[RetrofitFields, ...]

    @property
    def rows(self) -> list[RunFields | RetrofitFields]:
        """Return runs, then retrofits."""
        return [*self.runs, *self.retrofits]

    def all(self) -> Iterator[MeasureField]:
        """Yield every field, in the order of the page."""
        yield from self.job
        yield from self.finishes
        yield from self.strength
        for run in self.runs:
            yield from (*run.main, run.ground, *run.levels)
            for row in (*run.stations, *run.readings, *run.gates):
                yield from row.fields
            yield from run.more
        for retrofit in self.retrofits:
            yield from retrofit.fields

    def place_of(self, pointer: str) -> str:
        """Return the name of the field of an error's pointer, or of the nearest one; empty if there is none."""
        names = [item.name for item in self.all()]
        path = pointer.strip("/")
        while path:
            for name in names:
                if name == path or name.startswith(path + "/"):
                    return name
            path = path.rpartition("/")[0]
        return ""


def sheet_fields(document: Mapping[str, Any], offered: FormChoices, opened: int | None = None) -> SheetFields:
    """Return every field of the page. With many runs only the run ``opened`` has its additional fields."""
    listed = list_member(document, "runs")
    many = len(listed) > MANY_RUNS
    runs = [run_fields(place, run, offered, fold=many and place != opened) for place, run in enumerate(listed)]
    retrofits = [_retrofit(place, row, offered) for place, row in enumerate(list_member(document, "retrofits"))]
    data = document.get("defaults")
    defaults = data if isinstance(data, Mapping) else {}
    return SheetFields(
        _job(document, defaults, offered),
        finish_fields("defaults", defaults, offered),
        strength_fields(object_member(document, "strength")),
        tuple(runs),
        tuple(retrofits),
    )


def _job(document: Mapping[str, Any], defaults: Mapping[str, Any], offered: FormChoices) -> tuple[MeasureField, ...]:
    return (
        MeasureField("label", "Name", field_text(document.get("label"))),
        choice("system", "Fence system", document.get("system"), _systems(document, offered), ""),
        height_field("defaults/height_mm", "Height", defaults.get("height_mm")),
        lattice_field("defaults/lattice_mm", defaults.get("lattice_mm"), offered, "no lattice"),
        choice("defaults/form", "Slope method", defaults.get("form"), FORM_CHOICES),
        choice("defaults/layout", "Bay layout", defaults.get("layout"), LAYOUT_CHOICES, "from_start"),
        choice("defaults/basis", "Lengths measured between", defaults.get("basis"), BASES),
        soil_field("defaults/soil", defaults.get("soil"), offered, "not stated"),
    )


def _systems(document: Mapping[str, Any], offered: FormChoices) -> Choices:
    """Return the fence systems, after an empty choice if the document has none."""
    return (
        offered.systems
        if document.get("system") or not offered.systems
        else [("", "Select a fence system"), *offered.systems]
    )


def _retrofit(place: int, value: Any, offered: FormChoices) -> RetrofitFields:
    row = value if isinstance(value, Mapping) else {}
    at = f"retrofits/{place}"
    fields = (
        MeasureField(f"{at}/id", "Name", field_text(row.get("id"))),
        MeasureField(f"{at}/bays_mm", "Post spacings", _bays(row.get("bays_mm")), hint=localize("3 x 2.4 2.31")),
        lattice_field(f"{at}/lattice_mm", row.get("lattice_mm"), offered, "same as job"),
        height_field(f"{at}/existing_height_mm", "Existing fence height", row.get("existing_height_mm")),
        MeasureField(
            f"{at}/shares", "Cost shares", shares_text(row.get("shares")), hint="owner 1/2; neighbour 1/2, or 60/40"
        ),
    )
    return RetrofitFields(place, field_text(row.get("id")) or str(place + 1), fields)


def _bays(value: Any) -> str:
    if not isinstance(value, list):
        return field_text(value)
    return " ".join(metres(item) if type(item) is int else field_text(item) for item in value)


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
