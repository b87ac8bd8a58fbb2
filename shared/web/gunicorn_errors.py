"""Gunicorn worker mixin that answers unparsable requests with a problem document."""

from __future__ import annotations

from typing import Any, Final

from gunicorn.http import errors  # type: ignore[import-untyped]  # gunicorn has no types

from shared.web.server_errors import send_refusal

_CODES: Final[tuple[tuple[type[Exception], str], ...]] = (
    (errors.LimitRequestLine, "uri-too-long"),
    (errors.LimitRequestHeaders, "headers-too-large"),
    (errors.UnsupportedTransferCoding, "not-implemented"),
    (errors.ExpectationFailed, "expectation-failed"),
    (errors.ForbiddenProxyRequest, "forbidden"),
    (errors.InvalidResponseHeader, "internal"),
    (errors.InvalidResponseHeaderName, "internal"),
    (errors.ConfigurationProblem, "internal"),
    (errors.ParseException, "malformed"),
)


class ProblemErrorsMixin:
    """Mixin for a Gunicorn worker: ``class Worker(ProblemErrorsMixin, ThreadWorker)``."""

    log: Any

    def handle_error(self, req: Any, client: Any, addr: Any, exc: Exception) -> None:
        """Answer a request that Gunicorn could not read or answer."""
        code = next((code for kind, code in _CODES if isinstance(exc, kind)), "internal")
        if code == "internal":
            self.log.error("Error handling request", exc_info=exc)
        else:
            self.log.warning("Refused a request from %s: %s", (addr or ("",))[0], exc)
        try:
            send_refusal(client, code)
        except OSError:
            self.log.debug("The client has disconnected.")
