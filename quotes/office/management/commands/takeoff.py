"""Take-off of one measure on the command line. With --system it needs no database."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from functools import partial
from typing import Any

from django.core.management.base import BaseCommand

from quotes.jobs import takeoff_command
from shared.common.command_io import run_command


class Command(BaseCommand):
    help = takeoff_command.HELP
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        takeoff_command.add_arguments(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        code = run_command(partial(takeoff_command.run, Namespace(**options)))
        if code:
            raise SystemExit(code)
