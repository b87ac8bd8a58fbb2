"""What is drawn and warned of with a build, made once and kept with it: drawings as SVG, cautions by reader."""

from __future__ import annotations

from typing import Any

from fencing.caution_facts import facts_of
from fencing.cautions import Reader, cautions_for
from fencing.drawing.paper import paper_set
from fencing.takeoff import TakeOff


def shown_with(takeoff: TakeOff) -> dict[str, Any]:
    """Members ``drawings`` and ``cautions`` of a build."""
    facts = facts_of(takeoff)
    return {
        "drawings": paper_set(takeoff),
        "cautions": {reader.value: [one.text for one in cautions_for(facts, reader)] for reader in Reader},
    }
