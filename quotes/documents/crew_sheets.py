"""Values of the crew's documents: set-out sheet, cut list, care sheet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quotes.documents.number_format import by_locale, strip
from quotes.documents.quote_sheet import drawings, face
from quotes.documents.replaced import replaced
from quotes.documents.retrofit_sheets import retrofit_sheets
from quotes.documents.saw_sheet import saw_cautions
from quotes.documents.set_out_sheet import cut_list, run_sheets
from quotes.documents.strength_sheet import strength_sheet

Document = Mapping[str, Any]


def crew_values(document: Document, made: str) -> dict[str, Any]:
    """Return the values that the set-out sheet and the cut list print.

    Args:
        document: what is built, without money (``quotes.quoting.party_documents.crew_document``).
        made: the time the revision was sent, RFC 3339.
    """
    with by_locale(document["business"]["locale"]):
        return _crew_values(document, made)


def _crew_values(document: Document, made: str) -> dict[str, Any]:
    build, site, system = document["build"], document["site"], document["build"]["system"]
    job = f"{document['job']['number']} {document['job']['label']}".strip()
    hole = system["hole"]
    # a retrofit has no holes to set out, so its elevation is shown instead
    shown = ("plan", "set_out", "detail") if build["takeoff"]["runs"] else ("plan", "elevation")
    change = replaced(document)
    sheet = {
        "job": job,
        "place": ", ".join(filter(None, (" ".join(site["address"].split()), site["city"]))),
        "system": system["label"],
        "digs": bool(build["takeoff"]["runs"]),
        "hole": f"{hole['diameter_mm']} across, {hole['shape']}, {hole['bedding_mm']} of concrete under the post",
        "cautions": build.get("cautions", {}).get("crew", []),
        "runs": run_sheets(build["takeoff"], system["gates"]["screws_per_joint"], change.moved if change else {}),
        "retrofits": retrofit_sheets(build["takeoff"], build["measure"]),
        "strength": strength_sheet(build["takeoff"]),
        "drawings": drawings(build, *shown),
        "options": document.get("options", []),
        "replaces": change,
    }
    named = f"quote {document['number']}, revision {document['revision']}"
    sheet["named"] = f"Q{named[1:]}"
    return {
        "face": face(document["business"]),
        "strip": strip(job, named, document["business"]["name"]),
        "made": made,
        "sheet": sheet,
        "cuts": cut_list(build["takeoff"], build.get("finishes", {})),
        "saw_cautions": saw_cautions(),
        "cut_note": f"A saw cut takes {system['rails']['kerf_mm']} mm.",
    }


CARE = (
    (
        "In the first week",
        (
            "Keep sheets, animals and climbing children off the fence until the concrete has cured: wind can move its posts.",
            "Tell us at once if a post has moved or a screw has been missed.",
        ),
    ),
    (
        "Every season",
        (
            "Wash the fence with clean water and a soft cloth, more often near the sea. No solvents, no abrasive cleaners.",
            "Keep soil, mulch and garden beds clear of the bottom rail, and fertiliser, salt and wet timber off the steel.",
            "Look along the tops of the posts: caps keep water out, so replace a lost one soon.",
        ),
    ),
    (
        "Repairs",
        (
            "Small scratches: dab on touch-up paint of the finish, as little as covers the scratch.",
            "Never cut or grind coated sheet with an abrasive disc, and brush off swarf the same day.",
            "A bent sheet can be changed alone: note the bay and call us.",
        ),
    ),
    (
        "Please do not",
        (
            "Do not hang loads, shade sails or heavy creepers on the fence, raise it, or pile soil against it.",
            "Before digging near the posts ask where services run, and stay clear of the footings.",
        ),
    ),
)


def care_values(document: Document, made: str) -> dict[str, Any]:
    """Return the values of the care sheet. A text of the business replaces the standard text."""
    values = crew_values(document, made)
    own = document["business"].get("custom_texts", {}).get("care_sheet")
    parts = [("Caring for it", tuple(own.split("\n\n")))] if own else list(CARE)
    values["sheet"]["parts"] = [{"heading": heading, "sentences": sentences} for heading, sentences in parts]
    return values
