"""``Endpoint``: what every address of the API has in common. DEVELOPERS.md shows how to write one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, ClassVar, TypeVar

from django.db import models, transaction
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView

from shared.api import etags, idempotency, pagination
from shared.api.deprecation import Deprecation, note_use
from shared.api.problems import MEDIA_TYPE, Problem
from shared.api.row_serializer import Rows, SharedQuery
from shared.api.serializers import validated_data
from shared.business.actors import Actor
from shared.business.models import Business
from shared.business.roles import Scope
from shared.common.dates import activate_dates, dates_by
from shared.database.deadlocks import retry_deadlock
from shared.web import rate_limit
from shared.web.request_id import masked

RowT = TypeVar("RowT", bound=models.Model)
_SAFE = ("GET", "HEAD", "OPTIONS")
_PAGING = ("cursor", "page_size")


class Endpoint(APIView):
    """Authenticates, checks the scope, counts the call, and runs every write in one transaction."""

    scopes: ClassVar[Mapping[str, Scope]] = {}
    """The scope each method needs. A method without an entry is for nobody, unless ``public``."""
    public: ClassVar[bool] = False
    """For anybody, without a business."""
    idempotent: ClassVar[frozenset[str]] = frozenset()
    """Methods that need an Idempotency-Key: those that create money or orders."""
    computes_only: ClassVar[bool] = False
    """Writes nothing, so that no transaction is opened and suspended businesses may use it."""
    parameters: ClassVar[Mapping[str, str]] = {}
    """Query parameters and what they mean; any other is refused."""
    unconditional: ClassVar[frozenset[str]] = frozenset()
    """Changes that need no If-Match."""
    needs_if_match: ClassVar[frozenset[str]] = frozenset()
    """POSTs that act on what somebody looked at, such as sending or cancelling it: they need If-Match too."""
    refuses: ClassVar[Mapping[str, tuple[str, ...]]] = {}
    """By method, statuses of refusals beyond those that every endpoint has, for the documentation."""
    deprecated: ClassVar[Mapping[str, Deprecation]] = {}
    """Methods on their way out: their answers say since when, until when and what to use instead."""
    paged: ClassVar[bool] = False
    """Whether GET answers a page (accepts cursor and page_size)."""

    standing: rate_limit.RateLimitStatus | None = None

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> Any:
        """Answer a call; the time zone of its business is active until the answer is made."""
        with dates_by("UTC", "en"):
            return super().dispatch(request, *args, **kwargs)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        try:
            super().initial(request, *args, **kwargs)
        except Exception:
            self._count(f"ip:{rate_limit.client_ip(request._request)}")  # a key that is wrong is a call too
            raise
        if isinstance(request.auth, Actor) and request.auth.business is not None:
            activate_dates(request.auth.business)
        self._count(self._holder())
        self._check_scope(request)
        self._check_parameters(request)
        # what reads bodies goes by Content-Length, and takes one in chunks for an empty one
        if "Transfer-Encoding" in request.headers:
            raise Problem("malformed", "Send the body with its Content-Length; one in chunks is not read.")
        self._wrap_write(request)

    @property
    def actor(self) -> Actor:
        """Who is asking."""
        actor = self.request.auth
        if not isinstance(actor, Actor):
            raise Problem("unauthenticated")
        return actor

    @property
    def business(self) -> Business:
        """Whose rows are meant; a supplier's key has none and uses ``self.actor.supplier_account``."""
        business = self.actor.business
        if business is None:
            raise Problem("forbidden", "This address is for members and keys of a business.")
        return business

    def validated_data(self, kind: type[BaseSerializer[Any]], *, partial: bool = False) -> dict[str, Any]:
        """The body's values, or a 422 that names every fault."""
        return validated_data(kind, self.request.data, partial=partial)

    def find(self, rows: models.QuerySet[RowT], ref: str) -> RowT:
        """One row by its public id, or 404."""
        return etags.find(rows, ref)

    def get_for_update(self, rows: models.QuerySet[RowT], ref: str) -> RowT:
        """One row, locked, after If-Match was checked: 404, 428 or 412."""
        return etags.get_for_update(rows, ref, self.request)

    def page(
        self,
        rows: Rows,
        row: pagination.Telling,
        *,
        by: str = "-id",
        all_of: Business | None = None,
        alike: SharedQuery | None = None,
    ) -> Response:
        """One page of a list; see ``paging.page``.

        ``all_of`` says that the rows are all those of a business, ``alike`` what they differ in from others', both but for
        what the address's own ``parameters`` leave out.
        """
        if all_of is not None:
            alike = SharedQuery("all", (all_of.pk,))
        if self.request.query_params.keys() & self.parameters.keys():
            alike = None
        return pagination.page(self.request, rows, row, holder=self._holder(), by=by, alike=alike)

    def one(self, data: Mapping[str, Any], row: etags.Versioned, *, status: int = 200, at: str = "") -> Response:
        """One thing with its ETag; ``at`` is its address when it was just created."""
        response = Response(data, status=status)
        response["ETag"] = etags.etag(row)
        if at:
            response["Location"] = at
        return response

    def created(self, data: Mapping[str, Any], row: etags.Versioned) -> Response:
        """201 for a thing that lives under this list's address."""
        return self.one(data, row, status=201, at=f"{self.request.path.rstrip('/')}/{row.ref}")

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        answered = super().finalize_response(request, response, *args, **kwargs)
        if self.standing is not None:
            for name, value in self.standing.headers().items():
                answered[name] = value
        answered.setdefault("Cache-Control", "private, no-cache")
        if leaving := self.deprecated.get(str(request.method)):
            for name, value in leaving.headers().items():
                answered[name] = value
            note_use(str(request.method), masked(request.path), self._holder())
        return answered

    def permission_denied(self, request: Request, message: str | None = None, code: str | None = None) -> Any:
        raise Problem("forbidden")

    def perform_content_negotiation(self, request: Request, force: bool = False) -> Any:
        """A client that takes problems takes JSON: the Accept header may name either."""
        if MEDIA_TYPE in request.headers.get("Accept", ""):
            return super().perform_content_negotiation(request, force=True)
        return super().perform_content_negotiation(request, force=force)

    def _holder(self) -> str:
        actor = self.request.auth
        if not isinstance(actor, Actor):
            return f"ip:{rate_limit.client_ip(self.request._request)}"
        whose = actor.business.ref if actor.business else ""
        return f"{actor.kind}:{actor.ref}:{whose}"

    def _once(self, handler: Callable[..., Response], *args: Any, **kwargs: Any) -> Response:
        call = partial(handler, *args, **kwargs)
        return idempotency.run_once(call, holder=self._holder(), request=self.request._request)

    def _count(self, caller: str) -> None:
        self.standing = rate_limit.count(caller)
        rate_limit.refuse_flood(self.standing)

    def _check_scope(self, request: Request) -> None:
        method = "GET" if request.method == "HEAD" else str(request.method)
        if self.public or method == "OPTIONS":
            return
        actor = self.actor
        if not hasattr(self, method.lower()):
            return  # answered 405 next
        needed = self.scopes.get(method)
        if needed is None or not actor.may(needed):
            raise Problem("forbidden", f"This needs the scope {needed}.", members={"scope": str(needed)})
        if actor.business and actor.business.suspended and method not in _SAFE and not self.computes_only:
            raise Problem("suspended")

    def flag(self, name: str) -> bool | None:
        """Return a query parameter that is true or false; None if it is left out. Raise a problem for other values."""
        text = self.request.query_params.get(name)
        if text is None:
            return None
        if text not in ("true", "false"):
            raise Problem(
                "invalid-parameter", errors=[{"parameter": name, "code": "flag", "detail": "Enter true or false."}]
            )
        return text == "true"

    def _check_parameters(self, request: Request) -> None:
        known = {*self.parameters, *(_PAGING if self.paged else ())}
        faults = [
            {"parameter": name[:80], "code": "unknown", "detail": f"Known here: {', '.join(sorted(known)) or 'none'}."}
            for name in request.query_params
            if name not in known
        ]
        faults += [
            {"parameter": name[:80], "code": "nul", "detail": "A parameter can't hold the character NUL."}
            for name, value in request.query_params.items()
            if "\x00" in value
        ]
        if faults:
            raise Problem("invalid-parameter", errors=faults)

    def _wrap_write(self, request: Request) -> None:
        method = str(request.method)
        handler = getattr(self, method.lower(), None)
        if handler is None:
            return
        if method in _SAFE or self.computes_only:
            setattr(self, method.lower(), retry_deadlock(handler))  # some reads store what they found
            return
        # the wrapped handler is set on this one instance, which serves this one request
        if method in self.idempotent:
            setattr(self, method.lower(), partial(self._once, handler))
        else:
            setattr(self, method.lower(), retry_deadlock(transaction.atomic(handler)))
