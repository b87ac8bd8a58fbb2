"""Hooks that run when a job changes state. Later apps register them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable

from quotes.jobs.models import Job, JobState
from shared.business.actors import Actor

Follows = Callable[[Job, Actor], None]
_FOLLOWERS: dict[str, list[Follows]] = defaultdict(list)


def follows(state: JobState, follow: Follows) -> None:
    """Register a function that runs in the transaction of a change to a state."""
    if follow not in _FOLLOWERS[state]:
        _FOLLOWERS[state].append(follow)


def run_hooks(job: Job, actor: Actor) -> None:
    """Run the functions registered for the present state of a job."""
    for follow in _FOLLOWERS[job.state]:
        follow(job, actor)
