"""Namespaces of UBL 2.1, and how elements are made and found."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from lxml import etree

from shared.common.money import stated

CAC = "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
CBC = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2"
DOCUMENT = "urn:oasis:names:specification:ubl:schema:xsd:{name}-2"
PREFIXES = {"cac": CAC, "cbc": CBC}

Element = etree._Element  # noqa: SLF001 - the type has no public name
_NO_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")  # XML 1.0, production 2: Char


def root(name: str) -> Element:
    """Create the root element of a document such as ``Order``."""
    space = DOCUMENT.format(name=name)
    spaces: dict[Any, str] = {None: space, **PREFIXES}
    return etree.Element(f"{{{space}}}{name}", nsmap=spaces)


def group(parent: Element, name: str) -> Element:
    """Add an aggregate child, ``cac:name``."""
    return etree.SubElement(parent, f"{{{CAC}}}{name}")


def put(parent: Element, name: str, text: str | None, **attributes: str) -> None:
    """Add a basic child, ``cbc:name``, unless the text is empty: UBL forbids empty elements.

    Characters that XML forbids are removed from the text.
    """
    if text := _NO_XML.sub("", text or ""):
        child = etree.SubElement(parent, f"{{{CBC}}}{name}", {key: value for key, value in attributes.items() if value})
        child.text = text


def put_amount(parent: Element, name: str, amount: Decimal, currency: str) -> None:
    """Add an amount with its currency and its decimals. A price may have more decimals (BR-DEC, PEPPOL-T01-R028)."""
    put(parent, name, stated(amount, currency), currencyID=currency)


def text_at(element: Element, path: str) -> str | None:
    """Return the text of the first element at ``path`` (prefixes cac and cbc) without surrounding space, or None."""
    found = element.find(path, PREFIXES)
    if found is None or found.text is None:
        return None
    return found.text.strip() or None


def words_at(element: Element, path: str, otherwise: str = "") -> str:
    """Return the text of the first element at ``path``, or ``otherwise``."""
    return text_at(element, path) or otherwise


def serialize(element: Element) -> bytes:
    """Return the bytes of the document: UTF-8, declared, indented, always the same."""
    etree.indent(element, space="  ")
    return etree.tostring(element, xml_declaration=True, encoding="UTF-8") + b"\n"
