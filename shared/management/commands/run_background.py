"""``manage.py run_background``: run due tasks in one process, for a service without Redis, beat and worker."""

from __future__ import annotations

import time
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import close_old_connections

from shared.background import runner
from shared.common.environment import whole


class Command(BaseCommand):
    help = "Run due tasks and periodic tasks every few seconds."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--once", action="store_true", help="run due tasks once and stop")

    def handle(self, *args: Any, **options: Any) -> None:
        while True:
            close_old_connections()
            found = runner.run_due_tasks()
            if options["once"]:
                self.stdout.write(f"{found} due tasks")
                return
            time.sleep(whole("BAYWRIGHT_SWEEP_S"))
