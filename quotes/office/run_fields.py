"""Fields of one run on the measure page: lengths, ground, gates, and settings that differ from the job."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from catalogue.rules.site_words import NO_WORDS, SiteWords, plain_word
from fencing.model.measure import FORMS, LAYOUTS, Form, GateKind, Layout
from quotes.office.fields import Choices, MeasureField, choice, field_text, height_field, length_field, level_field
from quotes.office.level_book_view import Reduction, reduction_of
from shared.common.figures import localize
from shared.common.typed_entries import number_text

FORM_CHOICES: Choices = tuple((form.value, form.label) for form in (Form.AUTO, *FORMS))
LAYOUT_CHOICES: Choices = tuple((layout.value, layout.label) for layout in (Layout.AUTO, *LAYOUTS))
BASES: Choices = (("outside_faces", "outside faces of end posts"), ("centres", "post centres"))
TERMINALS: Choices = (("free", "free end"), ("corner", "corner"), ("wall", "wall"), ("join", "existing fence"))
GROUNDS: Choices = (
    ("flat", "level"), ("fall", "even fall"), ("stations", "levels at stations"), ("book", "level book"),
)  # fmt: skip
GATES: Choices = tuple((kind.value, kind.label) for kind in GateKind)
SIDES: Choices = (("left", "left"), ("right", "right"))
WAYS: Choices = (("in", "in"), ("out", "out"))
ENDS: Choices = (("", "no taper"), ("start", "at the start"), ("end", "at the end"))
HARDWARE: Choices = (
    ("", "hinges and latch"), ("hinges, latch, drop_bolt", "hinges, latch and drop bolt"), ("hinges", "hinges only"),
    ("latch", "latch only"), ("hinges, drop_bolt", "hinges and drop bolt"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class FieldGroup:
    """Fields of one gate, station or reading, and the action that removes it."""

    fields: tuple[MeasureField, ...]
    drop: str
    name: str


@dataclass(frozen=True, slots=True)
class RunFields:
    """Fields of one run. ``more`` are the settings that differ from the job."""

    place: int
    id: str
    main: tuple[MeasureField, ...]
    ground: MeasureField
    levels: tuple[MeasureField, ...]
    stations: tuple[FieldGroup, ...]
    readings: tuple[FieldGroup, ...]
    gates: tuple[FieldGroup, ...]
    more: tuple[MeasureField, ...]
    folded: bool = False
    """The fields of ``more`` are empty and not shown until the user opens them."""
    reduction: Reduction | None = None

    kind: ClassVar[str] = "run"

    @property
    def own_settings(self) -> str:
        """Return the settings of this run that differ from the job, as text."""
        return "; ".join(f"{item.label[:1].lower()}{item.label[1:]} {item.shown}" for item in self.more if item.value)


@dataclass(frozen=True, slots=True)
class FormChoices:
    """Choices of a business: fence systems, finishes, lattice heights, and the labels of its price rules."""

    systems: Choices
    finishes: Choices
    lattices: Sequence[int]
    words: SiteWords = NO_WORDS


def run_fields(place: int, run: Any, offered: FormChoices, *, fold: bool) -> RunFields:
    """Return the fields of a run. ``fold`` leaves the empty additional fields out."""
    run = run if isinstance(run, Mapping) else {}
    at = f"runs/{place}"
    ground = ground_of(run)
    more = _more(at, run, offered)
    filled = any(item.value for item in more)
    return RunFields(
        place=place,
        id=field_text(run.get("id")) or str(place + 1),
        main=_main(at, run, place),
        ground=MeasureField(f"{at}/ground", "Ground", ground, "select", GROUNDS),
        levels=_fall(at, run) if ground == "fall" else (),
        stations=_stations(at, place, run) if ground == "stations" else (),
        readings=_readings(at, place, run) if ground == "book" else (),
        gates=tuple(_gate(at, place, number, gate) for number, gate in enumerate(list_member(run, "gates"))),
        more=() if fold and not filled else more,
        folded=fold and not filled,
        reduction=reduction_of(run["book"]) if ground == "book" else None,
    )


def ground_of(run: Mapping[str, Any]) -> str:
    """Return the form in which the ground was entered: flat, fall, stations or book."""
    levels = list_member(run, "levels")
    if "book" in run:
        return "book"
    if not levels:
        return "flat"
    pairs = all(isinstance(row, list) and len(row) == 2 for row in levels)
    plain = pairs and len(levels) == 2 and levels[0][0] == 0 and levels[1][0] in (run.get("length_mm"), None)
    return "fall" if plain else "stations"


def turn_field(at: str, degrees: Any) -> MeasureField:
    """Return the field of the turn between a run and the one before it."""
    return MeasureField(f"{at}/turn_deg", "Angle", number_text(degrees), "signed", hint="degrees, right +, left −")


def _main(at: str, run: Mapping[str, Any], place: int) -> tuple[MeasureField, ...]:
    return (
        MeasureField(f"{at}/id", "Run", field_text(run.get("id"))),
        length_field(f"{at}/length_mm", "Length", run.get("length_mm"), "18.24, 18,24 m, 18240 or 60'"),
        *((turn_field(at, run.get("turn_deg")),) if place else ()),
        choice(f"{at}/start", "Starts at", run.get("start"), TERMINALS),
        choice(f"{at}/end", "Ends at", run.get("end"), TERMINALS),
    )


def _fall(at: str, run: Mapping[str, Any]) -> tuple[MeasureField, ...]:
    first, last = list_member(run, "levels")
    return (
        level_field(f"{at}/levels/0/1", "Level at the start", first[1], "0 where the tape starts"),
        level_field(f"{at}/levels/1/1", "Level at the end", last[1], localize("−0.54 is 540 mm lower")),
    )


def _stations(at: str, place: int, run: Mapping[str, Any]) -> tuple[FieldGroup, ...]:
    rows = []
    for number, row in enumerate(list_member(run, "levels")):
        chainage, level = row if isinstance(row, list) and len(row) == 2 else (row, None)
        name = f"{at}/levels/{number}"
        fields = (length_field(f"{name}/0", "Chainage", chainage), level_field(f"{name}/1", "Level", level))
        rows.append(FieldGroup(fields, f"drop-station:{place}/{number}", f"station {number + 1}"))
    return tuple(rows)


def _readings(at: str, place: int, run: Mapping[str, Any]) -> tuple[FieldGroup, ...]:
    rows = []
    for number, data in enumerate(list_member(run, "book")):
        row = data if isinstance(data, Mapping) else {}
        name = f"{at}/book/{number}"
        sights = [MeasureField(f"{name}/{key}", word, number_text(row.get(key)), "number") for key, word in SIGHTS]
        fields = (
            length_field(f"{name}/at_mm", "Chainage", row.get("at_mm")),
            *sights,
            level_field(f"{name}/level_mm", "Benchmark level", row.get("level_mm")),
        )
        rows.append(FieldGroup(fields, f"drop-reading:{place}/{number}", f"reading {number + 1}"))
    return tuple(rows)


SIGHTS = (("backsight_m", "Backsight"), ("intermediate_m", "Intermediate sight"), ("foresight_m", "Foresight"))


def _gate(at: str, place: int, number: int, value: Any) -> FieldGroup:
    gate = value if isinstance(value, Mapping) else {}
    name, hardware = f"{at}/gates/{number}", gate.get("hardware")
    hardware = ", ".join(map(str, hardware)) if isinstance(hardware, list) else hardware
    fields = (
        length_field(f"{name}/from_mm", "Distance to the first gate post", gate.get("from_mm"), "inside face"),
        height_field(f"{name}/opening_mm", "Opening", gate.get("opening_mm"), "between the posts"),
        choice(f"{name}/kind", "Gate type", gate.get("kind"), GATES),
        choice(f"{name}/hinge_side", "Hinge side", gate.get("hinge_side"), SIDES),
        choice(f"{name}/swing", "Opens in or out", gate.get("swing"), WAYS),
        height_field(f"{name}/height_mm", "Height", gate.get("height_mm"), "same as run"),
        choice(f"{name}/hardware", "Hardware", hardware, HARDWARE, ""),
    )
    return FieldGroup(fields, f"drop-gate:{place}/{number}", f"gate {number + 1}")


def _more(at: str, run: Mapping[str, Any], offered: FormChoices) -> tuple[MeasureField, ...]:
    taper, old = object_member(run, "taper"), object_member(run, "existing_fence")
    return (
        height_field(f"{at}/height_mm", "Height", run.get("height_mm"), "same as job"),
        lattice_field(f"{at}/lattice_mm", run.get("lattice_mm"), offered, "same as job"),
        choice(f"{at}/form", "Slope method", run.get("form"), [("", "same as job"), *FORM_CHOICES], ""),
        choice(f"{at}/layout", "Bay layout", run.get("layout"), [("", "same as job"), *LAYOUT_CHOICES], ""),
        choice(f"{at}/basis", "Lengths measured between", run.get("basis"), [("", "same as job"), *BASES], ""),
        soil_field(f"{at}/soil", run.get("soil"), offered, "same as job"),
        choice(f"{at}/taper/at", "Taper at", taper.get("at"), ENDS, ""),
        MeasureField(f"{at}/taper/bays", "Tapered bays", field_text(taper.get("bays")), "number"),
        height_field(f"{at}/taper/height_mm", "Height at the low end", taper.get("height_mm")),
        MeasureField(
            f"{at}/shares", "Cost shares", shares_text(run.get("shares")), hint="owner 1/2; neighbour 1/2, or 60/40"
        ),
        _old_fence(f"{at}/existing_fence/kind", old.get("kind"), offered),
        length_field(f"{at}/existing_fence/length_mm", "Length to remove", old.get("length_mm"), "same as run"),
        *finish_fields(at, run, offered),
    )


def soil_field(name: str, value: Any, offered: FormChoices, empty: str) -> MeasureField:
    """Return the field of a soil."""
    soils = [("", empty), *((soil, soil) for soil in offered.words.soils)]
    return choice(name, "Soil", _plain(value, offered.words.soils), soils, "")


def _old_fence(name: str, value: Any, offered: FormChoices) -> MeasureField:
    words = offered.words
    kinds = [(kind, f"{kind} (hazardous)" if kind in words.hazardous else kind) for kind in words.old_fences]
    return choice(name, "Existing fence to remove", _plain(value, words.old_fences), [("", "none"), *kinds], "")


def _plain(value: Any, known: Sequence[str]) -> Any:
    """Return a text as the price rules spell it, or unchanged if they do not know it."""
    plain = plain_word(value) if isinstance(value, str) else value
    return plain if plain in known else value


def finish_fields(at: str, row: Mapping[str, Any], offered: FormChoices) -> tuple[MeasureField, ...]:
    """Return the fields of the finishes of a job or run."""
    finishes = object_member(row, "finishes")
    empty = "none" if at == "defaults" else "same as job"
    return tuple(
        choice(
            f"{at}/finishes/{part}",
            f"{part.capitalize()} finish",
            finishes.get(part),
            [("", empty), *offered.finishes],
            "",
        )
        for part in ("post", "rail", "sheet")
    )


def lattice_field(name: str, value: Any, offered: FormChoices, empty: str) -> MeasureField:
    """Return the field of a lattice height."""
    own = empty == "same as job"
    choices = [
        ("", empty),
        *((str(item), f"{item} mm") for item in offered.lattices),
        *([("0", "none")] if own else []),
    ]
    return choice(name, "Lattice top", value if own or value != 0 else None, choices, "")


def shares_text(value: Any) -> str:
    """Return cost shares as they are entered."""
    return (
        "; ".join(f"{party} {share}" for party, share in value.items())
        if isinstance(value, Mapping)
        else field_text(value)
    )


def list_member(row: Mapping[str, Any], key: str) -> list[Any]:
    """Return a member that is a list, else an empty list."""
    value = row.get(key)
    return value if isinstance(value, list) else []


def object_member(row: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    """Return a member that is an object, else an empty one."""
    value = row.get(key)
    return value if isinstance(value, Mapping) else {}
