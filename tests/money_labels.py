"""Amounts of money on a page or paper that do not say whether tax is included."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator

from lxml import etree, html

MONEY = re.compile(r"(?:[$€£]|\b(?:NZD|EUR|USD|AUD|GBP)\s)\s?[\d., \u202f\xa0]*\d")
NUMBER = re.compile(r"[-+−]?(?:[A-Z]{0,3}[$€£]\s?)?[\d, \xa0]*\d\.\d{2}\Z")
LABEL = re.compile(r"before tax|including tax|\btax\b|\bGST\b|\bVAT\b", re.IGNORECASE)
KINDS = ("before tax", "including tax")
NOT_MONEY = re.compile(
    r"margin|force|moment|capacity|utilisation|quantity|used|mass|volume|yield|spacing|rate|value|ratio|level|chainage"
    r"|difference|hours|factor|share|length|ordered\Z|received\Z|outstanding\Z|made of|from|to\Z|pressure|speed|pitch",
    re.IGNORECASE,
)
"""Heads of columns with decimals that are no amounts."""


def unlabelled_amounts(page: str) -> list[str]:
    """Return the errors of a page: amounts without a label, and columns that hold both kinds."""
    root = html.fromstring(page)
    etree.strip_elements(root, "script", "style", "svg", "option", "datalist", with_tail=False)
    errors = [error for table in root.iter("table") for error in _table_errors(table)]
    return errors + [error for element in root.iter() for error in _text_errors(element)]


def _text(element: html.HtmlElement) -> str:
    return " ".join(element.text_content().split())


def _table_errors(table: html.HtmlElement) -> Iterator[str]:
    caption = " ".join(_text(item) for item in table.iter("caption"))
    heads = [_text(cell) for cell in table.xpath("./thead/tr/th")]
    kinds: dict[str, set[str]] = defaultdict(set)
    for row in table.xpath("./tbody/tr|./tfoot/tr|./tr"):
        cells = row.xpath("./th|./td")
        name = _text(cells[0]) if cells else ""
        for place, cell in enumerate(cells):
            value, head = _text(cell), heads[place] if place < len(heads) else ""
            if not NUMBER.match(value) or (head and NOT_MONEY.search(head)):
                continue
            label = " ".join((head, caption)) if head else f"{name} {caption}"
            if not LABEL.search(label if head and LABEL.search(label) else f"{label} {name}"):
                yield f"{value} under {head!r} beside {name!r}"
            kinds[head] |= {kind for kind in KINDS if head and kind in (name + head).lower()}
    yield from (f"both kinds under {head!r}" for head, found in kinds.items() if len(found) > 1)


def _text_errors(element: html.HtmlElement) -> Iterator[str]:
    """Yield the amounts with a currency outside of tables whose sentence or label does not mention tax."""
    if not isinstance(element.tag, str) or element.xpath("ancestor-or-self::table"):
        return
    own = " ".join([element.text or "", *(child.tail or "" for child in element)])
    if not MONEY.search(own):
        return
    block = element
    while block.tag in ("b", "strong", "span", "em", "a", "code", "summary") and block.getparent() is not None:
        block = block.getparent()
    around = _text(block)
    if block.tag == "dd":
        around += " " + " ".join(_text(item) for item in block.xpath("./preceding-sibling::dt[1]"))
    if block.tag == "label":
        around += " " + " ".join(_text(item) for item in block.xpath("ancestor::fieldset[1]/legend"))
    if block.tag == "div" and "figure" in block.get("class", ""):
        around += " " + _text(block.getparent())
    if not LABEL.search(around):
        yield f"{around[:120]!r}"
