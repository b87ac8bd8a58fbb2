"""``manage.py verify_audit``: walks the audit chain of every business and names the first entry that was touched."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shared import audit
from shared.business.models import Business


class Command(BaseCommand):
    help = "Checks the audit trail of every business; exits 1 and says where when it was touched."

    def handle(self, *args: Any, **options: Any) -> None:
        faults = 0
        for business in Business.objects.order_by("id"):
            for fault in audit.verify(business):
                faults += 1
                self.stderr.write(f"{business.name}: {fault}")
            number, sha256 = audit.head(business)
            self.stdout.write(f"{business.name}: {number} entries, the last is {sha256 or 'none'}")
        if faults:
            raise CommandError(f"{faults} faults in the audit trail")
