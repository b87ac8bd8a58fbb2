"""Benchmark of documents: python -m tests.benchmarks.bench_documents

The largest demo quote beside bare WeasyPrint on the same HTML, style sheet and fonts (processor time, in turns, medians); a quote
of 20 lines without drawings beside ReportLab with the same words; and a set-out sheet from being wanted to being
made, through a Redis and a worker of its own (by the clock: a busy machine takes longer).
"""

# ruff: noqa: E402 - Django is set up before anything of ours is imported

from __future__ import annotations

import io
import os
import tempfile
import time
from collections.abc import Callable
from html import escape
from pathlib import Path
from statistics import median
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.settings")
os.environ.setdefault("BAYWRIGHT_DEMO", "1")
os.environ.setdefault("BAYWRIGHT_LOG_LEVEL", "ERROR")
os.environ["DATABASE_URL"] = "sqlite://:memory:"

import django

django.setup()

from django.core.management import call_command
from django.db import transaction
from msgspec.structs import replace
from reportlab.lib.styles import getSampleStyleSheet
from reportlab.platypus import Paragraph, SimpleDocTemplate, Table
from weasyprint import HTML

from fencing.reading import read_json
from quotes.documents import pdf
from quotes.documents.kinds.quote import quote_pdf, quote_values
from quotes.office.demo_data import FOLDER, load_business, scenario
from quotes.office.management.commands.quote import quote_measure
from quotes.quoting.content import Content, Drawings, read_content
from quotes.quoting.party_documents import party_document
from shared.business.actors import SYSTEM
from tests.faults.test_documents import START, Press

ROUNDS, SENT = 7, 20
LARGEST = "1-courtyard"

_END_TO_END = f"""
import time
from quotes.documents.models import Document
from quotes.documents.kinds.set_out import SET_OUT
from quotes.documents.services import want_documents
from quotes.quoting.models import Revision
revision = Revision.unscoped.get()
for _ in range({SENT} + 1):
    Document.unscoped.all().delete()
    began = time.monotonic()
    want_documents(revision=revision, kinds=(SET_OUT,))
    while not Document.unscoped.filter(state='ready').exists():
        time.sleep(0.005)
    print(time.monotonic() - began)
"""


def largest() -> Content:
    """The content of the largest demo quote."""
    call_command("migrate", verbosity=0)
    document = read_json((FOLDER / "measures" / f"{LARGEST}.json").read_bytes())
    with transaction.atomic():
        business = load_business(scenario()["business"])
        revision = quote_measure(business=business, document=document, customer="Wren Sallow", actor=SYSTEM)
        content = read_content(revision.content)
        transaction.set_rollback(True)  # nothing is sent or made of it
    return content


def plain(content: Content, count: int) -> Content:
    """Return the quote with a number of lines and no drawings."""
    build = content.builds[0]
    lines = [build.lines[place % len(build.lines)] for place in range(count)]
    named = tuple(replace(line, key=f"line.{place}") for place, line in enumerate(lines))
    return replace(content, builds=(replace(build, lines=named, drawings=Drawings((), (), (), (), (), ())),))


def bare(html: str) -> bytes:
    """WeasyPrint on the same HTML with the same style sheet and fonts, and nothing of ours around it."""
    page = HTML(string=html, url_fetcher=pdf._fetcher())
    made: bytes = page.write_pdf(
        stylesheets=[pdf._stylesheet()], font_config=pdf._fonts(), pdf_variant="pdf/a-3a", pdf_tags=True
    )
    return made


def simple(sheet: dict[str, Any]) -> bytes:
    """A ReportLab document of the same words: tables where the quote has tables, paragraphs elsewhere."""
    made, styles = io.BytesIO(), getSampleStyleSheet()

    def paragraph(text: str, style: str = "Normal") -> Paragraph:
        return Paragraph(escape(text), styles[style])

    def table(rows: list[dict[str, Any]], *names: str) -> Table:
        return Table([[paragraph(str(row[name])) for name in names] for row in rows])

    parts = [paragraph(sheet["heading"], "Title"), paragraph(sheet["how_to_accept"])]
    for part in sheet["scope"]:
        parts += [paragraph(part.heading, "Heading2"), *(paragraph(text) for text in part.sentences)]
    parts += [table(sheet["lines"], "text", "detail", "quantity", "amount"), table(sheet["totals"], "text", "amount")]
    parts += [table(sheet["payments"], "text", "amount"), *map(paragraph, (*sheet["terms"], *sheet["cautions"]))]
    SimpleDocTemplate(made).build(parts)
    return made.getvalue()


def in_turns(*makes: Callable[[], object]) -> list[float]:
    """Return the median processor time of each, measured in turn after one round to warm up."""
    times: list[list[float]] = [[] for _ in makes]
    for turn in range(ROUNDS + 1):
        for place, make in enumerate(makes):
            began = time.process_time()
            make()
            if turn:
                times[place].append(time.process_time() - began)
    return [median(found) for found in times]


def end_to_end() -> list[float]:
    """Seconds from wanted to made, sorted."""
    with tempfile.TemporaryDirectory() as folder:
        service = Press(Path(folder))
        try:
            service.start_redis()
            service.python(START)
            service.start_worker()
            times = [float(line) for line in service.python(_END_TO_END).splitlines()]
        finally:
            service.close()
    return sorted(times[1:])


def main() -> None:
    content = largest()
    party = content.parties[0].key
    html = pdf.markup("quote", quote_values(party_document(content, party)))
    ours, theirs = in_turns(lambda: quote_pdf(content, party), lambda: bare(html))
    print("| what | ours | beside it | ratio | goal |\n|---|---|---|---|---|")
    data = f"{ours * 1000:.0f} ms | {theirs * 1000:.0f} ms"
    print(f"| largest demo quote, bare WeasyPrint | {data} | {ours / theirs:.2f} | 1.1 |", flush=True)
    short = plain(content, 20)
    words = quote_values(party_document(short, party))["sheet"]
    ours, theirs = in_turns(lambda: quote_pdf(short, party), lambda: simple(words))
    data = f"{ours * 1000:.0f} ms | {theirs * 1000:.1f} ms"
    print(f"| quote of 20 lines, ReportLab | {data} | {ours / theirs:.0f} | 30 |", flush=True)
    times = end_to_end()
    p95 = times[round(0.95 * len(times)) - 1]
    print(
        f"\nWanted to made through Redis and one worker, {len(times)} set-out sheets: p50 {median(times):.2f} s, p95 {p95:.2f} s."
    )


if __name__ == "__main__":
    main()
