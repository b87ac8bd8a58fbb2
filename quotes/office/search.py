"""Search for jobs, customers and quotes: a few results of each kind that the person has access to."""

from __future__ import annotations

from django.urls import reverse

from quotes.jobs import queries as jobs
from quotes.office.today import MAX, Group, TodayItem
from quotes.quoting.queries import quotes
from shared.business.actors import Actor
from shared.business.roles import Scope
from shared.models import Business


def find_matches(business: Business, actor: Actor, words: str) -> list[Group]:
    """Return the search results by kind."""
    groups = [_jobs(business, words)]
    if actor.may(Scope.QUOTES_READ):
        groups.append(_quotes(business, words))
    if actor.may(Scope.JOBS_WRITE):
        groups.append(_customers(business, words))
    return [group for group in groups if group.rows]


def _jobs(business: Business, words: str) -> Group:
    rows = jobs.jobs(business, {"q": words}).select_related("customer", "site").order_by("-id")
    found = [
        TodayItem(reverse("job", args=[row.ref]), str(row), f"{row.customer.name}, {row.site}", row.get_state_display())
        for row in rows[:MAX]
    ]
    return Group("jobs", "Jobs", tuple(found))


def _quotes(business: Business, words: str) -> Group:
    rows = quotes(business, {"q": words}).select_related("job__customer").order_by("-id")
    found = [
        TodayItem(reverse("job", args=[row.job.ref]), str(row), str(row.job), row.job.customer.name)
        for row in rows[:MAX]
    ]
    return Group("quotes", "Quotes", tuple(found))


def _customers(business: Business, words: str) -> Group:
    rows = jobs.customers(business, {"q": words}).order_by("name", "id")
    start = reverse("new-job")
    found = [TodayItem(f"{start}?customer={row.ref}", row.name, row.address, "new job") for row in rows[:MAX]]
    return Group("customers", "Customers", tuple(found))
