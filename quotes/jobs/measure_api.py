"""Site measures with their history and drafts, their take-offs, and take-offs without storing anything."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from fencing.documents.takeoff_document import write_takeoff
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.measure import Measure
from fencing.model.system import System
from fencing.quantities.take_off import take_off
from fencing.reading import read_measure, read_system
from quotes.jobs import measure_services, queries
from quotes.jobs.api_fields import (
    DOCUMENT,
    MEASURE_FULL_SCHEMA,
    MEASURE_SCHEMA,
    MEASURES,
    TAKEOFF_SCHEMA,
    VERSION_FULL_SCHEMA,
    VERSION_SCHEMA,
    VERSIONS,
)
from quotes.jobs.document_text import canonical, digest, parsed
from quotes.jobs.hooks import with_prices
from quotes.jobs.models import MeasureVersion, StoredMeasure
from quotes.jobs.serializers import DraftIn, MeasureIn, TakeOffIn
from quotes.jobs.takeoff_cache import TakeOffResult, take_off_measure
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.business.actors import Actor
from shared.business.roles import Scope
from shared.common.problems import Problem


class Measures(Endpoint):
    """The measures of a job."""

    scopes = {"GET": Scope.MEASURES_READ, "POST": Scope.MEASURES_WRITE}
    paged = True

    @extend_schema(responses={200: page_of(MEASURE_SCHEMA)}, summary="List measures of a job")
    def get(self, request: Request, ref: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        return self.page(queries.measures(self.business).filter(job=job), MEASURES, by="id")

    @extend_schema(request=MeasureIn, responses={201: MEASURE_FULL_SCHEMA}, summary="Create a measure")
    def post(self, request: Request, ref: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        body = self.validated_data(MeasureIn)
        raw = _document(request.data)["document"] if "document" in body else None
        with pointing("/document"):
            measure = measure_services.start_measure(
                job=job, document=raw, label=body.get("label", ""), actor=self.actor
            )
        return self.one(_full(measure), measure, status=201, at=f"/api/v1/measures/{measure.ref}")


class MeasureDetail(Endpoint):
    """One measure: PUT stores its next version."""

    scopes = {"GET": Scope.MEASURES_READ, "PUT": Scope.MEASURES_WRITE}

    @extend_schema(responses={200: MEASURE_FULL_SCHEMA}, summary="Get a measure and its latest document")
    def get(self, request: Request, ref: str) -> Response:
        measure = self.find(queries.measures(self.business).select_related("job"), ref)
        return self.one(_full(measure), measure)

    @extend_schema(
        request={"application/json": DOCUMENT}, responses={200: MEASURE_FULL_SCHEMA}, summary="Save the next version"
    )
    def put(self, request: Request, ref: str) -> Response:
        """Send the site measure document as the body. An invalid one is rejected; save it as a draft."""
        measure = self.get_for_update(queries.measures(self.business).select_related("job"), ref)
        measure_services.save_measure(measure=measure, document=_document(request.data), actor=self.actor)
        return self.one(_full(measure), measure)


class MeasureDraft(Endpoint):
    """Draft of a measure: saved as entered, with the errors that prevent saving it as a version."""

    scopes = {"PUT": Scope.MEASURES_WRITE}

    @extend_schema(request=DraftIn, responses={200: MEASURE_FULL_SCHEMA}, summary="Save a draft")
    def put(self, request: Request, ref: str) -> Response:
        measure = self.get_for_update(queries.measures(self.business).select_related("job"), ref)
        measure_services.save_draft(measure=measure, text=self.validated_data(DraftIn)["content"])
        return self.one(_full(measure), measure)


class MeasureDraftPublish(Endpoint):
    """Saving a draft as the next version."""

    scopes = {"POST": Scope.MEASURES_WRITE}
    needs_if_match = frozenset({"POST"})

    @extend_schema(request=None, responses={200: MEASURE_FULL_SCHEMA}, summary="Save the draft as the next version")
    def post(self, request: Request, ref: str) -> Response:
        measure = self.get_for_update(queries.measures(self.business).select_related("job"), ref)
        measure_services.adopt_draft(measure=measure, actor=self.actor)
        return self.one(_full(measure), measure)


class MeasureVersions(Endpoint):
    """Versions of a measure."""

    scopes = {"GET": Scope.MEASURES_READ}
    paged = True

    @extend_schema(responses={200: page_of(VERSION_SCHEMA)}, summary="List versions of a measure")
    def get(self, request: Request, ref: str) -> Response:
        measure = self.find(queries.measures(self.business), ref)
        return self.page(queries.versions(self.business).filter(measure=measure), VERSIONS)


class MeasureVersionDetail(Endpoint):
    """One version of a measure."""

    scopes = {"GET": Scope.MEASURES_READ}

    @extend_schema(responses={200: VERSION_FULL_SCHEMA}, summary="Get a version of a measure")
    def get(self, request: Request, ref: str, number: int) -> Response:
        version = find_version(self, ref, number)
        return self.one({**VERSIONS.of(version), "document": parsed(version.document)}, version)


class MeasureTakeOffView(Endpoint):
    """The take-off of a version with the system and prices of today."""

    scopes = {"GET": Scope.MEASURES_READ}
    refuses = {"GET": ("422",)}
    parameters = {"version": "Number of a version. Default: the latest version."}

    @extend_schema(responses={200: TAKEOFF_SCHEMA}, summary="Get the take-off of a measure")
    def get(self, request: Request, ref: str) -> Response:
        asked = request.query_params.get("version", "")
        if asked and not (asked.isascii() and asked.isdigit() and len(asked) < 9):
            fault = {"parameter": "version", "code": "version", "detail": "Enter the number of a version."}
            raise Problem("invalid-parameter", errors=[fault])
        version = find_version(self, ref, int(asked) if asked else None)
        result = take_off_measure(self.business, parsed(version.document))
        document = _document_of(result, self.actor)
        response = Response(document)
        response["ETag"] = f'"{digest(canonical(document))}"'
        return response


class TakeOffs(Endpoint):
    """A take-off of any measure, without storing it."""

    scopes = {"POST": Scope.MEASURES_READ}
    computes_only = True

    @extend_schema(request=TakeOffIn, responses={200: TAKEOFF_SCHEMA}, summary="Calculate a take-off")
    def post(self, request: Request) -> Response:
        body, raw = self.validated_data(TakeOffIn), _document(request.data)
        system, document = body.get("system"), raw["measure"]
        if isinstance(system, Mapping):
            measure, built_from = _read_both(document, raw["system"])
            with pointing("/measure"):
                return Response(write_takeoff(take_off(measure, built_from)))
        if isinstance(system, str):
            document = {**document, "system": system}
        with pointing("/measure"):
            result = take_off_measure(self.business, document)
        return Response(_document_of(result, self.actor))


def _document_of(result: TakeOffResult, actor: Actor) -> dict[str, Any]:
    """Return the take-off document, with the prices of suggested changes for an actor who may read quotes."""
    document = write_takeoff(result.takeoff)
    return with_prices(document, result.takeoff, result.found) if actor.may(Scope.QUOTES_READ) else document


def _read_both(document: object, system: object) -> tuple[Measure, System]:
    """Read a measure and the system sent with it. Raise the errors of both at once."""
    faults, built_from, measure = list[Fault](), None, None
    try:
        with pointing("/system"):
            built_from = read_system(system)
    except InvalidDocument as refused:
        faults += refused.faults
    try:
        with pointing("/measure"):
            measure = read_measure(document, built_from)
    except InvalidDocument as refused:
        faults += refused.faults
    if measure is None or built_from is None:
        raise InvalidDocument(faults)
    return measure, built_from


class pointing:
    """Faults raised inside point further in: at the member their document came from."""

    def __init__(self, pointer: str) -> None:
        self.pointer = pointer

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, fault: BaseException | None, trace: object) -> None:
        if isinstance(fault, InvalidDocument):
            raise InvalidDocument(
                Fault(self.pointer + item.pointer, item.code, item.text) for item in fault.faults
            ) from fault


def find_version(endpoint: Endpoint, ref: str, number: int | None = None) -> MeasureVersion:
    """Return a version of a measure, the last one without a number. Raise 404 if there is none."""
    measure = endpoint.find(queries.measures(endpoint.business), ref)
    rows = queries.versions(endpoint.business).filter(measure=measure, number=number or measure.latest_version)
    found = rows.select_related("business", "measure").first()
    if found is None:
        raise Problem("not-found")
    return found


def _document(body: Any) -> Mapping[str, Any]:
    if not isinstance(body, Mapping):
        raise InvalidDocument([Fault("", "type.object", "A site measure is a JSON object.")])
    return body


def _full(measure: StoredMeasure) -> dict[str, Any]:
    version = measure_services.newest(measure)
    return {
        **MEASURES.of(measure),
        "document": parsed(version.document) if version else None,
        "sha256": version.sha256 if version else None,
        "draft": measure.draft,
        "draft_errors": measure.draft_errors,
    }
