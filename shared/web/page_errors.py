"""Rejected page actions: the text, the fields and the status of an error that a service, a model or a version check raises."""

from __future__ import annotations

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError

from fencing.model.faults import InvalidDocument
from shared.common.form_fields import faults_by_pointer
from shared.common.problems import Problem

PAGE_ERRORS = (InvalidDocument, Problem, ValidationError)
"""Errors that a page catches around an action, to show the form again with the entered values."""
PageError = InvalidDocument | Problem | ValidationError


def error_text(error: PageError) -> str:
    """Return all errors as sentences."""
    if isinstance(error, ValidationError):
        return " ".join(error.messages)
    return error.detail if isinstance(error, Problem) else " ".join(fault.text for fault in error.faults)


def errors_by_field(error: PageError) -> dict[str, str]:
    """Return the error texts by JSON pointer; those of the whole form under an empty pointer."""
    if isinstance(error, InvalidDocument):
        return faults_by_pointer(error)
    if isinstance(error, Problem) or not hasattr(error, "error_dict"):
        return {"": error_text(error)}
    return {
        "" if name == NON_FIELD_ERRORS else f"/{name}": " ".join(texts) for name, texts in error.message_dict.items()
    }


def error_status(error: PageError) -> int:
    """Return the HTTP status of a page that shows this error."""
    return error.status if isinstance(error, Problem) else 422
