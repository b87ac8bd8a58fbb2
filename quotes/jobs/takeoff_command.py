"""The take-off command without Django: with --system it loads the engine alone and answers in a fraction of a second."""

from __future__ import annotations

import json
import os
from argparse import ArgumentParser, Namespace
from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, TextIO, TypeVar

from fencing.documents.explain import UnknownComponent, explain, write_cut_list, write_summary
from fencing.documents.takeoff_document import write_takeoff_json
from fencing.model.faults import Fault, InvalidDocument
from fencing.quantities.take_off import TakeOff, take_off
from fencing.reading import read_json, read_measure, read_system
from fencing.reading.strict_json import MAX_BYTES
from shared.common.command_io import read_source, run_command

if TYPE_CHECKING:
    from fencing.model.system import System
    from fencing.quantities.comparison_prices import PriceList

HELP = "Take off one site measure: posts, rails, sheets, screws and concrete, each with its reason."
REFUSED = 2

T = TypeVar("T")


def add_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("measure", metavar="MEASURE.json", help="the site measure; - reads standard input")
    parser.add_argument("--system", metavar="SYSTEM.json", help="a fence system document, instead of the catalogue's")
    parser.add_argument(
        "--business", metavar="NAME", help="whose catalogue (name or reference), where the database has several"
    )
    shapes = parser.add_mutually_exclusive_group()
    shapes.add_argument("--json", action="store_true", help="the take-off document")
    shapes.add_argument("--cut-list", action="store_true", help="every piece to cut, by material")
    shapes.add_argument("--explain", metavar="COMPONENT", help="why this much of a role or component is needed")


def quick(arguments: Sequence[str]) -> int | None:
    """Answer ``manage.py takeoff`` without Django where it is not needed; None where it is."""
    parser = ArgumentParser(prog="manage.py takeoff", description=HELP, allow_abbrev=False)
    add_arguments(parser)
    known, unknown = parser.parse_known_args(arguments)
    if unknown or known.system is None:
        return None
    return run_command(partial(run, known))


def run(asked: Namespace, out: TextIO, err: TextIO) -> int:
    """Do what was asked; the exit code."""
    try:
        out.write(_answer(_take_off(asked, err), asked))
    except InvalidDocument as refused:
        err.writelines(f"{fault.pointer or '/'}: {fault.text} [{fault.code}]\n" for fault in refused.faults)
        if asked.json:
            out.write(json.dumps(problem(refused), ensure_ascii=False) + "\n")
        return REFUSED
    return 0


def problem(refused: InvalidDocument) -> dict[str, Any]:
    """Return an error as the problem document of the API (RFC 9457)."""
    home = os.environ.get("BAYWRIGHT_URL") or "http://localhost:8000"
    return {
        "type": f"{home.rstrip('/')}/api/docs/problems/invalid",
        "title": "Invalid data",
        "status": 422,
        "detail": "See errors: each names a field and the accepted values.",
        "code": "invalid",
        "errors": [
            {"pointer": f"#{fault.pointer}", "code": fault.code, "detail": fault.text} for fault in refused.faults
        ],
    }


def _take_off(asked: Namespace, err: TextIO) -> TakeOff:
    """Return the take-off. Raise the errors of the measure and of the system together."""
    if asked.measure == asked.system == "-":
        text = "standard input can be the measure or the system, not both"
        raise InvalidDocument([Fault("", "file.twice", text)])
    document, unread = _gather(lambda: read_json(read_source(asked.measure, MAX_BYTES)))
    found, of_system = _gather(lambda: _system(asked, document, err))
    system, prices = found or (None, None)
    if unread:
        raise InvalidDocument([*unread, *of_system])
    measure, faults = _gather(lambda: read_measure(document, system))
    faults += [fault for fault in of_system if fault not in faults]
    if measure is None or system is None or faults:
        raise InvalidDocument(faults)
    return take_off(measure, system, prices)


def _gather(read: Callable[[], T]) -> tuple[T | None, list[Fault]]:
    """Return the result of ``read``, or its errors."""
    try:
        return read(), []
    except InvalidDocument as refused:
        return None, list(refused.faults)


def _system(asked: Namespace, document: object, err: TextIO) -> tuple[System | None, PriceList | None]:
    if asked.system is None:
        from quotes.jobs.business_choice import catalogued

        code = document.get("system") if isinstance(document, dict) else None
        return catalogued(code, asked.business, err) if isinstance(code, str) else (None, None)
    try:
        return read_system(read_json(read_source(asked.system, MAX_BYTES))), None
    except InvalidDocument as refused:
        raise InvalidDocument(
            Fault(fault.pointer, fault.code, f"in the system: {fault.text}") for fault in refused.faults
        ) from None


def _answer(taken: TakeOff, asked: Namespace) -> str:
    if asked.json:
        return write_takeoff_json(taken).decode()
    if asked.cut_list:
        return write_cut_list(taken) + "\n"
    if asked.explain is None:
        return write_summary(taken) + "\n"
    try:
        return "\n".join(explain(taken, asked.explain)) + "\n"
    except UnknownComponent as unknown:
        raise InvalidDocument([Fault("", "component.unknown", str(unknown))]) from None
