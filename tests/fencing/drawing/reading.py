"""A drawing read back: every text with the box it covers, every mark with its place on paper."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import Element, fromstring

from fencing.drawing.label_placement import LabelBox, overlap
from fencing.drawing.svg import CAPITAL, measure_width

SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Words:
    text: str
    size: float
    box: LabelBox


def read(svg: str) -> Element:
    return fromstring(svg)  # noqa: S314  our own SVG


def shifted(element: Element, x: float = 0, y: float = 0) -> Iterator[tuple[Element, float, float]]:
    """Every element with the sum of the translations it stands under."""
    moved = re.match(r"translate\((\S+) (\S+)\)", element.get("transform", ""))
    if moved:
        x, y = x + float(moved[1]), y + float(moved[2])
    yield element, x, y
    for child in element:
        yield from shifted(child, x, y)


def words(svg: str) -> list[Words]:
    """Every text; its box is a capital high and as wide as its letters."""
    found = []
    for element, dx, dy in shifted(read(svg)):
        if element.tag != f"{SVG}text":
            continue
        size, text = float(element.get("font-size", "0")), element.text or ""
        wide, high = measure_width(text, size), size * CAPITAL
        x, y = float(element.get("x", "0")), float(element.get("y", "0"))
        along = {"start": wide / 2, "middle": 0.0, "end": -wide / 2}[element.get("text-anchor", "start")]
        turned = re.match(r"rotate\((\S+) ", element.get("transform", ""))
        turn = float(turned[1]) if turned else 0.0
        (ax, ay), (bx, by) = LabelBox(0, 0, 1, 1, turn).find_axes()
        found.append(
            Words(
                text,
                size,
                LabelBox(dx + x + ax * along - bx * high / 2, dy + y + ay * along - by * high / 2, wide, high, turn),
            )
        )
    return found


def clashes(svg: str) -> list[tuple[str, str]]:
    """Pairs of texts that cover each other."""
    cells = defaultdict[tuple[int, int], list[Words]](list)
    pairs = []
    for word in words(svg):
        left, top, right, bottom = (int(edge // 20) for edge in word.box.find_bounds())
        around = [(x, y) for x in range(left, right + 1) for y in range(top, bottom + 1)]
        near = {id(other): other for cell in around for other in cells[cell]}
        pairs += [(other.text, word.text) for other in near.values() if overlap(word.box, other.box)]
        for cell in around:
            cells[cell].append(word)
    return pairs


def points(data: str) -> Iterator[tuple[float, float]]:
    """Every point path data goes through (of an arc its ends)."""
    x = y = 0.0
    start = (0.0, 0.0)
    for command, rest in re.findall(r"([MLlhvHVaAZ])([^MLlhvHVaAZ]*)", data):
        numbers = [float(number) for number in re.findall(r"-?\d*\.?\d+", rest)]
        match command:
            case "M" | "L":
                x, y = numbers
            case "l":
                x, y = x + numbers[0], y + numbers[1]
            case "h" | "v":
                x, y = (x + numbers[0], y) if command == "h" else (x, y + numbers[0])
            case "H" | "V":
                x, y = (numbers[0], y) if command == "H" else (x, numbers[0])
            case "a":
                x, y = x + numbers[5], y + numbers[6]
            case "A":
                x, y = numbers[5], numbers[6]
            case _:
                x, y = start
        if command == "M":
            start = (x, y)
        yield x, y


def outside(svg: str) -> list[str]:
    """Return what leaves the viewBox by more than half a line's weight."""
    root = read(svg)
    _, _, width, height = (float(number) for number in root.get("viewBox", "").split())
    slack, wrong = 0.25, []
    for element, dx, dy in shifted(root):
        if element.tag == f"{SVG}path":
            for x, y in points(element.get("d", "")):
                if not (-slack <= x + dx <= width + slack and -slack <= y + dy <= height + slack):
                    wrong.append(f"{element.get('class')} at {x + dx:.2f} {y + dy:.2f} of {width} x {height}")
    for item in words(svg):
        left, top, right, bottom = item.box.find_bounds()
        if left < -slack or top < -slack or right > width + slack or bottom > height + slack:
            wrong.append(f"{item.text!r} at {item.box}")
    return wrong


def marks(svg: str, name: str) -> list[tuple[Element, float, float]]:
    """Elements of one class with their translation."""
    return [item for item in shifted(read(svg)) if name in item[0].get("class", "").split()]


def path_points(element: Element, dx: float, dy: float) -> list[tuple[float, float]]:
    """Points of every path in a mark, on paper."""
    return [(x + dx, y + dy) for path in element.iter(f"{SVG}path") for x, y in points(path.get("d", ""))]


def scale_of(svg: str) -> int:
    """The stated scale: n of 1:n."""
    return next(int(item.text[2:]) for item in words(svg) if item.text.startswith("1:"))
