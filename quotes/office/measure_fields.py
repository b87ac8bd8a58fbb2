"""The fields of the measure sheet, made from a document: each with what was typed, how it was read, and what is wrong with it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from catalogue.rules.site_words import NO_WORDS, SiteWords, plain_word
from quotes.office.fields import Choices, MeasureField, choice, field_text
from quotes.office.level_book_view import Reduction, reduction_of
from quotes.office.strength_fields import strength_fields
from shared.common.figures import localize
from shared.common.typed_lengths import metres, number_text

FORMS: Choices = (("auto", "automatic"), ("level", "level"), ("stepped", "stepped"), ("raked", "raked"))
LAYOUTS: Choices = (
    ("auto", "automatic (lowest cost)"), ("from_start", "full bays from the start"), ("from_end", "full bays from the end"),
    ("even", "equal bays"), ("balanced", "equal closing bay at each end"), ("full_rails", "full rail lengths"),
)  # fmt: skip
BASES: Choices = (("outside_faces", "outside faces of end posts"), ("centres", "post centres"))
TERMINALS: Choices = (("free", "free end"), ("corner", "corner"), ("wall", "wall"), ("join", "existing fence"))
GROUNDS: Choices = (
    ("flat", "level"), ("fall", "even fall"), ("stations", "levels at stations"), ("book", "level book"),
)  # fmt: skip
GATES: Choices = (("single", "single"), ("wide", "wide single"), ("double", "double"))
SIDES: Choices = (("left", "left"), ("right", "right"))
WAYS: Choices = (("in", "in"), ("out", "out"))
ENDS: Choices = (("", "no taper"), ("start", "at the start"), ("end", "at the end"))
HARDWARE: Choices = (
    ("", "hinges and latch"), ("hinges, latch, drop_bolt", "hinges, latch and drop bolt"), ("hinges", "hinges only"),
    ("latch", "latch only"), ("hinges, drop_bolt", "hinges and drop bolt"),
)  # fmt: skip
MANY_RUNS = 12
"""From here on a run's further fields are fetched when they are opened."""


@dataclass(frozen=True, slots=True)
class FieldGroup:
    """One gate, station or reading: its fields and what takes it away."""

    fields: tuple[MeasureField, ...]
    drop: str
    name: str


@dataclass(frozen=True, slots=True)
class RunFields:
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
    """Its further fields are all empty and are left off until somebody opens them."""
    reduction: Reduction | None = None

    kind: ClassVar[str] = "run"

    @property
    def otherwise(self) -> str:
        """What this run has otherwise than the job, in words."""
        return "; ".join(f"{item.label[:1].lower()}{item.label[1:]} {item.shown}" for item in self.more if item.value)


@dataclass(frozen=True, slots=True)
class RetrofitFields:
    place: int
    id: str
    fields: tuple[MeasureField, ...]

    kind: ClassVar[str] = "retrofit"


@dataclass(frozen=True, slots=True)
class SheetFields:
    job: tuple[MeasureField, ...]
    finishes: tuple[MeasureField, ...]
    strength: tuple[MeasureField, ...]
    runs: tuple[RunFields, ...]
    retrofits: tuple[RetrofitFields, ...]

    @property
    def rows(self) -> list[RunFields | RetrofitFields]:
        """Runs, then retrofits."""
        return [*self.runs, *self.retrofits]

    def all(self) -> Iterator[MeasureField]:
        """Every field, in the order of the sheet."""
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
        """The name of the field a fault's pointer is about, or of the nearest one to it; nothing where none is near."""
        names = [item.name for item in self.all()]
        wanted = pointer.strip("/")
        while wanted:
            for name in names:
                if name == wanted or name.startswith(wanted + "/"):
                    return name
            wanted = wanted.rpartition("/")[0]
        return ""


@dataclass(frozen=True, slots=True)
class FormChoices:
    """What can be chosen in this business."""

    systems: Choices
    finishes: Choices
    lattices: Sequence[int]
    words: SiteWords = NO_WORDS


def sheet_fields(document: Mapping[str, Any], offered: FormChoices, opened: int | None = None) -> SheetFields:
    """Every field of the sheet, in the order a tape is read; where there are many runs, ``opened`` shows all its fields."""
    listed = _list(document, "runs")
    many = len(listed) > MANY_RUNS
    runs = [_run(place, run, offered, fold=many and place != opened) for place, run in enumerate(listed)]
    retrofits = [_retrofit(place, row, offered) for place, row in enumerate(_list(document, "retrofits"))]
    data = document.get("defaults")
    defaults = data if isinstance(data, Mapping) else {}
    return SheetFields(
        _job(document, defaults, offered),
        _finishes("defaults", defaults, offered),
        strength_fields(_members(document, "strength")),
        tuple(runs),
        tuple(retrofits),
    )


def _job(document: Mapping[str, Any], defaults: Mapping[str, Any], offered: FormChoices) -> tuple[MeasureField, ...]:
    return (
        MeasureField("label", "Name", field_text(document.get("label"))),
        choice("system", "Fence system", document.get("system"), _systems(document, offered), ""),
        _height("defaults/height_mm", "Height", defaults.get("height_mm")),
        _lattice("defaults/lattice_mm", defaults.get("lattice_mm"), offered, "no lattice"),
        choice("defaults/form", "Slope method", defaults.get("form"), FORMS),
        choice("defaults/layout", "Bay layout", defaults.get("layout"), LAYOUTS, "from_start"),
        choice("defaults/basis", "Lengths measured between", defaults.get("basis"), BASES),
        _soil("defaults/soil", defaults.get("soil"), offered, "not stated"),
    )


def _systems(document: Mapping[str, Any], offered: FormChoices) -> Choices:
    """None is chosen where none was: a list that shows its first would look as if one were."""
    return (
        offered.systems
        if document.get("system") or not offered.systems
        else [("", "Select a fence system"), *offered.systems]
    )


def _run(place: int, run: Any, offered: FormChoices, *, fold: bool) -> RunFields:
    run = run if isinstance(run, Mapping) else {}
    at = f"runs/{place}"
    ground = ground_of(run)
    more = _more(at, run, offered)
    filled = any(item.value for item in more)
    return RunFields(
        place=place,
        id=field_text(run.get("id")) or str(place + 1),
        main=_main(at, run, place),
        ground=MeasureField(f"{at}/ground", "Ground", ground, "choice", GROUNDS),
        levels=_fall(at, run) if ground == "fall" else (),
        stations=_stations(at, place, run) if ground == "stations" else (),
        readings=_readings(at, place, run) if ground == "book" else (),
        gates=tuple(_gate(at, place, number, gate) for number, gate in enumerate(_list(run, "gates"))),
        more=() if fold and not filled else more,
        folded=fold and not filled,
        reduction=reduction_of(run["book"]) if ground == "book" else None,
    )


def ground_of(run: Mapping[str, Any]) -> str:
    """Which of the four ways the ground was written down."""
    levels = _list(run, "levels")
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
        _length(f"{at}/length_mm", "Length", run.get("length_mm"), "18.24, 18,24 m, 18240 or 60'"),
        *((turn_field(at, run.get("turn_deg")),) if place else ()),
        choice(f"{at}/start", "Starts at", run.get("start"), TERMINALS),
        choice(f"{at}/end", "Ends at", run.get("end"), TERMINALS),
    )


def _fall(at: str, run: Mapping[str, Any]) -> tuple[MeasureField, ...]:
    first, last = _list(run, "levels")
    return (
        _level(f"{at}/levels/0/1", "Level at the start", first[1], "0 where the tape starts"),
        _level(f"{at}/levels/1/1", "Level at the end", last[1], localize("−0.54 is 540 mm lower")),
    )


def _stations(at: str, place: int, run: Mapping[str, Any]) -> tuple[FieldGroup, ...]:
    rows = []
    for number, row in enumerate(_list(run, "levels")):
        chainage, level = row if isinstance(row, list) and len(row) == 2 else (row, None)
        name = f"{at}/levels/{number}"
        fields = (_length(f"{name}/0", "Chainage", chainage), _level(f"{name}/1", "Level", level))
        rows.append(FieldGroup(fields, f"drop-station:{place}/{number}", f"station {number + 1}"))
    return tuple(rows)


def _readings(at: str, place: int, run: Mapping[str, Any]) -> tuple[FieldGroup, ...]:
    rows = []
    for number, data in enumerate(_list(run, "book")):
        row = data if isinstance(data, Mapping) else {}
        name = f"{at}/book/{number}"
        sights = [MeasureField(f"{name}/{key}", word, number_text(row.get(key)), "number") for key, word in SIGHTS]
        fields = (
            _length(f"{name}/at_mm", "Chainage", row.get("at_mm")),
            *sights,
            _level(f"{name}/level_mm", "Benchmark level", row.get("level_mm")),
        )
        rows.append(FieldGroup(fields, f"drop-reading:{place}/{number}", f"reading {number + 1}"))
    return tuple(rows)


SIGHTS = (("backsight_m", "Backsight"), ("intermediate_m", "Intermediate sight"), ("foresight_m", "Foresight"))


def _gate(at: str, place: int, number: int, told: Any) -> FieldGroup:
    gate = told if isinstance(told, Mapping) else {}
    name = f"{at}/gates/{number}"
    fields = (
        _length(f"{name}/from_mm", "Distance to the first gate post", gate.get("from_mm"), "inside face"),
        _height(f"{name}/opening_mm", "Opening", gate.get("opening_mm"), "between the posts"),
        choice(f"{name}/kind", "Gate type", gate.get("kind"), GATES),
        choice(f"{name}/hinge_side", "Hinge side", gate.get("hinge_side"), SIDES),
        choice(f"{name}/swing", "Opens in or out", gate.get("swing"), WAYS),
        _height(f"{name}/height_mm", "Height", gate.get("height_mm"), "same as run"),
        choice(f"{name}/hardware", "Hardware", _hardware(gate.get("hardware")), HARDWARE, ""),
    )
    return FieldGroup(fields, f"drop-gate:{place}/{number}", f"gate {number + 1}")


def _hardware(value: Any) -> Any:
    return ", ".join(map(str, value)) if isinstance(value, list) else value


def _more(at: str, run: Mapping[str, Any], offered: FormChoices) -> tuple[MeasureField, ...]:
    taper, old = _members(run, "taper"), _members(run, "existing_fence")
    return (
        _height(f"{at}/height_mm", "Height", run.get("height_mm"), "same as job"),
        _lattice(f"{at}/lattice_mm", run.get("lattice_mm"), offered, "same as job"),
        choice(f"{at}/form", "Slope method", run.get("form"), [("", "same as job"), *FORMS], ""),
        choice(f"{at}/layout", "Bay layout", run.get("layout"), [("", "same as job"), *LAYOUTS], ""),
        choice(f"{at}/basis", "Lengths measured between", run.get("basis"), [("", "same as job"), *BASES], ""),
        _soil(f"{at}/soil", run.get("soil"), offered, "same as job"),
        choice(f"{at}/taper/at", "Taper at", taper.get("at"), ENDS, ""),
        MeasureField(f"{at}/taper/bays", "Tapered bays", field_text(taper.get("bays")), "number"),
        _height(f"{at}/taper/height_mm", "Height at the low end", taper.get("height_mm")),
        MeasureField(
            f"{at}/shares", "Cost shares", _shares(run.get("shares")), hint="owner 1/2; neighbour 1/2, or 60/40"
        ),
        _old_fence(f"{at}/existing_fence/kind", old.get("kind"), offered),
        _length(f"{at}/existing_fence/length_mm", "Length to remove", old.get("length_mm"), "same as run"),
        *_finishes(at, run, offered),
    )


def _soil(name: str, value: Any, offered: FormChoices, empty: str) -> MeasureField:
    soils = [("", empty), *((soil, soil) for soil in offered.words.soils)]
    return choice(name, "Soil", _plain(value, offered.words.soils), soils, "")


def _old_fence(name: str, value: Any, offered: FormChoices) -> MeasureField:
    words = offered.words
    kinds = [(kind, f"{kind} (hazardous)" if kind in words.hazardous else kind) for kind in words.old_fences]
    return choice(name, "Existing fence to remove", _plain(value, words.old_fences), [("", "none"), *kinds], "")


def _plain(value: Any, known: Sequence[str]) -> Any:
    """A word as the price rules spell it; one they do not know as it was typed."""
    plain = plain_word(value) if isinstance(value, str) else value
    return plain if plain in known else value


def _retrofit(place: int, told: Any, offered: FormChoices) -> RetrofitFields:
    row = told if isinstance(told, Mapping) else {}
    at = f"retrofits/{place}"
    fields = (
        MeasureField(f"{at}/id", "Name", field_text(row.get("id"))),
        MeasureField(f"{at}/bays_mm", "Post spacings", _bays(row.get("bays_mm")), hint=localize("3 x 2.4 2.31")),
        _lattice(f"{at}/lattice_mm", row.get("lattice_mm"), offered, "same as job"),
        _height(f"{at}/existing_height_mm", "Existing fence height", row.get("existing_height_mm")),
        MeasureField(
            f"{at}/shares", "Cost shares", _shares(row.get("shares")), hint="owner 1/2; neighbour 1/2, or 60/40"
        ),
    )
    return RetrofitFields(place, field_text(row.get("id")) or str(place + 1), fields)


def _finishes(at: str, row: Mapping[str, Any], offered: FormChoices) -> tuple[MeasureField, ...]:
    finishes = _members(row, "finishes")
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


def _length(name: str, label: str, value: Any, hint: str = "") -> MeasureField:
    whole = type(value) is int
    return MeasureField(
        name,
        label,
        metres(value) if whole else field_text(value),
        "number",
        (),
        hint,
        f"{metres(value)} m" if whole else "",
    )


def _level(name: str, label: str, value: Any, hint: str = "") -> MeasureField:
    return replace(_length(name, label, value, hint), kind="signed")


def _height(name: str, label: str, value: Any, hint: str = "") -> MeasureField:
    return MeasureField(
        name, label, field_text(value), "number", (), hint, f"{metres(value)} m" if type(value) is int else ""
    )


def _lattice(name: str, value: Any, offered: FormChoices, empty: str) -> MeasureField:
    own = empty == "same as job"
    choices = [
        ("", empty),
        *((str(item), f"{item} mm") for item in offered.lattices),
        *([("0", "none")] if own else []),
    ]
    return choice(name, "Lattice top", value if own or value != 0 else None, choices, "")


def _shares(value: Any) -> str:
    return (
        "; ".join(f"{party} {share}" for party, share in value.items())
        if isinstance(value, Mapping)
        else field_text(value)
    )


def _bays(value: Any) -> str:
    if not isinstance(value, list):
        return field_text(value)
    return " ".join(metres(item) if type(item) is int else field_text(item) for item in value)


def _list(row: Mapping[str, Any], key: str) -> list[Any]:
    value = row.get(key)
    return value if isinstance(value, list) else []


def _members(row: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = row.get(key)
    return value if isinstance(value, Mapping) else {}
