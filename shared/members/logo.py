"""Logo of a business. An uploaded picture is converted to a small PNG; nothing else of the file is stored."""

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


def convert_to_png(upload: bytes) -> bytes:
    """Return a picture as PNG of at most 1200 by 600 pixels. Raise InvalidDocument if it is too large or cannot be read."""
    if len(upload) > MAX_BYTES:
        raise InvalidDocument([Fault("/logo", "logo.large", "Select a file of at most 2 MB.")])
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(upload), formats=FORMATS) as picture:
                if picture.width * picture.height > MAX_PIXELS:
                    raise InvalidDocument([Fault("/logo", "logo.pixels", "Select a picture of at most 20 megapixels.")])
                image = picture.convert("RGBA")
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, *_BOMBS):
        text = "This picture cannot be read. Select a PNG, JPEG, WebP or GIF."
        raise InvalidDocument([Fault("/logo", "logo.kind", text)]) from None
    image.thumbnail(SIZE)
    png = io.BytesIO()
    image.save(png, "PNG", optimize=True)
    return png.getvalue()


@transaction.atomic
def change_logo(*, business: Business, png: bytes | None, actor: Actor) -> None:
    """Change or remove the logo. The audit log contains its digest."""
    business.logo_png = png
    business.save(update_fields=["logo_png"])
    detail = {"sha256": hashlib.sha256(png).hexdigest() if png else None}
    audit_log.record(business, actor, "business.logo", f"business:{business.ref}", detail)
