"""Take-off of one measure on the command line. With --system it needs no database."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from fencing.explain import UnknownComponent, cut_list, explain, summary
from fencing.faults import Fault, Refused
from fencing.prices import PriceList
from fencing.reading import fit, read_json, read_measure, read_system
from fencing.reading.text import MOST_BYTES
from fencing.system import System
from fencing.takeoff import TakeOff, take_off
from fencing.writing import takeoff_json


class Command(BaseCommand):
    help = "Take off one site measure: posts, rails, sheets, screws and concrete, each with its reason."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("measure", metavar="MEASURE.json", help="the site measure; - reads standard input")
        parser.add_argument(
            "--system", metavar="SYSTEM.json", help="a fence system document, instead of the catalogue's"
        )
        shapes = parser.add_mutually_exclusive_group()
        shapes.add_argument("--json", action="store_true", help="the take-off document")
        shapes.add_argument("--cut-list", action="store_true", help="every piece to cut, by material")
        shapes.add_argument("--explain", metavar="COMPONENT", help="why this much of a role or component is needed")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            taken = _taken(options["measure"], options["system"])
            sys.stdout.write(_answer(taken, options))
        except Refused as refused:
            _refuse(refused, as_json=options["json"])


def _taken(measure_path: str, system_path: str | None) -> TakeOff:
    if system_path is None:
        return _taken_from_catalogue(measure_path)
    faults = list[Fault]()
    system: System | None = None
    try:
        system = read_system(_read(system_path))
    except Refused as refused:
        faults += [Fault(fault.pointer, fault.code, f"in the system: {fault.text}") for fault in refused.faults]
    try:
        measure = read_measure(_read(measure_path), system)
    except Refused as refused:
        raise Refused([*refused.faults, *faults]) from None
    if system is None:
        raise Refused(faults)
    return take_off(measure, system)


def _taken_from_catalogue(measure_path: str) -> TakeOff:
    measure = read_measure(_read(measure_path))
    system, prices = _catalogued(measure.system)
    fit(measure, system)
    return take_off(measure, system, prices)


def _catalogued(code: str) -> tuple[System, PriceList]:
    """The system and prices of the only business of this database."""
    from django.db import DatabaseError

    from catalogue.bridge import fence_system, price_list
    from shared.business.models import Business

    hint = "give the fence system with --system SYSTEM.json"
    try:
        business = Business.objects.first()
    except DatabaseError:
        raise Refused([Fault("/system", "system.none", f"the database is not set up; {hint}")]) from None
    if business is None:
        raise Refused([Fault("/system", "system.none", f"there is no business in the database; {hint}")])
    return fence_system(business, code), price_list(business)


def _read(path: str) -> Any:
    try:
        if path == "-":
            return read_json(sys.stdin.buffer.read(MOST_BYTES + 1))
        with Path(path).open("rb") as file:
            return read_json(file.read(MOST_BYTES + 1))
    except (OSError, ValueError) as broken:
        if isinstance(broken, Refused):
            raise
        reason = getattr(broken, "strerror", None) or "no file can have this name"
        raise Refused([Fault("", "file.unreadable", f"{path!r} can't be read: {reason}")]) from None


def _answer(taken: TakeOff, options: dict[str, Any]) -> str:
    if options["json"]:
        return takeoff_json(taken).decode()
    if options["cut_list"]:
        return cut_list(taken) + "\n"
    if options["explain"] is None:
        return summary(taken) + "\n"
    try:
        return "\n".join(explain(taken, options["explain"])) + "\n"
    except UnknownComponent as unknown:
        raise Refused([Fault("", "component.unknown", str(unknown))]) from None


def _refuse(refused: Refused, *, as_json: bool) -> None:
    for fault in refused.faults:
        sys.stderr.write(f"{fault.pointer or '/'}: {fault.text} [{fault.code}]\n")
    if as_json:
        problem = {
            "type": "about:blank",
            "title": "Not acceptable as it is",
            "status": 422,
            "detail": f"{len(refused.faults)} faults; each points at a member and says what would be accepted.",
            "errors": [
                {"pointer": f"#{fault.pointer}", "code": fault.code, "detail": fault.text} for fault in refused.faults
            ],
        }
        sys.stdout.write(json.dumps(problem, ensure_ascii=False) + "\n")
    raise SystemExit(2)
