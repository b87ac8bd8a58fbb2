"""Files are taken in after the request that brought them."""

from __future__ import annotations

from catalogue.sheets import importing
from shared.business.actors import Actor
from shared.outbox import Event, Finish, handles


@handles(importing.ASKED, slow=True)
def take_file_in(event: Event) -> Finish | None:
    """Plans outside of any transaction, writes in the one that marks it done."""
    row = importing.waiting(event.business, event.subject) if event.business else None
    if row is None:
        return None
    planned, actor = importing.prepare(row), Actor("person", "", row.asked_by)

    def finish() -> None:
        importing.finish(row, planned, actor)

    return finish
