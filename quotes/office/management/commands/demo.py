"""``manage.py demo``: the whole main job on invented work, with every document in ``demo-output/``."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from time import monotonic
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from quotes.documents.kinds import whole_pack
from quotes.integrations.order_formats import FORMS
from quotes.office.demo_data import load_business, load_jobs, load_orders, scenario
from quotes.purchasing.saw_sheets import saw_pdf
from quotes.quoting.content import read_content
from quotes.quoting.models import Revision, RevisionState
from shared.common.command_io import save
from shared.models import Business


class Command(BaseCommand):
    help = "Load the invented scenario and write quotes, set-out sheets, orders and take-offs to demo-output/."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--out", default=str(Path(settings.ROOT) / "demo-output"), help="folder to write to")

    def handle(self, *args: Any, **options: Any) -> None:
        if not (settings.DEMO or settings.DEBUG):
            raise CommandError("The demo is for trying things out: set BAYWRIGHT_DEMO=1.")
        began, out = monotonic(), Path(options["out"])
        settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"  # to be read, not sent
        settings.EMAIL_FILE_PATH = str(out / "mail")
        call_command("migrate", verbosity=0)
        data = scenario()
        self._say("Starting the business and its catalogue")
        business = load_business(data["business"])
        for number, (name, revision) in enumerate(load_jobs(business, data), 1):
            self._say(f"Job {number} of {len(data['jobs'])}: {revision.quote.label}")
            for path in write_job(revision, out / name):
                self._say(f"  {path.relative_to(out.parent)}")
        self._say("Orders for everything that was agreed, ordered together")
        for path in write_orders(business, out / "orders"):
            self._say(f"  {path.relative_to(out.parent)}")
        self._say(f"Done in {monotonic() - began:.0f} s. Open {out.name}/ to look at it.")

    def _say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()


def write_orders(business: Business, folder: Path) -> Iterator[Path]:
    """Every order of the scenario in every form its supplier may want: list, table, workbook, UBL."""
    for order in load_orders(business):
        for form, (_, write) in FORMS.items():
            yield save(folder / f"{order.number}.{form}", write(order))


def write_job(revision: Revision, folder: Path) -> list[Path]:
    """Every document of one revision, written whole or not at all."""
    content = read_content(revision.content)
    takeoff = json.dumps(content.builds[0].takeoff, indent=1, ensure_ascii=False)
    written = [save(folder / "takeoff.json", takeoff.encode())]
    written += [save(folder / name, pdf) for name, pdf in whole_pack(content)]
    if revision.state == RevisionState.ACCEPTED:
        written.append(save(folder / "saw-sheet.pdf", saw_pdf(revision)))
    return written
