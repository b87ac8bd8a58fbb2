"""A business's logo: whatever picture is uploaded is drawn anew as a small PNG, and nothing else of the file is kept."""

from __future__ import annotations

import hashlib
import io
import warnings

from django.db import transaction
from PIL import Image, UnidentifiedImageError

from fencing.model.faults import Fault, InvalidDocument
from shared.business.actors import Actor
from shared.business.models import Business
from shared.database import audit_log

MAX_BYTES = 2 * 1024 * 1024
MAX_PIXELS = 20_000_000
SIZE = (1200, 600)
FORMATS = ("PNG", "JPEG", "WEBP", "GIF")
_BOMBS = (Image.DecompressionBombWarning, Image.DecompressionBombError)


def drawn_anew(upload: bytes) -> bytes:
    """The picture as PNG, at most 1200 by 600. Refused when it is too large or no picture of a known kind."""
    if len(upload) > MAX_BYTES:
        raise InvalidDocument([Fault("/logo", "logo.large", "At most 2 MB are wanted here.")])
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(upload), formats=FORMATS) as picture:
                if picture.width * picture.height > MAX_PIXELS:
                    raise InvalidDocument([Fault("/logo", "logo.pixels", "At most 20 megapixels are wanted here.")])
                drawn = picture.convert("RGBA")
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, *_BOMBS):
        text = "This is not a picture we can read: a PNG, JPEG, WebP or GIF is wanted."
        raise InvalidDocument([Fault("/logo", "logo.kind", text)]) from None
    drawn.thumbnail(SIZE)
    kept = io.BytesIO()
    drawn.save(kept, "PNG", optimize=True)
    return kept.getvalue()


@transaction.atomic
def change_logo(*, business: Business, png: bytes | None, actor: Actor) -> None:
    """Another logo, or none; the audit trail keeps its digest."""
    business.logo_png = png
    business.save(update_fields=["logo_png"])
    detail = {"sha256": hashlib.sha256(png).hexdigest() if png else None}
    audit_log.record(business, actor, "business.logo", f"business:{business.ref}", detail)
