"""``manage.py cutplan DEMAND.json``: a cutting plan alone, without the database."""

from __future__ import annotations

import sys
from argparse import ArgumentParser, Namespace
from typing import Any, TextIO, cast

from django.core.management.base import BaseCommand

from catalogue.engine import cutplan_command


class Command(BaseCommand):
    help = cutplan_command.HELP
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        cutplan_command.add_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        code = cutplan_command.run(Namespace(**options), cast(TextIO, self.stdout), cast(TextIO, self.stderr))
        if code:
            sys.exit(code)
