"""Command ``backup FILE``: makes a consistent copy while the service runs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shared.database import backup


class Command(BaseCommand):
    help = "Copy the database into FILE (pg_dump -Fc, or SQLite's backup). It is safe during writes."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        target: Path = options["file"]
        if target.exists():
            raise CommandError(f"{target} already exists. A backup never replaces a file.")
        try:
            backup.backup(target)
        except backup.CopyError as fault:
            raise CommandError(str(fault)) from None
        self.stdout.write(f"{target}: {target.stat().st_size} bytes")
