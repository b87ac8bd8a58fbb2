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

Element = etree._Element
_NO_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")  # XML 1.0, production 2: Char


def root(name: str) -> Element:
    """The root element of a document such as ``Order``."""
    space = DOCUMENT.format(name=name)
    spaces: dict[Any, str] = {None: space, **PREFIXES}
    return etree.Element(f"{{{space}}}{name}", nsmap=spaces)


def group(parent: Element, name: str) -> Element:
    """A new aggregate child, ``cac:name``."""
    return etree.SubElement(parent, f"{{{CAC}}}{name}")


def put(parent: Element, name: str, text: str | None, **attributes: str) -> None:
    """A new basic child, ``cbc:name``; nothing where there is no text, since UBL forbids empty elements.

    What no XML can hold is left out of the text.
    """
    if text := _NO_XML.sub("", text or ""):
        child = etree.SubElement(parent, f"{{{CBC}}}{name}", {key: value for key, value in attributes.items() if value})
        child.text = text


def put_amount(parent: Element, name: str, amount: Decimal, currency: str) -> None:
    """An amount with its currency, in the currency's own decimals; a price may have more (BR-DEC, PEPPOL-T01-R028)."""
    put(parent, name, stated(amount, currency), currencyID=currency)


def text_at(element: Element, path: str) -> str | None:
    """Text of the first element at ``path`` (prefixes cac and cbc), without surrounding space; None where there is none."""
    found = element.find(path, PREFIXES)
    if found is None or found.text is None:
        return None
    return found.text.strip() or None


def words_at(element: Element, path: str, otherwise: str = "") -> str:
    """Text of the first element at ``path``; ``otherwise`` where there is none."""
    return text_at(element, path) or otherwise


def serialize(element: Element) -> bytes:
    """The document's bytes: UTF-8, declared, indented, the same every time."""
    etree.indent(element, space="  ")
    return etree.tostring(element, xml_declaration=True, encoding="UTF-8") + b"\n"
