"""The typefaces documents are set in: our own files only, so that every machine makes the same PDF.

B612 sets everything it has letters for; DejaVu Sans stands in for names in other alphabets.

Fontconfig is told of the project's fonts and nothing else before WeasyPrint loads: a machine without fonts would otherwise
end the process, and one with other fonts would set other glyphs.
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
    """The project's font files are missing, so nothing can be set."""


def files() -> list[Path]:
    """The font files that ship with the project, in a fixed order.

    Raises:
        NoTypeface: none is there.
    """
    found = sorted((*FOLDER.glob("*.otf"), *FOLDER.glob("*.ttf")))
    if not found:
        raise NoTypeface(f"no font files in {FOLDER.name}: restore shared/pages/static/fonts from the project")
    return found


def prepare() -> None:
    """Point fontconfig at our fonts alone. Call before WeasyPrint is imported; a second call changes nothing."""
    if os.environ.get("BAYWRIGHT_FONTS_READY") == str(FOLDER):
        return
    files()
    folder = Path(tempfile.gettempdir()) / f"baywright-fonts-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    configuration = folder / f"fonts-{os.getpid()}.conf"
    configuration.write_text(_CONFIGURATION.format(fonts=FOLDER, cache=folder / "cache"), encoding="utf-8")
    os.environ["FONTCONFIG_FILE"] = str(configuration)
    os.environ["BAYWRIGHT_FONTS_READY"] = str(FOLDER)
