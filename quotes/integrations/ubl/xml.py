"""XML from outside: unsafe documents are rejected, the others are checked against the OASIS schemas.

No entity is ever expanded, no file or address opened: a document type declaration is refused unread, size and depth are
bounded, and the schemas lie beside this module.
"""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from lxml import etree

from fencing.model.faults import Fault, InvalidDocument
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


MAX_BYTES = 1_000_000
MAX_DEPTH = 60
MAX_FAULTS = 20
SCHEMAS = Path(__file__).resolve().parent / "schemas" / "maindoc"
_ENCODED = re.compile(rb"""encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""")


@cache
def _schema(name: str) -> etree.XMLSchema:
    parser = etree.XMLParser(no_network=True, resolve_entities=False, load_dtd=False)
    return etree.XMLSchema(etree.parse(str(SCHEMAS / f"UBL-{name}-2.1.xsd"), parser))


def refuse(code: str, text: str, pointer: str = "") -> InvalidDocument:
    """Return an error with one fault."""
    return InvalidDocument([Fault(pointer, code, text)])


def parse(body: bytes, name: str) -> Element:
    """Return the root element of a UBL document of type ``name`` (``OrderResponse``), valid against its schema.

    Raises:
        InvalidDocument: too large, too deep, not XML, a document type declaration, another document, or not valid.
    """
    _refuse_unread(body)
    element = _root(body)
    expected = f"{{{DOCUMENT.format(name=name)}}}{name}"
    if element.tag != expected:
        raise refuse("xml.document", f"send a UBL 2.1 {name}, not {element.tag}")
    schema = _schema(name)
    if not schema.validate(element):
        log: Any = schema.error_log  # the stubs forget that it can be walked
        errors = list(log)[:MAX_FAULTS]
        raise InvalidDocument([Fault(f"/line/{error.line}", "xml.schema", _plain(error.message)) for error in errors])
    return element


def _refuse_unread(body: bytes) -> None:
    """Reject documents that are unsafe to parse: too large, another encoding, a document type."""
    if len(body) > MAX_BYTES:
        raise refuse("xml.size", f"at most {MAX_BYTES} bytes are read, {len(body)} came")
    encoding = _ENCODED.search(body[: body.find(b"?>")] if body.lstrip().startswith(b"<?xml") else b"")
    if b"\x00" in body or (encoding and encoding[1].lower() not in (b"utf-8", b"us-ascii", b"ascii")):
        raise refuse("xml.encoding", "UTF-8 is read, nothing else")
    if b"<!DOCTYPE" in body or b"<!ENTITY" in body:
        raise refuse("xml.doctype", "a document type declaration is not accepted: send plain UBL 2.1")


def _root(body: bytes) -> Element:
    parser = etree.XMLPullParser(
        events=("start", "end"), no_network=True, resolve_entities=False, load_dtd=False, huge_tree=False,
        remove_comments=True, remove_pis=True,
    )  # fmt: skip
    depth = 0
    try:
        for start in range(0, len(body), 65_536):
            parser.feed(body[start : start + 65_536])
            for event, _ in parser.read_events():
                depth += 1 if event == "start" else -1
                if depth > MAX_DEPTH:
                    raise refuse("xml.depth", f"elements nested more than {MAX_DEPTH} deep are not read")
        return parser.close()
    except etree.XMLSyntaxError as error:
        raise refuse("xml.syntax", f"not well-formed XML: {error.msg}") from error


def _plain(message: str) -> str:
    """Return a schema message without namespaces, shortened."""
    return re.sub(r"\{urn:[^}]*\}", "", message)[:300]
