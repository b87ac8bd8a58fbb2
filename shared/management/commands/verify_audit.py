"""Command ``verify_audit``: checks the audit log of every business and names changed entries."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shared.business.models import Business
from shared.database import audit_log

_HEAD = re.compile(r"\((?P<ref>[\w-]+)\): (?P<number>\d+) entries, the last is (?P<sha256>[0-9a-f]{64})$", re.MULTILINE)


class Command(BaseCommand):
    help = "Check the audit log of every business. Exit with 1 if entries were changed."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--against",
            metavar="FILE",
            type=Path,
            help="earlier output of this command: none of its entries may be missing",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        faults = self._missing(options["against"]) if options["against"] else 0
        for business in Business.objects.order_by("id"):
            for fault in audit_log.verify(business):
                faults += 1
                self.stderr.write(f"{business.name}: {fault}")
            number, sha256 = audit_log.head(business)
            self.stdout.write(f"{business.name} ({business.ref}): {number} entries, the last is {sha256 or 'none'}")
        if faults:
            raise CommandError(f"{faults} errors in the audit log")

    def _missing(self, file: Path) -> int:
        """Report the entries of an earlier run that are missing, and return their number."""
        try:
            heads = [match.groupdict() for match in _HEAD.finditer(file.read_text(encoding="utf-8"))]
        except (OSError, ValueError) as fault:
            raise CommandError(f"{file}: {fault}") from None
        if not heads:
            raise CommandError(f"{file} is not an output of verify_audit.")
        missing = [item for item in heads if not audit_log.has(item["ref"], int(item["number"]), item["sha256"])]
        for item in missing:
            self.stderr.write(f"{item['ref']}: entry {item['number']} was {item['sha256']} and is missing")
        return len(missing)
