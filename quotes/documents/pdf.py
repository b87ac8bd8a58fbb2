"""PDF rendering from a template and plain values, without network, clock or files other than our fonts.

Only the project's own fonts are used, so that every machine makes the same PDF: B612 for all characters it has, DejaVu Sans
for names in other alphabets. Fontconfig gets these and no others before WeasyPrint loads. A machine without fonts would
otherwise end the process, and a machine with other fonts would use other glyphs.
"""

from __future__ import annotations

import atexit
import hashlib
import logging
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.template.loader import render_to_string

if TYPE_CHECKING:
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import URLFetcher

logging.getLogger("weasyprint.progress").setLevel(logging.WARNING)  # one line for each step and page is too much

MIN_FILLED = 0.3
"""Smallest filled share of a last page; below it the text is set closer to save the page."""
CLOSER = """
html { line-height: 1.32 } h2 { margin-top: 4mm; padding-top: 1.6mm; margin-bottom: 1.4mm } h3 { margin-top: 3mm }
p { margin-bottom: 1.4mm } figure { margin-bottom: 2mm } table { margin-bottom: 2mm }
td, .crew td { padding-top: 0.8mm; padding-bottom: 0.8mm }
.cautions.lesser li { margin-bottom: 0.9mm } .cautions.lesser { font-size: 7.8pt; line-height: 1.3 }
"""
FONTS = Path(settings.ROOT) / "shared" / "pages" / "static" / "fonts"
_CONFIGURATION = """<?xml version="1.0"?>
<!DOCTYPE fontconfig SYSTEM "urn:fontconfig:fonts.dtd">
<fontconfig><dir>{fonts}</dir><cachedir>{cache}</cachedir></fontconfig>
"""
STYLES = Path(__file__).resolve().parent / "paper.css"


class NoTypeface(RuntimeError):
    """Raised if the project's font files are missing."""


def font_files() -> list[Path]:
    """Return the font files that ship with the project, in a fixed order.

    Raises:
        NoTypeface: there are no font files.
    """
    found = sorted((*FONTS.glob("*.otf"), *FONTS.glob("*.ttf")))
    if not found:
        raise NoTypeface(f"no font files in {FONTS.name}: restore shared/pages/static/fonts from the project")
    return found


def prepare_fonts() -> None:
    """Configure fontconfig with our fonts only. Call it before WeasyPrint is imported; a second call changes nothing."""
    if os.environ.get("BAYWRIGHT_FONTS_READY") == str(FONTS):
        return
    font_files()
    folder = Path(tempfile.gettempdir()) / f"baywright-fonts-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    configuration = folder / f"fonts-{os.getpid()}.conf"
    configuration.write_text(_CONFIGURATION.format(fonts=FONTS, cache=folder / "cache"), encoding="utf-8")
    os.environ["FONTCONFIG_FILE"] = str(configuration)
    os.environ["BAYWRIGHT_FONTS_READY"] = str(FONTS)


class Variant(StrEnum):
    """Kind of PDF that is requested. Conformance is requested, not certified."""

    ACCESSIBLE = "pdf/ua-1"
    ARCHIVE = "pdf/a-3a"


@dataclass(frozen=True, slots=True)
class Enclosure:
    """A file attached to the PDF."""

    name: str
    description: str
    content: bytes


@lru_cache(maxsize=1)
def _fetcher() -> URLFetcher:
    """Return a fetcher that accepts ``data:`` addresses and our own fonts (``asset:``) only."""
    prepare_fonts()
    from weasyprint.urls import URLFetcher, URLFetcherResponse

    fonts = {f"asset:{file.name}": file for file in font_files()}

    class OwnPaperOnly(URLFetcher):  # type: ignore[misc]  # the library ships no types
        def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> URLFetcherResponse:
            if url in fonts:
                return URLFetcherResponse(url, body=fonts[url].read_bytes(), headers={"Content-Type": "font/otf"})
            return super().fetch(url, headers)

    return OwnPaperOnly(allowed_protocols=("data",), allow_redirects=False)


@lru_cache(maxsize=1)
def _fonts() -> FontConfiguration:
    prepare_fonts()
    from weasyprint.text.fonts import FontConfiguration

    atexit.register(_forget)  # the configuration must clean up before the interpreter ends
    return FontConfiguration()


def _forget() -> None:
    _stylesheet.cache_clear()
    _closer.cache_clear()
    _fonts.cache_clear()


@lru_cache(maxsize=1)
def _stylesheet() -> Any:
    prepare_fonts()
    from weasyprint import CSS

    return CSS(string=STYLES.read_text(encoding="utf-8"), url_fetcher=_fetcher(), font_config=_fonts())


@lru_cache(maxsize=1)
def _closer() -> Any:
    from weasyprint import CSS

    return CSS(string=CLOSER, url_fetcher=_fetcher(), font_config=_fonts())


def markup(template: str, values: Mapping[str, object]) -> str:
    """Return the HTML of a document. All values are escaped except drawings, which the engine makes and marks as safe."""
    return render_to_string(f"documents/{template}.html", dict(values))


def _set(html: str) -> Any:
    """Lay out the pages, with closer spacing if that saves an almost empty last page."""
    from weasyprint import HTML

    page = HTML(string=html, base_url=None, url_fetcher=_fetcher())
    document = page.render(stylesheets=[_stylesheet()], font_config=_fonts())
    if len(document.pages) > 1 and _filled(document.pages[-1]) < MIN_FILLED:
        closer = page.render(stylesheets=[_stylesheet(), _closer()], font_config=_fonts())
        return closer if len(closer.pages) < len(document.pages) else document
    return document


def _filled(page: Any) -> float:
    """Return the filled share of a page's text area, from 0 to 1."""
    sheet = page._page_box  # noqa: SLF001 - WeasyPrint has no public way to its boxes
    [root] = [box for box in sheet.children if box.element_tag == "html"]
    return float((root.children[-1].position_y + root.children[-1].margin_height() - root.position_y) / sheet.height)


def render(html: str, variant: Variant, made: datetime, enclosures: Sequence[Enclosure] = ()) -> bytes:
    """Render ``html`` and return the PDF.

    The same arguments give the same bytes: the dates are ``made`` and the identifier is the digest of the HTML.
    """
    prepare_fonts()
    from weasyprint import Attachment

    attached = [
        Attachment(
            string=enclosure.content,
            name=enclosure.name,
            description=enclosure.description,
            created=made,
            modified=made,
            relationship="Data",
        )
        for enclosure in enclosures
    ]
    document = _set(html)
    document.metadata.attachments = [*document.metadata.attachments, *attached]
    result: bytes = document.write_pdf(
        pdf_variant=variant.value, pdf_tags=True, pdf_identifier=hashlib.sha256(html.encode()).digest()[:16]
    )
    return result
