"""``manage.py verify_audit``: walks the audit chain of every business and names the first entry that was touched."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shared.business.models import Business
from shared.database import audit_log

_TOLD = re.compile(r"\((?P<ref>[\w-]+)\): (?P<number>\d+) entries, the last is (?P<sha256>[0-9a-f]{64})$", re.MULTILINE)


class Command(BaseCommand):
    help = "Checks the audit trail of every business; exits 1 and says where when it was touched."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--against",
            metavar="FILE",
            type=Path,
            help="what this command printed earlier: nothing of it may be missing",
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
            raise CommandError(f"{faults} faults in the audit trail")

    def _missing(self, file: Path) -> int:
        """Tells each head of an earlier run that the chain no longer has; how many."""
        try:
            data = [match.groupdict() for match in _TOLD.finditer(file.read_text(encoding="utf-8"))]
        except (OSError, ValueError) as fault:
            raise CommandError(f"{file}: {fault}") from None
        if not data:
            raise CommandError(f"{file} holds nothing that verify_audit printed.")
        gone = [item for item in data if not audit_log.has(item["ref"], int(item["number"]), item["sha256"])]
        for item in gone:
            self.stderr.write(f"{item['ref']}: entry {item['number']} was {item['sha256']} and is not there any more")
        return len(gone)
