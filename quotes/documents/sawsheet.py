"""The saw sheet on paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from fencing.caution_facts import CautionFacts
from fencing.cautions import Reader, cautions_for
from quotes.documents.quotesheet import face, safe
from quotes.documents.rendering import Variant, markup, render

AT_THE_SAW = CautionFacts(sawing=True, cutting_coated=True)


def sawsheet_pdf(job: str, drawings: Sequence[str], business: Mapping[str, Any], made: datetime) -> bytes:
    """The bars of a job as drawn by the engine, a material after the other."""
    values = {
        "face": face(business),
        "strip": f"Saw sheet · {job} · {business['name']}",
        "made": made.isoformat(),
        "job": job,
        "cautions": [one.text for one in cautions_for(AT_THE_SAW, Reader.CREW)],
        "drawings": [{"svg": safe(svg)} for svg in drawings],
    }
    return render(markup("sawsheet", values), Variant.ACCESSIBLE, made)
