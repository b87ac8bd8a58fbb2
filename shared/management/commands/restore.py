"""``manage.py restore FILE --yes``: puts a backup in the place of the database."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from shared.database import backup


class Command(BaseCommand):
    help = "Replaces the database by the backup in FILE, then brings it up to date and checks the audit trail."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--yes", action="store_true", help="yes, everything in the database now is to go")

    def handle(self, *args: Any, **options: Any) -> None:
        if not options["yes"]:
            raise CommandError("Everything in the database now will be replaced. Stop the service, then say --yes.")
        try:
            backup.restore(options["file"])
        except backup.CopyError as fault:
            raise CommandError(str(fault)) from None
        call_command("migrate", verbosity=0)
        call_command("verify_audit", stdout=self.stdout, stderr=self.stderr)
        self.stdout.write(f"restored from {options['file']}")
