"""The record of outside checks, and docs/checks.md made from it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from decimal import Decimal
from math import floor, log10
from pathlib import Path

LIST = Path(__file__).resolve().parents[2] / "docs" / "checks.md"
STAGES = (
    "levelling", "layout", "form", "bay", "posts", "concrete", "gates", "ground", "wind", "sections", "footing", "strength",
    "cautions", "cutting", "buying", "money", "tax", "parties", "exchange", "documents",
)  # fmt: skip
MIN = 60

HEAD = """# Outside checks

What this project computes beside what others published: standards, codes, textbooks, libraries, public data. Written by the test
run (`make checks`); every other run compares this list with what it finds. "Apart" is ours less theirs,
and "allowed" how far they may be apart before the test fails: the printed rounding of the source decides it.
Values from memory are marked "from memory"; values calculated for this list from a published formula "computed".
"""


@dataclass(frozen=True, slots=True, order=True)
class Row:
    stage: str
    source: str
    what: str
    ours: str
    theirs: str
    apart: str
    allowed: str

    def line(self) -> str:
        cells = (self.what, self.source, self.ours, self.theirs, self.apart, self.allowed)
        return "| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |"


@dataclass
class Outside:
    """Called by tests: compares, records, and asserts."""

    rows: list[Row] = field(default_factory=list)

    def __call__(
        self,
        what: str,
        *,
        stage: str,
        source: str,
        ours: object,
        theirs: object,
        within: float = 0,
        relative: bool = False,
        unit: str = "",
        digits: int = 6,
    ) -> None:
        """``within`` is a share of theirs where ``relative``. ``digits`` is how many significant figures of ours are printed."""
        assert stage in STAGES, f"unknown stage {stage}"
        end = f" {unit}" if unit else ""
        if not within:
            self.rows.append(Row(stage, source, what, f"{_shown(ours)}{end}", f"{_shown(theirs)}{end}", "0", "none"))
            assert ours == theirs, f"{what}: ours {ours}, {source} has {theirs}"
            return
        mine, other = float(str(ours)), float(str(theirs))
        allowed = abs(within * other) if relative else within
        printed = float(f"{mine:.{digits}g}")
        text = f"{within * 100:g} %" if relative else f"{within:g}{end}"
        self.rows.append(
            Row(
                stage,
                source,
                what,
                f"{printed:.{digits}g}{end}",
                f"{_shown(theirs)}{end}",
                _apart(printed - other, allowed),
                text,
            )
        )
        assert abs(mine - other) <= allowed, f"{what}: ours {mine}, {source} has {other}, {allowed} allowed"

    def document(self) -> str:
        """The whole list, stage by stage in the order of the work, the same for any order of tests."""
        counts = Counter(row.stage for row in self.rows)
        lines = [
            HEAD,
            f"{len(self.rows)} checks: "
            + ", ".join(f"{stage} {counts[stage]}" for stage in STAGES if counts[stage])
            + ".",
        ]
        for stage in STAGES:
            rows = sorted(row for row in self.rows if row.stage == stage)
            if rows:
                lines += ["", f"## {stage.capitalize()}", "", "| what | source | ours | theirs | apart | allowed |"]
                lines += ["| --- | --- | --- | --- | --- | --- |", *(row.line() for row in rows)]
        return "\n".join(lines) + "\n"


def _apart(difference: float, allowed: float) -> str:
    """Two figures of the difference, nothing where it is noise beside what is allowed."""
    if abs(difference) < allowed / 1000:
        return "0"
    places = max(0, 1 - floor(log10(abs(difference))))
    return f"{difference:+.{places}f}"


def _shown(value: object) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(map(_shown, value))
    if isinstance(value, float):
        return f"{value:.10g}"
    return f"{value:f}" if isinstance(value, Decimal) else str(value)
