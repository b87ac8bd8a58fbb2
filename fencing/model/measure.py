"""The site measure: runs, stations, gates, retrofits.

Lengths are integer millimetres; levels are integer millimetres above the job's datum. Chainage is measured along a run from
the start of the tape: the centre of the first post (``MeasureBasis.CENTRES``) or its outside face
(``MeasureBasis.OUTSIDE_FACES``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import Self

MEASURE_SCHEMA = "measure-2"
"""Name of the document format, in its member ``schema`` and under ``/schemas``."""


class MeasureBasis(StrEnum):
    """Points that the tape measures between: post centres, or outside faces of the end posts."""

    CENTRES = "centres"
    OUTSIDE_FACES = "outside_faces"


class Terminal(StrEnum):
    """Kind of the end of a run."""

    FREE = "free"
    CORNER = "corner"
    WALL = "wall"
    JOIN = "join"


class Form(StrEnum):
    """Form of a run: how it follows the ground. The take-off chooses for ``AUTO``.

    ``label`` is its name on pages, ``scope`` its description in the scope of a quote. To add a form, add a row here and its
    geometry in :mod:`fencing.set_out.ground`.
    """

    label: str
    scope: str

    LEVEL = "level", "level", "level along its whole length"
    STEPPED = "stepped", "stepped", "stepped down the slope, each panel level"
    RAKED = "raked", "raked", "following the slope of the ground"
    AUTO = "auto", "automatic", ""

    def __new__(cls, code: str, label: str = "", scope: str = "") -> Self:
        form = str.__new__(cls, code)
        form._value_, form.label, form.scope = code, label, scope
        return form


FORMS = tuple(form for form in Form if form is not Form.AUTO)
"""Forms that can be built, in order of preference."""


class Layout(StrEnum):
    """Layout of a segment: how it is divided into bays. The take-off chooses for ``AUTO``. ``label`` is its name on pages."""

    label: str

    FROM_START = "from_start", "full bays from the start"
    FROM_END = "from_end", "full bays from the end"
    EVEN = "even", "equal bays"
    BALANCED = "balanced", "equal closing bay at each end"
    WHOLE_RAILS = "full_rails", "full rail lengths"
    AUTO = "auto", "automatic (lowest cost)"

    def __new__(cls, code: str, label: str = "") -> Self:
        layout = str.__new__(cls, code)
        layout._value_, layout.label = code, label
        return layout


LAYOUTS = tuple(layout for layout in Layout if layout is not Layout.AUTO)
"""Layouts that can be built, in order of preference."""


class GateKind(StrEnum):
    """Kind of gate: one leaf, one wide leaf, or two leaves. ``label`` is its name on pages and papers."""

    label: str

    SINGLE = "single", "single"
    WIDE = "wide", "wide single"
    DOUBLE = "double", "double"

    def __new__(cls, code: str, label: str = "") -> Self:
        kind = str.__new__(cls, code)
        kind._value_, kind.label = code, label
        return kind


@dataclass(frozen=True, slots=True)
class Station:
    """Reduced level of the ground at a chainage."""

    at: int
    level: int


@dataclass(frozen=True, slots=True)
class Finishes:
    """Name of each part's finish; a part without one takes the finish of the part in brackets.

    ``post``; ``rail``; ``sheet``; ``lattice`` [rail]; ``cap`` [post]; ``screw`` [rail]; ``gate`` [post].
    """

    post: str | None = None
    rail: str | None = None
    sheet: str | None = None
    lattice: str | None = None
    cap: str | None = None
    screw: str | None = None
    gate: str | None = None


@dataclass(frozen=True, slots=True)
class Gate:
    """An opening of ``opening`` mm whose first post's inner face is at chainage ``start``.

    ``height`` is the finished height of a leaf, lattice included. ``hinge_side`` is the side of the hinges, seen in the direction
    of the run ("left" is the first post). ``swing`` is "in" or "out".
    """

    id: str
    start: int
    opening: int
    kind: GateKind
    height: int
    lattice: int = 0
    hinge_side: str = "left"
    swing: str = "in"
    hardware: tuple[str, ...] = ("hinges", "latch")

    @property
    def end(self) -> int:
        """Return the chainage [mm] of the inner face of the second post.

        >>> Gate("A-G1", 3000, 1000, GateKind.SINGLE, 1800).end
        4000
        """
        return self.start + self.opening


@dataclass(frozen=True, slots=True)
class Taper:
    """A taper: the last ``bays`` bays at an end ("start" or "end") fall to ``height`` at the last post."""

    at: str
    bays: int
    height: int


@dataclass(frozen=True, slots=True)
class ExistingFence:
    """An existing fence to remove."""

    kind: str
    length: int


@dataclass(frozen=True, slots=True)
class Run:
    """A straight length of fence in plan between two terminals.

    ``turn`` is the change of direction at the start, in degrees, clockwise seen from above, from the direction of the run
    before it in the list. ``levels`` is empty if no levels were measured: the ground is then level. ``shares`` maps each party
    to an exact share and adds up to 1, or is empty. ``misclosure`` is the error of its levelling book at a known level
    [mm], if it is above the usual limit; otherwise it is 0.
    """

    id: str
    length: int
    height: int
    basis: MeasureBasis = MeasureBasis.OUTSIDE_FACES
    turn: Fraction = Fraction(0)
    start: Terminal = Terminal.FREE
    end: Terminal = Terminal.FREE
    levels: tuple[Station, ...] = ()
    lattice: int = 0
    form: Form = Form.AUTO
    layout: Layout = Layout.FROM_START
    soil: str | None = None
    finishes: Finishes = Finishes()
    taper: Taper | None = None
    gates: tuple[Gate, ...] = ()
    existing_fence: ExistingFence | None = None
    shares: Mapping[str, Fraction] = field(default_factory=dict)
    misclosure: int = 0


@dataclass(frozen=True, slots=True)
class Retrofit:
    """Lattice added to an existing fence: ``bays`` are the distances between its post centres, in order."""

    id: str
    bays: tuple[int, ...]
    lattice: int
    finishes: Finishes = Finishes()
    existing_height: int | None = None
    shares: Mapping[str, Fraction] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class StrengthRequest:
    """Request for the strength screening: name of a method and its checked inputs."""

    method: str
    inputs: Mapping[str, str | int | bool] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Measure:
    """A site measure. ``sha256`` is the digest of the canonical document it was read from."""

    label: str
    system: str
    runs: tuple[Run, ...] = ()
    retrofits: tuple[Retrofit, ...] = ()
    strength: StrengthRequest | None = None
    sha256: str = ""
