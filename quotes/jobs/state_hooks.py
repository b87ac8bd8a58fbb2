"""What follows from a job's move in other stages. They come later in a job's life and register themselves."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable

from quotes.jobs.models import Job, JobState
from shared.business.actors import Actor

Follows = Callable[[Job, Actor], None]
_FOLLOWERS: dict[str, list[Follows]] = defaultdict(list)


def follows(state: JobState, follow: Follows) -> None:
    """Registers what is done in the transaction of a move to a state."""
    if follow not in _FOLLOWERS[state]:
        _FOLLOWERS[state].append(follow)


def run_hooks(job: Job, actor: Actor) -> None:
    """Does what follows from the state a job has come to."""
    for follow in _FOLLOWERS[job.state]:
        follow(job, actor)
