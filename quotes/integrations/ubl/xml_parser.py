"""XML from outside: unsafe documents are rejected, the others are checked against the OASIS schemas.

No entity is ever expanded, no file or address opened: a document type declaration is refused unread, size and depth are
bounded, and the schemas lie beside this module.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

from lxml import etree

from fencing.model.faults import Fault, InvalidDocument
from quotes.integrations.ubl.xml_names import DOCUMENT, Element

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
