"""The strength screening on paper: method, inputs, every post with its outcome, what would help, and what it does not say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from quotes.documents.figures import ranges

Document = Mapping[str, Any]

UNITS = {
    "_kn_m3": "kN/m³",
    "_kpa": "kPa",
    "_m_s": "m/s",
    "_deg": "°",
    "_mm": "mm",
}
WORDS = {"doubled": "soil bearing doubled", "constrained": "paved at the ground"}


@dataclass(frozen=True, slots=True)
class ScreenedRow:
    """Posts alike in everything but their place. Height and embedment in mm, force in kN, moments in kN.m."""

    posts: str
    height: str
    force: str
    moment: str
    capacity: str
    used: str
    embedment: str
    needed: str
    outcome: str


@dataclass(frozen=True, slots=True)
class StrengthSheet:
    method: str
    inputs: str
    ground: str
    summary: str
    rows: tuple[ScreenedRow, ...]
    remedies: tuple[str, ...]
    remarks: tuple[str, ...]
    disclaimer: str


def strength_sheet(takeoff: Document) -> StrengthSheet | None:
    """The screening of a take-off document as printed; None where the measure asks for none."""
    told = takeoff.get("strength")
    if told is None:
        return None
    ground = told["ground"]
    classes = "; ".join(one["label"] for one in ground["classes"])
    methods = " and ".join(filter(None, (ground["formula"], ground["second_opinion"])))
    return StrengthSheet(
        method=told["method"]["title"],
        inputs=", ".join(_inputs(told["inputs"])) or "none beyond the method's own",
        ground=f"{classes} ({ground['table']}); embedment by {methods}",
        summary=_summary(told),
        rows=tuple(_rows(told["posts"])),
        remedies=tuple(remedy["text"] for remedy in told["remedies"]),
        remarks=tuple(told["remarks"]),
        disclaimer=told["disclaimer"],
    )


def _inputs(inputs: Document) -> Iterable[str]:
    """Each input by its name and with its unit.

    >>> list(_inputs({"pressure_kpa": "0.55", "soil_class": "clay", "doubled": True, "terrain": "2"}))
    ['pressure 0.55 kPa', 'soil class clay', 'soil bearing doubled', 'terrain 2']
    """
    for key, value in inputs.items():
        if isinstance(value, bool):
            if value:
                yield WORDS.get(key, key.replace("_", " "))
            continue
        ending = next((one for one in UNITS if key.endswith(one)), "")
        name = key.removesuffix(ending).replace("_", " ")
        yield f"{name} {value} {UNITS[ending]}" if ending else f"{name} {value}"


def _summary(told: Document) -> str:
    """How many posts have which outcome, in the method's own words."""
    counted = Counter(post["words"] for post in told["posts"])
    lines = [f"{count} of {len(told['posts'])} posts {words}" for words, count in counted.items()]
    if told["unscreened"]:
        lines.append(f"not screened, as the height of the standing fence is not stated: {ranges(told['unscreened'])}")
    return "; ".join(lines) + "."


def _rows(posts: Iterable[Document]) -> Iterable[ScreenedRow]:
    alike: dict[tuple[str, ...], list[str]] = {}
    for post in posts:
        alike.setdefault(_figures(post), []).append(post["post"])
    return (ScreenedRow(ranges(names), *figures) for figures, names in alike.items())


def _figures(post: Document) -> tuple[str, ...]:
    names = (
        "height_mm",
        "force_kn",
        "moment_knm",
        "capacity_knm",
        "utilisation",
        "embedment_mm",
        "embedment_needed_mm",
    )
    return (*("–" if post[name] is None else str(post[name]) for name in names), post["outcome"])
