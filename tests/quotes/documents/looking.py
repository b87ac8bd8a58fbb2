"""Layout of a PDF as a reader sees it: positions of headings, words and ink, and its structure for screen readers."""

from __future__ import annotations

import io
import subprocess
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pypdf
from lxml import etree
from PIL import Image

DPI = 60
FOOT_MM = 19.0
"""From the lower edge up: page number, job and business."""
MARGIN_MM = 11.0
"""Nothing prints nearer to an edge; margins are 15."""
MM = 72 / 25.4
MIN_FILLED = 0.08
"""A page that goes on less far down its text area is almost empty."""


@dataclass(frozen=True, slots=True)
class Word:
    """Box in points from the upper left corner."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True, slots=True)
class Heading:
    text: str
    page: int
    top: float


class Looked:
    """A PDF with what was found on its pages."""

    def __init__(self, pdf: bytes, folder: Path) -> None:
        self.pdf = pdf
        (folder / "looked.pdf").write_bytes(pdf)
        self.reader = pypdf.PdfReader(io.BytesIO(pdf))
        self.sizes = [(float(page.mediabox.width), float(page.mediabox.height)) for page in self.reader.pages]
        self.words = [list(words) for words in _words(folder)]
        self.ink = list(_ink(folder))
        self.headings = list(_headings(self.reader))

    def body(self, page: int) -> list[Word]:
        """Words above the foot of a page."""
        end = self.sizes[page][1] - FOOT_MM * MM
        return [word for word in self.words[page] if word.bottom <= end]

    def text(self, page: int) -> str:
        return " ".join(word.text for word in self.words[page])

    def faults(self) -> list[str]:
        """Everything a look at the pages finds wrong."""
        found = [fault for page in range(len(self.words)) for fault in self._page(page)]
        return found + [
            f"page {heading.page + 1} ends with the heading {heading.text!r}"
            for heading in self.headings
            if self._last(heading)
        ]

    def _page(self, page: int) -> Iterator[str]:
        width, height = self.sizes[page]
        edge = round(MARGIN_MM / 25.4 * DPI)
        ink = self.ink[page]
        if any(side.any() for side in (ink[:edge], ink[:, :edge], ink[:, -edge:])):
            yield f"something is printed in the margin of page {page + 1}"
        for word in self.words[page]:
            if word.left < 0 or word.top < 0 or word.right > width or word.bottom > height:
                yield f"{word.text!r} runs out of page {page + 1}"
        for first, second in overlapping(self.words[page]):
            yield f"{first.text!r} and {second.text!r} overlap on page {page + 1}"
        rows = np.flatnonzero(ink[: -round(FOOT_MM / 25.4 * DPI)].any(axis=1))
        room = ink.shape[0] * (1 - (FOOT_MM + 16) * MM / height)
        if not rows.size or (rows[-1] - rows[0]) / room < MIN_FILLED:
            yield f"page {page + 1} of {len(self.words)} is almost empty"

    def _last(self, heading: Heading) -> bool:
        """Return whether a heading is the last text on its page."""
        own = heading.text.split()
        below = [word for word in self.body(heading.page) if word.top >= heading.top - 2]
        return len(below) <= len(own)


def overlapping(words: list[Word]) -> Iterator[tuple[Word, Word]]:
    """Pairs of words that are printed over one another; boxes of neighbouring lines may touch."""
    ordered = sorted(words, key=lambda word: word.top)
    for place, first in enumerate(ordered):
        for second in ordered[place + 1 :]:
            if second.top >= first.bottom:
                break
            across = min(first.right, second.right) - max(first.left, second.left)
            down = min(first.bottom, second.bottom) - second.top
            lower = min(first.bottom - first.top, second.bottom - second.top)
            narrow = min(first.right - first.left, second.right - second.left)
            if across > max(0.8, 0.1 * narrow) and down > 0.5 * lower:
                yield first, second


def _words(folder: Path) -> Iterator[Iterator[Word]]:
    done = subprocess.run(
        ["pdftotext", "-bbox", "looked.pdf", "-"], cwd=folder, check=True, capture_output=True, timeout=60
    )
    for page in etree.fromstring(done.stdout).iter("{*}page"):
        boxes = (
            (node.text or "", [float(node.get(key, "0")) for key in ("xMin", "yMin", "xMax", "yMax")]) for node in page
        )
        yield (Word(text, *box) for text, box in boxes)


def _ink(folder: Path) -> Iterator[np.ndarray[Any, Any]]:
    """Return the areas with ink of each page."""
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", "looked.pdf", "page"], cwd=folder, check=True, timeout=120)
    for file in sorted(folder.glob("page*.pgm")):
        yield np.asarray(Image.open(file)) < 250
        file.unlink()


def _headings(reader: pypdf.PdfReader) -> Iterator[Heading]:
    """Every heading, as the PDF's own table of contents has it."""
    for item in _flat(reader.outline):
        page = reader.get_destination_page_number(item)
        if page is not None and item.top is not None:
            height = float(reader.pages[page].mediabox.height)
            yield Heading(str(item.title), page, height - float(item.top))


def _flat(outline: Iterable[Any]) -> Iterator[Any]:
    for item in outline:
        if isinstance(item, list):
            yield from _flat(item)
        else:
            yield item


def tag_faults(pdf: bytes) -> list[str]:
    """Return the problems for a screen reader in the PDF's structure tree."""
    found: list[str] = []
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        root = opened.Root
        if "/Lang" not in root or "/MarkInfo" not in root or not bool(root.MarkInfo.get("/Marked", False)):
            found.append("no language, or not marked as tagged")
        nodes = list(_nodes(root.StructTreeRoot.K))
        found += _levels([int(kind[1:]) for kind, _ in nodes if kind[0] == "H" and kind[1:].isdigit()])
        found += [
            "a figure without words" for kind, node in nodes if kind == "Figure" and not str(node.get("/Alt", ""))
        ]
        for kind, table in nodes:
            if kind == "Table":
                found += _table(table)
    return found


def _levels(levels: list[int]) -> Iterator[str]:
    if levels[:1] != [1] or levels.count(1) != 1:
        yield f"one heading of the first level stands first, not {levels[:3]}"
    for before, after in pairwise(levels):
        if after > before + 1:
            yield f"a heading of level {after} follows one of level {before}"


def _table(table: Any) -> Iterator[str]:
    """Each cell of a table names the cells that head it, and those exist."""
    cells = [(kind, node) for kind, node in _nodes(table.K) if kind in ("TD", "TH")]
    heads = {str(node.get("/ID", "")) for kind, node in cells if kind == "TH"}
    if not heads - {""}:
        yield "a table without head cells"
    for kind, node in cells:
        named = {str(item) for item in _attribute(node, "/Headers")}
        most = max(3, *_attribute(node, "/ColSpan"), 0)  # a cell across the table has every column's head
        if kind == "TD" and (not named or not named <= heads or len(named) > most):
            yield f"a cell whose heads are {sorted(named)}"
            return


def _attribute(node: Any, name: str) -> list[Any]:
    kept = node.get("/A")
    several = list(kept) if isinstance(kept, pikepdf.Array) else [kept]
    found = [kept.get(name) for kept in several if isinstance(kept, pikepdf.Dictionary) and name in kept]
    return [item for value in found for item in (value if isinstance(value, pikepdf.Array) else [value])]


def _nodes(node: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(node, pikepdf.Array):
        for item in node:
            yield from _nodes(item)
    elif isinstance(node, pikepdf.Dictionary):
        if "/S" in node:
            yield str(node.S).lstrip("/"), node
        if "/K" in node:
            yield from _nodes(node.K)
