"""Errors of pages: text, fields and status of a rejected action, and the pages that are shown instead of another page."""

from __future__ import annotations

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string

from fencing.model.faults import InvalidDocument
from shared.common.figures import localize
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


def error_page(
    request: HttpRequest | None, status: int, title: str, heading: str, *texts: str, is_ours: bool = True
) -> HttpResponse:
    """Return a page that shows an error. Without a request it reads neither the session nor the database.

    ``is_ours`` is false for a customer, who has no page Today to go back to.
    """
    values = {"title": title, "heading": heading, "texts": texts, "is_ours": is_ours}
    return HttpResponse(render_to_string("pages/error.html", values, request), status=status)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a request that cannot be read."""
    text = "The request could not be read. Go back and try again."
    return error_page(None, 400, "Bad request", "Bad request", text)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a person without access."""
    text = (
        "Your role has no access to this page. An owner of the business can change your role under Settings, Members."
    )
    return error_page(request, 403, "No access", "You do not have access", text)


def page_expired(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form without a valid CSRF token."""
    text = (
        "Nothing was changed. Go back, reload the page and submit it again. Your entries in a measure are still there."
    )
    return error_page(request, 403, "Page expired", "This page has expired", text)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer an unknown address."""
    text = "Check the address. The record may have been deleted, or it belongs to another business."
    return error_page(request, 404, "Page not found", "Page not found", text)


def internal_error() -> HttpResponse:
    """Answer a programming error."""
    text = "Saved data is safe. Try again. If the error occurs again, report the time to the operator of this service."
    return error_page(None, 500, "Internal error", "Internal error", text)


def not_available() -> HttpResponse:
    """Answer while the database is down or a disk is full."""
    text = (
        "The service cannot read or save data at the moment. Saved data is safe, but your last changes were not saved. "
        "Wait a moment and submit them again."
    )
    return error_page(None, 503, "Not available now", "Not available now", text)


def faults_by_pointer(refused: InvalidDocument) -> dict[str, str]:
    """Return the errors by JSON Pointer, with texts for pages. Several errors of one field are joined."""
    texts: dict[str, str] = {}
    for fault in refused.faults:
        text = _A_NUMBER.format(localize("1200.50")) if fault.code == "decimal" else fault.text
        texts[fault.pointer] = f"{texts[fault.pointer]} {text}" if fault.pointer in texts else text
    return texts


_A_NUMBER = "Enter a number such as {}, without a separator for thousands."
