"""Problem documents (RFC 9457), which the API returns for every error.

Raise ``Problem("conflict", "This quote is already accepted.")`` anywhere below an endpoint. A
``fencing.model.faults.InvalidDocument`` becomes a 422 with a pointer for each error.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from django.conf import settings
from django.core.exceptions import ValidationError

from fencing.model.faults import InvalidDocument
from shared.common import request_id

MEDIA_TYPE: Final = "application/problem+json"

# code: (status, title, advice). Codes are never removed, because clients rely on them.
KNOWN: Final[Mapping[str, tuple[int, str, str]]] = {
    "malformed": (400, "Malformed request", "Send well-formed JSON in UTF-8, and well-formed parameters."),
    "invalid-cursor": (400, "Invalid cursor", "Use the address of the next page unchanged, with the same key."),
    "invalid-parameter": (400, "Invalid parameter", "See errors: each names a parameter and the accepted values."),
    "idempotency-key-missing": (400, "Idempotency-Key missing", "Send an Idempotency-Key: a new id for each new action."),
    "unauthenticated": (401, "Not signed in", "Send a valid key as Authorization: Bearer, or sign in."),
    "forbidden": (403, "Not allowed", "Use a key or a role that has the scope named in detail."),
    "suspended": (403, "Business suspended", "You can read and export a suspended business, but not change it."),
    "not-found": (404, "Not found", "Check the address. Records of other businesses are reported as not found."),
    "method-not-allowed": (405, "Method not allowed", "Use a method named in the Allow header."),
    "not-acceptable": (406, "Not acceptable", "Accept application/json or one of the documented types."),
    "conflict": (409, "Conflict", "Read the resource again and check its status."),
    "request-in-progress": (409, "Request in progress", "The first request with this key is still running. Wait, then repeat."),
    "gone": (410, "Gone", "The resource no longer exists."),
    "precondition-failed": (412, "Version conflict", "Read the newest version, check it, and repeat with its ETag."),
    "too-large": (413, "Too large", "Send less at once. The limits are on the documentation page."),
    "uri-too-long": (414, "Address too long", "Send an address of at most 8,000 bytes. Put long texts into the body."),
    "unsupported-media-type": (415, "Unsupported media type", "Send the documented Content-Type."),
    "expectation-failed": (417, "Expectation failed", "Send no Expect header other than 100-continue."),
    "invalid": (422, "Invalid data", "See errors: each names a field and the accepted values."),
    "idempotency-key-reused": (422, "Idempotency-Key reused", "This key was used with another body. Use a new key."),
    "precondition-required": (428, "If-Match missing", "Send If-Match with the ETag of the version you saw."),
    "quota-exceeded": (429, "Too many requests", "Wait for the time in Retry-After."),
    "headers-too-large": (431, "Headers too large", "Send fewer or shorter headers: each may have about 8,000 bytes."),
    "internal": (500, "Internal error", "Report the request id in instance."),
    "not-implemented": (501, "Not implemented", "Send the body unencoded, with its Content-Length."),
    "unavailable": (503, "Not available now", "Try again later."),
}  # fmt: skip


MAX_ERRORS: Final = 1_000
"""Maximum number of errors in one response. A file with more errors is of another kind."""


class Problem(Exception):
    """Error with a known code. Each of ``errors`` has a pointer, parameter or header, a code and a detail."""

    def __init__(
        self,
        code: str,
        detail: str = "",
        *,
        errors: Iterable[Mapping[str, str]] = (),
        headers: Mapping[str, str] | None = None,
        members: Mapping[str, Any] | None = None,
    ) -> None:
        self.code = code
        self.status, self.title, advice = KNOWN[code]
        self.detail = detail or advice
        all_errors = [dict(error) for error in errors]
        if len(all_errors) > MAX_ERRORS:
            self.detail += f" The first {MAX_ERRORS} of {len(all_errors)} are listed."
        self.errors = all_errors[:MAX_ERRORS]
        self.headers = dict(headers or {})
        self.members = dict(members or {})
        super().__init__(f"{code}: {self.detail}")

    def document(self) -> dict[str, Any]:
        """Return the body of the response."""
        document: dict[str, Any] = {
            "type": f"{settings.PUBLIC_URL}/api/docs/problems/{self.code}",
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
            "instance": f"urn:request:{request_id.request_id()}",
            "code": self.code,
            **self.members,
        }
        if self.errors:
            document["errors"] = self.errors
        return document


def from_refusal(refused: InvalidDocument) -> Problem:
    """Return the problem for a rejected document, with each pointer as a URI fragment (RFC 6901, section 6)."""
    errors = [{"pointer": f"#{fault.pointer}", "code": fault.code, "detail": fault.text} for fault in refused.faults]
    return Problem("invalid", errors=errors)


def from_validation(fault: ValidationError) -> Problem:
    """Return the problem for the validation errors of a model."""
    if not hasattr(fault, "error_dict"):
        return Problem(
            "invalid", errors=[{"pointer": "#", "code": "invalid", "detail": text} for text in fault.messages]
        )
    errors = [
        {"pointer": "#" if name == "__all__" else f"#/{name}", "code": str(part.code or "invalid"), "detail": text}
        for name, parts in fault.error_dict.items()
        for part in parts
        for text in part.messages
    ]
    return Problem("invalid", errors=errors)
