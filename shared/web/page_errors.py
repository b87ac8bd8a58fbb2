"""Rejected page actions: the text, the fields and the status of an error that a service or a version check raises."""

from __future__ import annotations

from fencing.model.faults import InvalidDocument
from shared.common.form_fields import faults_by_pointer
from shared.common.problems import Problem

PAGE_ERRORS = (InvalidDocument, Problem)
"""Errors that a page catches around an action, to show the form again with the entered values."""
PageError = InvalidDocument | Problem


def error_text(error: PageError) -> str:
    """Return all errors as sentences."""
    return error.detail if isinstance(error, Problem) else " ".join(fault.text for fault in error.faults)


def errors_by_field(error: PageError) -> dict[str, str]:
    """Return the error texts by JSON pointer; those of the whole form under an empty pointer."""
    return {"": error.detail} if isinstance(error, Problem) else faults_by_pointer(error)


def error_status(error: PageError) -> int:
    """Return the HTTP status of a page that shows this error."""
    return error.status if isinstance(error, Problem) else 422
