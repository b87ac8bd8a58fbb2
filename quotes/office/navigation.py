"""The places of the desk and the stages of a job: what there is to go to, and for whom."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import NoReverseMatch, reverse

from shared.business.actors import Actor
from shared.business.roles import Scope

Rows = tuple[tuple[str, str, Scope], ...]

PLACES: Rows = (
    ("today", "Today", Scope.JOBS_READ),
    ("jobs", "Jobs", Scope.JOBS_READ),
    ("orders", "Orders", Scope.ORDERS_READ),
    ("deliveries", "Deliveries", Scope.DELIVERIES_READ),
    ("stock", "Stock", Scope.STOCK_READ),
    ("prices", "Prices", Scope.CATALOGUE_READ),
    ("accounting", "Accounting", Scope.ACCOUNTING_READ),
    ("settings", "Settings", Scope.BUSINESS_WRITE),
)
"""Name of the address, the word for it, what it takes to go there. A place that has no page yet is left out."""

STAGES: Rows = (
    ("job", "Job", Scope.JOBS_READ),
    ("job-measure", "Measure", Scope.MEASURES_READ),
    ("job-takeoff", "Take-off", Scope.MEASURES_READ),
    ("job-price", "Quote", Scope.QUOTES_READ),
    ("job-orders", "Purchase orders", Scope.ORDERS_READ),
    ("job-build", "Build", Scope.SET_OUT_READ),
)
"""The same for the stages of a job; each address takes the job's ref."""


@dataclass(frozen=True, slots=True)
class MenuItem:
    name: str
    word: str
    address: str
    here: bool


def address(name: str, *args: str) -> str:
    """Return the address of a page, or an empty text if no app has it."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:  # that stage has no page yet
        return ""


def allowed(rows: Rows, actor: Actor | None, here: str, *args: str) -> list[MenuItem]:
    """Return the menu items a person has access to. The current one is marked."""
    if actor is None:
        return []
    found = [MenuItem(name, word, address(name, *args), name == here) for name, word, scope in rows if actor.may(scope)]
    return [place for place in found if place.address]
