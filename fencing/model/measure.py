"""What was measured on site: runs, stations, gates, retrofits.

Every length is integer millimetres; every level is integer millimetres above the job's datum. Chainage is
measured along a run from where its tape starts: the centre of the first post (``Basis.CENTRES``) or the
outside face of the first post (``Basis.OVERALL``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction


class MeasureBasis(StrEnum):
    """Where the tape was held: at post centres, or at the outside faces of the end posts."""

    CENTRES = "centres"
    OVERALL = "overall"


class Terminal(StrEnum):
    """What the end of a run stands at."""

    FREE = "free"
    CORNER = "corner"
    WALL = "wall"
    JOIN = "join"


class Form(StrEnum):
    """How a run follows the ground; ``AUTO`` is decided by the take-off."""

    LEVEL = "level"
    STEPPED = "stepped"
    RAKED = "raked"
    AUTO = "auto"


class Layout(StrEnum):
    """How a segment is divided into bays; ``AUTO`` is decided by the take-off."""

    FROM_START = "from_start"
    FROM_END = "from_end"
    EVEN = "even"
    BALANCED = "balanced"
    WHOLE_RAILS = "full_rails"
    AUTO = "auto"


class GateKind(StrEnum):
    """One leaf, one wide leaf, or two."""

    SINGLE = "single"
    WIDE = "wide"
    DOUBLE = "double"


@dataclass(frozen=True, slots=True)
class Station:
    """The ground's reduced level at a chainage."""

    at: int
    level: int


@dataclass(frozen=True, slots=True)
class Colours:
    """Finish of each part, by name; a part that is not named takes the finish in brackets.

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

    ``height`` is the finished height of a leaf, lattice included. ``hang`` is the side the leaf hangs on as seen
    walking along the run ("left" is the post met first), ``opens`` is "in" or "out".
    """

    id: str
    start: int
    opening: int
    kind: GateKind
    height: int
    lattice: int = 0
    hang: str = "left"
    opens: str = "in"
    hardware: tuple[str, ...] = ("hinges", "latch")

    @property
    def end(self) -> int:
        """Chainage [mm] of the inner face of the second post.

        >>> Gate("A-G1", 3000, 1000, GateKind.SINGLE, 1800).end
        4000
        """
        return self.start + self.opening


@dataclass(frozen=True, slots=True)
class Taper:
    """The last ``bays`` bays at an end ("start" or "end") run down to ``height`` at the last post."""

    at: str
    bays: int
    height: int


@dataclass(frozen=True, slots=True)
class Removal:
    """An old fence to take away."""

    kind: str
    length: int


@dataclass(frozen=True, slots=True)
class Run:
    """A straight length of fence in plan between two terminals.

    ``turn`` is the change of direction at the start, in degrees, clockwise seen from above, from the direction of
    the run before it in the list. ``levels`` is empty where none were taken: the ground is then level.
    ``shares`` maps party to exact share and adds up to 1, or is empty. ``misclosure`` is what its levelling book misses a
    known level by [mm], where that is more than a careful levelling does; 0 otherwise.
    """

    id: str
    length: int
    height: int
    basis: MeasureBasis = MeasureBasis.OVERALL
    turn: Fraction = Fraction(0)
    start: Terminal = Terminal.FREE
    end: Terminal = Terminal.FREE
    levels: tuple[Station, ...] = ()
    lattice: int = 0
    form: Form = Form.AUTO
    layout: Layout = Layout.FROM_START
    soil: str | None = None
    colours: Colours = Colours()
    taper: Taper | None = None
    gates: tuple[Gate, ...] = ()
    remove: Removal | None = None
    shares: Mapping[str, Fraction] = field(default_factory=dict)
    misclosure: int = 0


@dataclass(frozen=True, slots=True)
class Retrofit:
    """Lattice added to a standing fence: ``bays`` are its post-centre spacings in order."""

    id: str
    bays: tuple[int, ...]
    lattice: int
    colours: Colours = Colours()
    existing_height: int | None = None
    shares: Mapping[str, Fraction] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class StrengthRequest:
    """What the strength screening is asked: a method by name and its inputs as given, already checked."""

    method: str
    inputs: Mapping[str, str | int | bool] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Measure:
    """A whole site measure. ``sha256`` is the digest of the canonical document it was read from."""

    label: str
    system: str
    runs: tuple[Run, ...] = ()
    retrofits: tuple[Retrofit, ...] = ()
    strength: StrengthRequest | None = None
    sha256: str = ""
