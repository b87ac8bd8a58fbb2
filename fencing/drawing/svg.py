"""SVG text: widths of words, number formats, escaping and the few elements a drawing is made of.

One unit of every drawing is one millimetre of paper. Colours stand in presentation attributes, so that a printed drawing needs no
style sheet; a page's style sheet overrides them by class. Widths are those of B612, the font that ships with the project (units
of 1/20 em). Bold is as wide as regular.
"""

from __future__ import annotations

from functools import lru_cache
from html import escape
from unicodedata import combining, normalize

CAPITAL = 0.75  # height of a capital, as a share of the size
BELOW = 0.25  # depth below the baseline

_ASCII = (  # from the space to the tilde
    "7 7 8 17 11 18 14 4 9 9 11 12 5 9 6 11 13 13 13 13 13 13 13 13 13 13 6 5 13 10 13 11 "
    "20 13 13 12 13 12 11 13 14 6 9 12 11 18 15 16 12 16 13 11 12 14 13 19 13 12 12 9 11 10 15 11 "
    "11 10.5 12 10 12 11 8 12 12 6 6 11 7 18 12 12 12 12 8 9 8 12 11 15 11 11 10 12.98 4 12 15 "
)
_EM = {chr(32 + place): float(units) / 20 for place, units in enumerate(_ASCII.split())}
_EM |= {
    "\u2212": 0.55,
    "\u00b7": 0.25,
    "\u00d7": 0.8,
    "\u00b0": 0.3,
    "\u2013": 0.55,
    "\u2014": 1.05,
    "\u2026": 0.75,
    "\u00d8": 0.8,
}
_WIDEST = 1.05  # a letter that is not in the table counts as the widest


@lru_cache(maxsize=4096)
def measure_width(words: str, size: float) -> float:
    """Return the width [mm] of ``words`` set in ``size`` mm.

    >>> measure_width("2280", 2.0)
    5.2
    """
    letters = normalize("NFD", words) if not words.isascii() else words
    return round(sum(_EM.get(letter, 0 if combining(letter) else _WIDEST) for letter in letters) * size, 4)


def fit_words(words: str, size: float, room: float) -> str:
    """Return ``words``, or as much of them as fits in ``room`` mm, with an ellipsis.

    >>> fit_words("rear boundary", 2.0, 10)
    'rear bou\u2026'
    """
    if measure_width(words, size) <= room:
        return words
    while words and measure_width(words + "\u2026", size) > room:
        words = words[:-1]
    return words.rstrip() + "\u2026"


def format_level(mm: int) -> str:
    """Format a reduced level in metres with its sign.

    >>> format_level(1860), format_level(-540), format_level(0)
    ('+1.860', '\u22120.540', '0.000')
    """
    sign = "+" if mm > 0 else "\u2212" if mm < 0 else ""
    return f"{sign}{abs(mm) // 1000}.{abs(mm) % 1000:03}"


def format_metres(mm: int) -> str:
    """Format a length or chainage in metres.

    >>> format_metres(18240)
    '18.240'
    """
    return format_level(mm).lstrip("+")


INK = "#1B2420"
SOFT = "#4E5A54"
RULE = "#9AA29B"
STRING = "#B4380D"
GROUND = "#6B5A3E"
FOOTING = "#8C918C"
CONCRETE = "#ECEDE8"
PAPER = "#FFFFFF"


def _line(colour: str, weight: float, dash: str = "") -> str:
    return f'fill="none" stroke="{colour}" stroke-width="{weight}"' + (f' stroke-dasharray="{dash}"' if dash else "")


def _body(fill: str, colour: str, weight: float) -> str:
    return f'fill="{fill}" stroke="{colour}" stroke-width="{weight}"'


STYLES = {
    "post": _body(PAPER, INK, 0.2),
    "section": _body(INK, INK, 0.1),
    "rail": _body(PAPER, INK, 0.2),
    "rib": _line(RULE, 0.1),
    "lap": _line(SOFT, 0.13),
    "lattice": _line(SOFT, 0.1),
    "edge": _line(INK, 0.2),
    "run": _line(INK, 0.45),
    "ground": _line(GROUND, 0.4),
    "earth": _line(GROUND, 0.15),
    "hole": _body(CONCRETE, FOOTING, 0.15),
    "bedding": _line(FOOTING, 0.15),
    "buried": _line(SOFT, 0.13, "0.8 0.6"),
    "dim": _line(SOFT, 0.13),
    "tick": _line(INK, 0.3),
    "gate": _body(PAPER, INK, 0.25),
    "brace": _line(SOFT, 0.15, "1.6 0.8"),
    "hinge": _body(INK, INK, 0.1),
    "swing": _line(SOFT, 0.15, "1.2 0.8"),
    "match": _line(INK, 0.2, "4 1 0.8 1"),
    "wall": _line(INK, 0.5),
    "wallhatch": _line(INK, 0.15),
    "existing": _line(SOFT, 0.3, "1.8 1"),
    "remove": _line(SOFT, 0.15, "0.4 0.8"),
    "block": _body(INK, INK, 0.13),
    "blank": _body(PAPER, INK, 0.13),
    "notice": _body(PAPER, INK, 0.25),
    "hit": 'fill="none" stroke="none" pointer-events="all"',
}


def format_number(value: float) -> str:
    """Format a coordinate to a thousandth of a millimetre, no trailing zeros, never "-0".

    >>> format_number(12.5), format_number(-0.0001), format_number(3)
    ('12.5', '0', '3')
    """
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def format_point(x: float, y: float) -> str:
    """Format a point as its two coordinates.

    >>> format_point(12.5, 3)
    '12.5 3'
    """
    return f"{format_number(x)} {format_number(y)}"


def trace_polyline(points: list[tuple[float, float]], *, closed: bool = False) -> str:
    """Return path data through ``points``.

    >>> trace_polyline([(0, 0), (2, 0), (2, 1)], closed=True)
    'M0 0L2 0L2 1Z'
    """
    return "M" + "L".join(format_point(x, y) for x, y in points) + ("Z" if closed else "")


def trace_line(x1: float, y1: float, x2: float, y2: float) -> str:
    """Return path data of one straight line.

    >>> trace_line(0, 1, 2.5, 1)
    'M0 1L2.5 1'
    """
    return f"M{format_point(x1, y1)}L{format_point(x2, y2)}"


def trace_box(x: float, y: float, width: float, height: float) -> str:
    """Return path data of a rectangle.

    >>> trace_box(1, 2, 10, 5)
    'M1 2h10v5h-10Z'
    """
    return f"M{format_point(x, y)}h{format_number(width)}v{format_number(height)}h{format_number(-width)}Z"


def trace_circle(x: float, y: float, radius: float) -> str:
    """Return path data of a circle."""
    r = format_number(radius)
    across = format_number(2 * radius)
    return f"M{format_point(x - radius, y)}a{r} {r} 0 1 0 {across} 0a{r} {r} 0 1 0 {format_number(-2 * radius)} 0Z"


def draw_path(style: str, data: str, title: str = "", *, live: bool = False, extra: str = "") -> str:
    """Draw a path in one of ``STYLES``; ``title`` is for screen readers and pointers; return nothing if ``data`` is empty.

    >>> draw_path("run", "")  # nothing to draw
    ''
    >>> draw_path("edge", "M0 0L2 0")[:21]
    '<path class="d-edge" '
    """
    if not data:
        return ""
    look = STYLES[style]
    name = f"d-{style}"
    if live:
        look, name = look.replace(INK, STRING).replace(SOFT, STRING), f"{name} d-live"
    head = f'<path class="{name}" {look}{" " + extra if extra else ""} d="{data}"'
    return f"{head}><title>{escape(title)}</title></path>" if title else f"{head}/>"


def draw_text(
    x: float,
    y: float,
    words: str,
    size: float,
    *,
    anchor: str = "middle",
    soft: bool = False,
    bold: bool = False,
    live: bool = False,
    turn: float = 0,
) -> str:
    """Draw words with their baseline at (x, y), turned clockwise by ``turn`` degrees about it."""
    fill = STRING if live else SOFT if soft else INK
    name = "d-text d-live" if live else "d-text d-soft" if soft else "d-text"
    weight = ' font-weight="700"' if bold else ""
    place = f'x="{format_number(x)}" y="{format_number(y)}"'
    if turn:
        place += f' transform="rotate({format_number(turn)} {format_point(x, y)})"'
    return (
        f'<text class="{name}" {place} font-size="{format_number(size)}" text-anchor="{anchor}"{weight} fill="{fill}" '
        f'stroke="none">{escape(words)}</text>'
    )


def draw_group(name: str, body: str, title: str = "", **attributes: str) -> str:
    """Draw a group of class ``g-name`` with a title; ``bay="A-1"`` becomes ``data-bay``, an id or a transform stays.

    >>> draw_group("bay", "", bay="A-1")
    '<g class="g-bay" data-bay="A-1"></g>'
    """
    written = "".join(
        f' {key if key in ("id", "transform") else "data-" + key}="{escape(value)}"'
        for key, value in attributes.items()
    )
    head = f"<title>{escape(title)}</title>" if title else ""
    return f'<g class="g-{name}"{written}>{head}{body}</g>'


def make_id(prefix: str, name: str) -> str:
    """Return an id without spaces for any name: letters, digits and "-" stay, other characters become their numbers.

    >>> make_id("plan", "A-1"), make_id("plan", "north side")
    ('plan-A-1', 'plan-north_20side')
    """
    safe = "".join(
        letter if letter.isascii() and (letter.isalnum() or letter == "-") else f"_{ord(letter):x}" for letter in name
    )
    return f"{prefix}-{safe}"


def write_drawing(name: str, width: float, height: float, body: str, title: str, description: str) -> str:
    """Build a whole drawing ``width`` by ``height`` mm, with a title and a description for screen readers."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing drawing-{name}" role="img" width="{format_number(width)}mm" '
        f'height="{format_number(height)}mm" viewBox="0 0 {format_point(width, height)}" font-family="B612, sans-serif" '
        f'stroke-linejoin="round"><title>{escape(title)}</title><desc>{escape(description)}</desc>{body}</svg>'
    )
