"""Command ``restore FILE --yes``: replaces the database by a backup."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from shared.database import backup


class Command(BaseCommand):
    help = "Replace the database by the backup in FILE, migrate it and check the audit log."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--yes", action="store_true", help="confirm that the current data is deleted")

    def handle(self, *args: Any, **options: Any) -> None:
        if not options["yes"]:
            raise CommandError("The whole database will be replaced. Stop the service, then add --yes.")
        try:
            backup.restore(options["file"])
        except backup.CopyError as fault:
            raise CommandError(str(fault)) from None
        call_command("migrate", verbosity=0)
        call_command("verify_audit", stdout=self.stdout, stderr=self.stderr)
        self.stdout.write(f"restored from {options['file']}")
