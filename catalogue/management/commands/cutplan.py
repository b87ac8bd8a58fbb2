"""``manage.py cutplan DEMAND.json``: a cutting plan alone, without the database."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from fencing.cutting import Budget, plan_cuts, read_demand
from fencing.faults import Fault, Refused

MOST_BYTES = 2_000_000
REFUSED = 2


class Command(BaseCommand):
    help = "Make the cheapest cutting plan of a demand and print it as JSON. '-' reads standard input."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("demand", help="file with the demand as JSON, or - for standard input")
        parser.add_argument(
            "--seconds", type=float, default=10.0, help="when to give the best plan so far (0.1 to 600)"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        seconds = min(600.0, max(0.1, options["seconds"]))
        try:
            demand = read_demand(_source(options["demand"]))
        except Refused as refused:
            for fault in refused.faults:
                self.stderr.write(f"{fault.pointer or '/'}: {fault.text}")
            sys.exit(REFUSED)
        plan = plan_cuts(demand, Budget(int(seconds * 1_000_000), seconds))
        self.stdout.write(json.dumps(plan.document(), ensure_ascii=False))


def _source(name: str) -> bytes:
    """At most one byte more than a document may have: what is longer is refused unread."""
    if name == "-":
        return sys.stdin.buffer.read(MOST_BYTES + 1)
    try:
        with Path(name).open("rb") as file:
            return file.read(MOST_BYTES + 1)
    except OSError as error:
        raise Refused([Fault("", "file", f"{name} can't be read: {error.strerror}")]) from None
