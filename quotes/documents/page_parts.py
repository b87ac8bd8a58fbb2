"""Parts that the documents share: letterhead, drawings, job, place and time."""

from __future__ import annotations

from typing import Any

from django.utils.safestring import SafeString, mark_safe

from quotes.jobs.models import Site
from quotes.quoting.content import BusinessProfile, ContentSite, JobName
from quotes.quoting.party_content import PublicSite, ShownBuild

CAPTIONS = {
    "plan": "Plan, seen from above.",
    "elevation": "Elevations, seen from the right of each run.",
    "set_out": "Holes on the string line.",
    "detail": "Detail.",
    "phone_drawings": "Plan and elevations, seen from the right of each run; lengths in mm, levels and whole runs in m.",
    "curves": "Screening curves.",
}


def face(business: BusinessProfile) -> dict[str, Any]:
    """Return the letterhead of a business: its name, address lines and logo."""
    lines = [business.name, *business.address.splitlines()]
    lines.append(" ".join(filter(None, (business.postcode, business.city))))
    lines += [business.phone, business.email, business.website]
    if business.registration_number:
        lines.append(f"Reg. {business.registration_number}")
    if business.tax_number:
        lines.append(f"{business.tax_name} no. {business.tax_number}")
    return {
        "name": business.name,
        "lines": [line for line in lines if line],
        "logo": f"data:image/png;base64,{business.logo_png}" if business.logo_png else "",
        "language": business.language,
        "paper": business.paper_size,
    }


def drawings(build: ShownBuild, *kinds: str) -> list[dict[str, Any]]:
    """Return the stored drawings of some kinds; the last drawing of a kind has the caption."""
    return [
        {"svg": safe(svg), "caption": CAPTIONS[kind] if left == 0 else "", "alt": CAPTIONS[kind]}
        for kind in kinds
        for kept in (getattr(build.drawings, kind),)
        for left, svg in zip(reversed(range(len(kept))), kept, strict=True)
    ]


def safe(svg: str) -> SafeString:
    """Return markup that the engine made, marked as safe."""
    return mark_safe(svg)  # noqa: S308  (made and escaped by the engine)


def job_name(job: JobName) -> str:
    """Return number and label of a job."""
    return f"{job.number} {job.label}".strip()


def place_of(site: ContentSite | PublicSite | Site) -> str:
    """Return a site's address in one line."""
    return ", ".join(filter(None, (" ".join(site.address.split()), site.city)))
