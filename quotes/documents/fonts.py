"""Fonts of the documents: the project's own files only, so that every machine makes the same PDF.

B612 is used for all characters it has; DejaVu Sans for names in other alphabets.

Fontconfig gets the project's fonts and no others before WeasyPrint loads. A machine without fonts would otherwise
end the process, and a machine with other fonts would use other glyphs.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from django.conf import settings

FOLDER = Path(settings.ROOT) / "shared" / "pages" / "static" / "fonts"

_CONFIGURATION = """<?xml version="1.0"?>
<!DOCTYPE fontconfig SYSTEM "urn:fontconfig:fonts.dtd">
<fontconfig><dir>{fonts}</dir><cachedir>{cache}</cachedir></fontconfig>
"""


class NoTypeface(RuntimeError):
    """Raised if the project's font files are missing."""


def files() -> list[Path]:
    """Return the font files that ship with the project, in a fixed order.

    Raises:
        NoTypeface: there are no font files.
    """
    found = sorted((*FOLDER.glob("*.otf"), *FOLDER.glob("*.ttf")))
    if not found:
        raise NoTypeface(f"no font files in {FOLDER.name}: restore shared/pages/static/fonts from the project")
    return found


def prepare() -> None:
    """Configure fontconfig with our fonts only. Call it before WeasyPrint is imported; a second call changes nothing."""
    if os.environ.get("BAYWRIGHT_FONTS_READY") == str(FOLDER):
        return
    files()
    folder = Path(tempfile.gettempdir()) / f"baywright-fonts-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    configuration = folder / f"fonts-{os.getpid()}.conf"
    configuration.write_text(_CONFIGURATION.format(fonts=FOLDER, cache=folder / "cache"), encoding="utf-8")
    os.environ["FONTCONFIG_FILE"] = str(configuration)
    os.environ["BAYWRIGHT_FONTS_READY"] = str(FOLDER)
