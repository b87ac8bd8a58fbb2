"""Strength screening on paper: method, inputs, outcome of every post, suggested changes and limits of the method."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from quotes.documents.number_format import MINUS, ranges, worded
from shared.common.figures import localize
from shared.common.money import shown

Document = Mapping[str, Any]

UNITS = {"_kn_m3": "kN/m³", "_kpa": "kPa", "_m_s": "m/s", "_deg": "°", "_mm": "mm", "_years": "years"}
WORDS = {"bearing_doubled": "soil bearing doubled", "restrained_at_ground": "paved at the ground"}


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """A suggested change. ``cost``: added price before tax, empty if not priced. ``height`` [mm] is of ``run``."""

    number: int
    change: str
    text: str
    posts: str
    cost: str
    resolves: bool
    kind: str
    run: str
    height: int


@dataclass(frozen=True, slots=True)
class ScreenedRow:
    """Posts that differ only in position. Height and embedment in mm, force in kN, moments in kN.m."""

    posts: str
    height: str
    force: str
    moment: str
    capacity: str
    used: str
    embedment: str
    needed: str
    second: str
    outcome: str
    reasons: tuple[str, ...]
    helps: tuple[ChangeRow, ...]


@dataclass(frozen=True, slots=True)
class StrengthSheet:
    """Values of the screening. ``has_second``: a second method gives an embedment too. ``priced``: some change has a price."""

    method: str
    inputs: str
    ground: str
    summary: str
    interpretation: tuple[str, ...]
    rows: tuple[ScreenedRow, ...]
    changes: tuple[ChangeRow, ...]
    remarks: tuple[str, ...]
    disclaimer: str
    has_second: bool
    priced: bool


def strength_sheet(takeoff: Document, price: Callable[[str], str] | None = None) -> StrengthSheet | None:
    """Return the values of the screening of a take-off document; None if the measure asks for none.

    Args:
        takeoff: the document; its suggested changes may have a cost.
        price: formats a cost; None: no costs are shown.
    """
    data = takeoff.get("strength")
    if data is None:
        return None
    ground = data["ground"]
    classes = "; ".join(item["label"] for item in ground["classes"])
    methods = " and ".join(filter(None, (ground["formula"], ground["second_method"])))
    screened = {post["post"] for post in data["posts"]}
    changes = tuple(
        (tuple(item["posts"]), _change_row(number, item, _concerned(item["posts"], screened), price))
        for number, item in enumerate(data["suggested_changes"], 1)
    )
    return StrengthSheet(
        method=worded(data["method"]["title"]),
        inputs=", ".join(_inputs(data["inputs"])) or "none beyond the method's own",
        ground=f"{classes} ({ground['table']}); embedment by {methods}",
        summary=_summary(data),
        interpretation=tuple(worded(text) for text in data["interpretation"]),
        rows=tuple(_rows(data["posts"], changes)),
        changes=tuple(row for _, row in changes),
        remarks=tuple(worded(text) for text in data["remarks"]),
        disclaimer=data["disclaimer"],
        has_second=any(post["second_method_mm"] is not None for post in data["posts"]),
        priced=any(row.cost for _, row in changes),
    )


def price_change(currency: str, locale: str) -> Callable[[str], str]:
    """Return a function that formats the added price of a change.

    >>> price_change("EUR", "en")("412.5"), price_change("EUR", "en")("-20")
    ('+€412.50', '−€20.00')
    """

    def write_change(cost: str) -> str:
        amount = Decimal(cost)
        return ("+" if amount >= 0 else MINUS) + shown(abs(amount), currency, locale)

    return write_change


def _concerned(names: Sequence[str], screened: Collection[str]) -> str:
    """Return the posts of a suggested change; "every post" instead of a complete list.

    >>> _concerned(["A-P1", "A-P2"], {"A-P1", "A-P2"}), _concerned(["A-P1"], {"A-P1", "A-P2"})
    ('every post', 'A-P1')
    """
    return "every post" if len(names) > 1 and set(names) == set(screened) else ranges(names)


def _change_row(number: int, change: Document, posts: str, price: Callable[[str], str] | None) -> ChangeRow:
    cost = change["cost"]
    return ChangeRow(
        number=number,
        change=change["change"],
        text=worded(change["text"]),
        posts=posts,
        cost=price(cost) if price and cost is not None else "",
        resolves=change["resolves"],
        kind=change["kind"],
        run=change["run"] or "",
        height=change["value"] if change["kind"] == "height" else 0,
    )


def _inputs(inputs: Document) -> Iterable[str]:
    """Yield each input with its name and unit.

    >>> list(_inputs({"pressure_kpa": "0.55", "soil_class": "clay", "bearing_doubled": True, "terrain_category": "2"}))
    ['pressure 0.55 kPa', 'soil class clay', 'soil bearing doubled', 'terrain category 2']
    """
    for key, value in inputs.items():
        if isinstance(value, bool):
            if value:
                yield WORDS.get(key, key.replace("_", " "))
            continue
        ending = next((unit for unit in UNITS if key.endswith(unit)), "")
        name = key.removesuffix(ending).replace("_", " ")
        yield localize(f"{name} {value} {UNITS[ending]}") if ending else f"{name} {value}"


def _summary(screening: Document) -> str:
    """Return the number of posts for each outcome, in the words of the method."""
    counted = Counter(post["outcome_text"] for post in screening["posts"])
    lines = [f"{count} of {len(screening['posts'])} posts {words}" for words, count in counted.items()]
    if screening["unscreened"]:
        lines.append(
            f"not screened, as the height of the existing fence is not stated: {ranges(screening['unscreened'])}"
        )
    return "; ".join(lines) + "."


def _rows(posts: Iterable[Document], changes: Iterable[tuple[tuple[str, ...], ChangeRow]]) -> Iterable[ScreenedRow]:
    """Return a row for each group of equal posts, in order, with the suggested changes for it."""
    groups: dict[tuple[Any, ...], list[str]] = {}
    known = tuple(changes)
    for post in posts:
        over = post["outcome"] == "over"
        helps = tuple(row for names, row in known if over and post["post"] in names)
        groups.setdefault((*_figures(post), tuple(post["reasons"]), helps), []).append(post["post"])
    return (ScreenedRow(ranges(names), *figures) for figures, names in groups.items())


FIGURES = (
    "height_mm", "force_kn", "moment_knm", "capacity_knm", "utilisation", "embedment_mm", "embedment_needed_mm",
    "second_method_mm",
)  # fmt: skip


def _figures(post: Document) -> tuple[str, ...]:
    return (*("–" if post[name] is None else localize(str(post[name])) for name in FIGURES), post["outcome"])
