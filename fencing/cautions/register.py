"""Register of cautions: the condition, the source and the words for each reader.

Every caution defers to local rules and licensed practice; none is an approval. Cautions are printed in this order: those that
stop work come first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from fencing.cautions.facts import CautionFacts

POOL_HEIGHT_MM = 1200
"""Minimum height of a pool barrier at its lowest point. Source: NSW Fair Trading practice advice; the local code decides."""
POOL_GAP_MM = 100
"""Maximum gap under a pool barrier. Source: AS 1926.1 (from memory); US CPSC Pub. 362 has 4 in. Local code decides."""


class Reader(StrEnum):
    """Reader of a document."""

    CUSTOMER = "customer"
    CREW = "crew"
    SUPPLIER = "supplier"
    OWNER = "owner"


class Source(StrEnum):
    """Kind of source of a caution."""

    LAW = "law or local code"
    STANDARD = "published standard"
    GUIDANCE = "safety authority's guidance"
    PRACTICE = "common practice"


@dataclass(frozen=True, slots=True)
class Caution:
    """Caution with ``words`` for each reader; ``{name}`` in them is a fact of the job."""

    id: str
    applies: Callable[[CautionFacts], bool]
    kind: Source
    source: str
    words: Mapping[Reader, str]


def _is_too_high(facts: CautionFacts) -> bool:
    return facts.highest is not None and facts.local_height is not None and facts.highest > facts.local_height


def _is_pool_low(facts: CautionFacts) -> bool:
    return facts.pool and facts.pool_lowest is not None and facts.pool_lowest < POOL_HEIGHT_MM


def _is_pool_gap_large(facts: CautionFacts) -> bool:
    return facts.pool and facts.pool_gap is not None and facts.pool_gap > POOL_GAP_MM


C, W, S, O = Reader.CUSTOMER, Reader.CREW, Reader.SUPPLIER, Reader.OWNER  # noqa: E741  (four columns of words)

REGISTER: tuple[Caution, ...] = (
    Caution(
        "services", lambda f: f.digging, Source.GUIDANCE, "HSE HSG47; one-call services (811 and its like)",
        {
            C: (
                "Before any digging, underground services (power, gas, water, telephone) are located with the local enquiry "
                "service. Tell us of private pipes and cables that it cannot know."
            ),
            W: (
                "Do not dig until the services plan is on site and the services are located. Assume services are there. Dig by "
                "hand near any mark."
            ),
            O: "Make the services enquiry before digging and keep its reply with the job; some places need days of notice.",
        },
    ),
    Caution(
        "overhead", lambda f: f.lifting or f.retrofit, Source.GUIDANCE, "HSE GS6 (from memory); the line's owner decides",
        {
            W: (
                "Look up before lifting. Keep posts, rails, sheets and ladders away from overhead lines by the distance the "
                "line's owner or the local rule gives. In doubt, ring the office."
            ),
            O: "Overhead lines near the work: ask their owner for the distance to keep, and inform the crew.",
        },
    ),
    Caution(
        "boundary", lambda f: f.boundary, Source.LAW, "local fencing and survey law",
        {
            C: (
                "You confirm where the boundary is and that the neighbour has agreed. We do not survey. If in doubt, ask a "
                "licensed surveyor before we set out."
            ),
            W: "Set out only from pegs or marks that the customer has confirmed. If they look wrong, stop and ring the office.",
            O: "Boundary position and the neighbour's consent are to be confirmed in writing before the crew goes out.",
        },
    ),
    Caution(
        "local.rules", lambda f: f.highest is not None, Source.LAW, "local planning and building code",
        {
            C: (
                "Local rules may limit the height of a fence, its distance to the street and the view at corners, or require a"
                " permit. The owner must find out, unless this quote states otherwise."
            ),
            O: "Check local limits on height, front setback and sight lines before this is accepted.",
        },
    ),
    Caution(
        "height.over", _is_too_high, Source.LAW, "local planning code, as entered for this job",
        {
            C: (
                "The fence stands up to {highest} mm above the ground, over the local limit of {local_height} mm entered for "
                "this job. It may need a permit before work starts."
            ),
            W: "Part of this fence is over {local_height} mm. Do not start until the office confirms that there is a permit.",
            O: "Highest point {highest} mm, local limit entered {local_height} mm: a permit may be needed.",
        },
    ),
    Caution(
        "driveway", lambda f: f.driveway, Source.LAW, "local code on sight lines; AS/NZS 2890.1 is one example",
        {
            C: (
                "Beside a driveway or street corner the view of people on the path must stay clear. Local rules state how low "
                "the fence must be there."
            ),
            W: "Fence beside a driveway: keep to the heights on this sheet near the street, even if asked for others on site.",
            O: "Driveway or corner near: check the local sight triangle against the heights.",
        },
    ),
    Caution(
        "pool.ask", lambda f: f.digging and not f.pool, Source.LAW, "local pool barrier law and standard",
        {
            C: (
                "Tell us of any pool or spa the fence bounds. Such a fence must meet the local pool barrier standard and be "
                "inspected; this quote does not include a pool barrier."
            ),
            O: "Ask whether the fence bounds a pool or spa: another standard and an inspection would apply.",
        },
    ),
    Caution(
        "pool", lambda f: f.pool, Source.LAW, "local pool barrier law and standard",
        {
            C: (
                "A fence that bounds a pool must meet the local pool barrier standard and be inspected by the person or body "
                "that the law names. This quote does not state that it meets the standard."
            ),
            W: (
                "Pool barrier: nothing to climb on near it, gaps and heights exactly as on this sheet, gate must close and"
                " latch by itself. It is inspected afterwards."
            ),
            O: "Pool barrier: check the whole design against the local standard and arrange the inspection.",
        },
    ),
    Caution(
        "pool.low", _is_pool_low, Source.LAW, "NSW Fair Trading practice advice (an absolute minimum); the local code decides",
        {
            C: (
                "At its lowest point the fence by the pool is {pool_lowest} mm high. Pool barriers commonly need at least 1200 "
                "mm with no tolerance; the local standard decides."
            ),
            W: "Lowest point by the pool is {pool_lowest} mm, under 1200 mm. Ring the office before building it.",
            O: (
                "Pool run's lowest clear height is {pool_lowest} mm, under 1200 mm: change the form or the height, or show that "
                "the local standard allows it."
            ),
        },
    ),
    Caution(
        "pool.gap", _is_pool_gap_large, Source.STANDARD, "AS 1926.1 (from memory), US CPSC Pub. 362; the local code decides",
        {
            C: (
                "Under the fence by the pool the gap is up to {pool_gap} mm. Pool barriers commonly allow no more than 100 mm; "
                "the local standard decides."
            ),
            W: "Gap by the pool is up to {pool_gap} mm, over 100 mm. Ring the office before building it.",
            O: (
                "Pool run's largest ground gap is {pool_gap} mm, over 100 mm: rake it, fill under it, or show that the local "
                "standard allows it."
            ),
        },
    ),
    Caution(
        "pool.climb", lambda f: f.pool and f.pool_lattice, Source.STANDARD, "AS 1926.1; US CPSC Pub. 362",
        {
            C: "Lattice and rails by a pool can be climbed. The local standard states where they may be.",
            W: "Lattice on the pool run: which side the rails face is decided by the office, not on site.",
            O: "Lattice on a pool run: openings and rails may count as footholds. Check the non-climbable zone.",
        },
    ),
    Caution(
        "fibre.cement", lambda f: f.old_fibre_cement, Source.LAW, "local asbestos regulations",
        {
            C: (
                "Old fibre-cement sheet may contain asbestos. It is tested, and if so removed by a licensed remover, before we "
                "start."
            ),
            W: (
                "Old fibre-cement sheet: treat as asbestos. Do not cut, break, sweep or load it. A licensed remover removes it "
                "first."
            ),
            O: "Suspected asbestos: test it, and engage a licensed remover if it is asbestos. Keep the clearance with the job.",
        },
    ),
    Caution(
        "removal", lambda f: f.removal, Source.PRACTICE, "common practice",
        {
            C: (
                "The existing fence is removed: keep children and animals in until the new one is closed. Tell us what you know "
                "of its age and make: old sheet may contain asbestos, old timber and paint arsenic or lead."
            ),
            W: (
                "Taking down the old fence: look for wires, pipes and wasps on it, prop what leans, pull nails at once. Sheet of "
                "unknown make may contain asbestos: do not break it, ring the office. Burn no treated or painted timber."
            ),
        },
    ),
    Caution(
        "cement", lambda f: f.concrete, Source.GUIDANCE, "HSE CIS26; OSHA 3351",
        {
            C: "Wet concrete burns skin and eyes. Keep people and animals off it until it is hard.",
            W: (
                "Wet cement burns. Waterproof gloves, boots and eye protection; never kneel in it; wash it off at once with "
                "clean water."
            ),
            O: "The crew needs waterproof gloves, eye protection and clean water on site.",
        },
    ),
    Caution(
        "cure", lambda f: f.concrete and f.sheets, Source.PRACTICE, "common practice",
        {
            C: (
                "Posts stand some days before sheets go on, longer in the cold, so that wind does not move them in fresh "
                "concrete."
            ),
            W: "Let the concrete cure before sheets load the posts. No sheets on fresh concrete when wind is forecast.",
            O: "Plan posts and sheets as two visits, or brace the posts.",
        },
    ),
    Caution(
        "wind", lambda f: f.sheets, Source.PRACTICE, "common practice",
        {
            W: (
                "A half-sheeted bay is a sail. When wind is forecast, leave no bay half done and no sheet held by a few screws; "
                "prop posts that stand alone."
            ),
            O: "Sheets are not fixed in wind: plan for a day lost to it.",
        },
    ),
    Caution(
        "edges", lambda f: f.sheets, Source.PRACTICE, "common practice; gloves to EN 388",
        {
            C: "New sheet has sharp edges and moves in wind. Keep away from stacks and loose sheets.",
            W: "Sharp edges: cut-resistant gloves and eye protection. Carry and fix no sheets in wind; tie down what is stacked.",
            S: "Sheets are unloaded by hand: strap packs, protect edges, mark the mass of each pack.",
        },
    ),
    Caution(
        "sawing", lambda f: f.sawing, Source.PRACTICE, "common practice",
        {
            W: (
                "Sawing and grinding throw sparks and swarf: eye and hearing protection, cut-resistant gloves, the piece "
                "clamped. Nothing that burns near, water at hand, none on a day of fire ban."
            ),
            O: "The crew needs clamps, eye and hearing protection, and water or an extinguisher where they saw.",
        },
    ),
    Caution(
        "coated", lambda f: f.cutting_coated, Source.PRACTICE, "common practice",
        {
            W: (
                "Cut coated sheet with shears or a cold saw, never an abrasive disc. Brush off swarf the same day: it rusts and "
                "stains."
            ),
            O: "No abrasive disc on coated sheet, swarf off the same day: it voids most finish warranties.",
        },
    ),
    Caution(
        "lifting", lambda f: f.lifting, Source.GUIDANCE, "HSE manual handling filter; NIOSH 94-110. Advice, not a limit",
        {
            W: "Bags, long sheets and gates: two people, or a trolley. Lift close to the body.",
            S: (
                "Lift packs by machine; long pieces and sheets take two people. Deliver as near the work as the truck can get, "
                "and state the mass of packs and who unloads."
            ),
            O: "Plan two people for bags, long sheets and gates.",
        },
    ),
    Caution(
        "stepped", lambda f: f.stepped, Source.PRACTICE, "common practice",
        {
            C: (
                "On a stepped fence the gap under each bay grows towards its low side; small animals may pass. Filling under it "
                "is not in the price unless listed."
            ),
            W: "Stepped run: check the largest gap under each bay against this sheet before concreting.",
        },
    ),
    Caution(
        "gates", lambda f: f.gates, Source.PRACTICE, "common practice",
        {
            C: "A gate needs the ground in its swing kept clear, and its hinges and latch looked after.",
            W: "Check equal diagonals and the swing over the ground before the hinges are final.",
        },
    ),
    Caution(
        "retrofit", lambda f: f.retrofit, Source.PRACTICE, "common practice; the wind moment grows with the square of the height",
        {
            C: (
                "Lattice makes an existing fence higher, and increases the wind load on its posts and footings. We cannot check "
                "those; an engineer can assess whether they are strong enough."
            ),
            W: (
                "Before lattice goes on: push every old post. If one moves, is rusted at the ground or stands in broken "
                "concrete, stop and ring the office."
            ),
            O: "Higher fence on old footings: screen it, and dig one footing out.",
        },
    ),
    Caution(
        "screening", lambda f: f.strength_screened, Source.STANDARD, "the method named in the screening",
        {
            C: (
                "The wind check with this quote is a screening by the published method it names. It does not state that the "
                "fence is safe and does not replace a licensed engineer."
            ),
            W: (
                "Hole depths and widths on this sheet were screened for wind. Do not make them smaller; soft or filled ground: "
                "stop and ring the office."
            ),
            O: (
                "The screening does not replace a licensed engineer. Posts marked over or outside need a decision before the "
                "quote is sent."
            ),
        },
    ),
)  # fmt: skip
