"""Keeping site measures: every valid version for ever, and a draft on top that is never lost, however unfinished."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from fencing.model.faults import Fault, InvalidDocument
from fencing.reading import read_json
from quotes.jobs.document_text import canonical
from quotes.jobs.models import Job, MeasureVersion, StoredMeasure
from quotes.jobs.services import note_event
from quotes.jobs.takeoff_cache import take_off_measure
from shared.business.actors import Actor
from shared.common.problems import Problem
from shared.database import audit_log


@transaction.atomic
def start_measure(
    *, job: Job, document: Mapping[str, Any] | None = None, label: str = "", actor: Actor
) -> StoredMeasure:
    """Start a measure for a job: with its first version if there is a valid document, else with an empty draft."""
    named = label or (str(document.get("label", ""))[:200] if document else "") or job.label
    measure = StoredMeasure.objects.of(job.business).create(job=job, label=named)
    if document is not None:
        save_measure(measure=measure, document=document, actor=actor)
    else:
        audit_log.record(job.business, actor, "measure.started", f"measure:{measure.ref}", {"job": job.ref})
    return measure


@transaction.atomic
def save_measure(*, measure: StoredMeasure, document: Mapping[str, Any], actor: Actor) -> MeasureVersion:
    """Save the next version. The same document again returns the present version. Reject what has no take-off."""
    read = take_off_measure(measure.business, document).measure
    row = StoredMeasure.unscoped.select_for_update(no_key=True).get(
        pk=measure.pk
    )  # unscoped: the caller's own row, locked
    last = newest(row)
    is_new = last is None or last.sha256 != read.sha256
    if last is not None and not is_new:
        version = last
    else:
        row.latest_version += 1
        version = MeasureVersion.objects.of(row.business).create(
            measure=row,
            number=row.latest_version,
            document=canonical(document),
            sha256=read.sha256,
            system=read.system,
            created_by=actor.name[:160],
        )
        text = f"Measure {row.label!r} saved as version {version.number}."
        note_event(job=row.job, kind="measure.saved", text=text, actor=actor, facts={"measure": row.ref})
    row.draft, row.draft_errors, row.draft_at = "", [], None
    row.label = read.label or row.label
    row.save(update_fields=["latest_version", "draft", "draft_errors", "draft_at", "label"])
    measure.refresh_from_db()
    if is_new:
        detail = {"version": version.number, "sha256": version.sha256}
        audit_log.record(row.business, actor, "measure.saved", f"measure:{row.ref}", detail)
    return version


@transaction.atomic
def save_draft(*, measure: StoredMeasure, text: str, faults: Iterable[Fault] | None = None) -> StoredMeasure:
    """Save the text exactly as entered, with its errors. Only its size can be rejected.

    ``faults`` are the errors if the caller has checked the text already.
    """
    if len(text.encode()) > settings.BODY_MAX:
        raise Problem("too-large", f"A draft may have {settings.BODY_MAX} bytes.")
    if "\x00" in text:
        raise InvalidDocument([Fault("", "text.nul", "A draft is text without NUL characters.")])
    measure.draft = text
    found = draft_errors(measure, text) if faults is None else faults
    measure.draft_errors = [{"pointer": item.pointer, "code": item.code, "text": item.text} for item in found]
    measure.draft_at = timezone.now()
    measure.save(update_fields=["draft", "draft_errors", "draft_at"])
    return measure


def adopt_draft(*, measure: StoredMeasure, actor: Actor) -> MeasureVersion:
    """Save the draft as the next version, if it has no errors."""
    if not measure.draft:
        raise Problem("conflict", "There is no draft.")
    return save_measure(measure=measure, document=_parsed(measure.draft), actor=actor)


@transaction.atomic
def restore_version(*, version: MeasureVersion) -> StoredMeasure:
    """Make a version the draft. Saving the draft creates the next version, so that no version is lost."""
    rows = (
        StoredMeasure.objects.of(version.business)
        .select_for_update(no_key=True, of=("self",))
        .select_related("job", "business")
    )
    row = rows.get(pk=version.measure_id)
    return save_draft(measure=row, text=version.document)


def draft_errors(measure: StoredMeasure, text: str) -> tuple[Fault, ...]:
    """Return the errors that prevent saving a draft as the next version; an empty tuple if there are none."""
    try:
        take_off_measure(measure.business, _parsed(text))
    except InvalidDocument as refused:
        return refused.faults
    return ()


def newest(measure: StoredMeasure) -> MeasureVersion | None:
    """Return the last valid version, if there is one."""
    return MeasureVersion.objects.of(measure.business).filter(measure=measure, number=measure.latest_version).first()


def _parsed(text: str) -> Mapping[str, Any]:
    document = read_json(text)
    if not isinstance(document, dict):
        raise InvalidDocument([Fault("", "type.object", "A site measure is a JSON object.")])
    return document
