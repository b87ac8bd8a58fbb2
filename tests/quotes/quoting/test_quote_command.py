"""``manage.py quote``: from a file to a directory with everything in it."""

from __future__ import annotations

import hashlib
import json
import os
import sys
from decimal import Decimal
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from quotes.documents import kinds
from quotes.office.management.commands import quote
from quotes.quoting.models import Revision, RevisionState
from shared.background import runner
from shared.business.models import Business
from tests.quotes.quoting.cast import measure, stock_up

pytestmark = pytest.mark.django_db


def _run(tmp_path: Path, document: dict[str, Any], **options: Any) -> tuple[int, str, str]:
    source, out, err = tmp_path / "measure.json", StringIO(), StringIO()
    source.write_text(json.dumps(document), encoding="utf-8")
    code, asked = 0, {"customer": "Wren Sallow", "out": tmp_path / "out", **options}
    try:
        call_command("quote", str(source), stdout=out, stderr=err, **asked)
    except SystemExit as ended:
        code = int(ended.code or 0)
    return code, out.getvalue(), err.getvalue()


def test_a_measure_becomes_a_sent_quote_with_its_files(business: Business, tmp_path: Path) -> None:
    stock_up(business)
    code, out, err = _run(tmp_path, measure(7200))
    assert (code, err) == (0, "")
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {"content.json", "price.txt", "quote.pdf", "set-out.pdf", "cut-list.pdf", "care.pdf"}
    revision = Revision.objects.of(business).get()
    assert revision.state == RevisionState.SENT
    kept = (tmp_path / "out" / "content.json").read_bytes()
    assert hashlib.sha256(kept).hexdigest() == revision.content_sha256
    assert (tmp_path / "out" / "price.txt").read_text(encoding="utf-8") in out
    assert " markup" not in out


def test_explain_shows_the_calculation_of_every_cost(business: Business, tmp_path: Path) -> None:
    stock_up(business)
    code, out, _ = _run(tmp_path, measure(7200), explain=True)
    [build] = json.loads((tmp_path / "out" / "content.json").read_bytes())["builds"]
    orders = [line for line in out.splitlines() if line.startswith("From ")]
    assert (code, all(f"{row['text']}: {row['calculation']}" in out for row in build["costing"])) == (0, True)
    bought = sum(Decimal(row["cost"]) for row in build["costing"] if row["category"] in {"materials", "delivery"})
    assert sum(Decimal(line.split(" = ")[1].split(",")[0]) for line in orders) == bought > 0
    assert out.count("Everything from ") == len(build["buying"]["single_supplier_options"])
    assert "no split is cheaper" in out
    assert " markup" not in (tmp_path / "out" / "price.txt").read_text(encoding="utf-8")


def test_the_same_again_is_the_same_quote_and_the_same_bytes(business: Business, tmp_path: Path) -> None:
    stock_up(business)
    _run(tmp_path, measure(7200))
    first = (tmp_path / "out" / "quote.pdf").read_bytes()
    _run(tmp_path, measure(7200))
    assert Revision.objects.of(business).count() == 1
    assert (tmp_path / "out" / "quote.pdf").read_bytes() == first


def test_a_quote_that_a_job_has_made_is_not_set_again(
    business: Business, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stock_up(business)
    _run(tmp_path, measure(7200))
    first = (tmp_path / "out" / "quote.pdf").read_bytes()
    for _ in range(2):  # the first wants the document, the second makes it
        runner.run_due_tasks()
    monkeypatch.delattr(kinds, "quote_pdf")
    assert _run(tmp_path, measure(7200))[0] == 0
    assert (tmp_path / "out" / "quote.pdf").read_bytes() == first


def test_another_measure_of_the_same_job_is_the_next_revision(business: Business, tmp_path: Path) -> None:
    stock_up(business)
    _run(tmp_path, measure(7200))
    _run(tmp_path, measure(9600))
    rows = Revision.objects.of(business).order_by("number").values_list("quote__number", "number", "state")
    assert list(rows) == [("Q0001", 1, RevisionState.SUPERSEDED), ("Q0001", 2, RevisionState.SENT)]


def test_bad_input_is_refused_whole_and_nothing_is_kept(business: Business, tmp_path: Path) -> None:
    stock_up(business)
    document = {**measure(7200), "colour": 1}
    document["runs"][0]["length_mm"] = -5
    code, _, err = _run(tmp_path, document)
    assert code == 2
    pointers = [line.partition(":")[0] for line in err.splitlines()]
    assert pointers == ["/colour", "/runs/0/length_mm"]
    assert not (tmp_path / "out").exists()
    assert Revision.objects.of(business).count() == 0


def test_a_stop_is_quoted_only_with_a_reason(business: Business, tmp_path: Path) -> None:
    stock_up(business)
    document = measure(7200)
    document["runs"][0] |= {"form": "level", "levels": [[0, 0], [7200, -900]]}
    code, _, err = _run(tmp_path, document)
    assert code == 2
    assert err.splitlines()[-1] == "the reason is given with --override REASON"
    assert not Revision.objects.of(business).filter(state=RevisionState.SENT).exists()
    assert not (tmp_path / "out").exists()
    code, _, _ = _run(tmp_path, document, override="the ground is cut level first")
    assert (code, Revision.objects.of(business).get(state=RevisionState.SENT).number) == (0, 1)


@pytest.mark.parametrize("name", ["Wr\udcffen", "Wren\nSallow", "Wren\tSallow", "Wren\x00", "", " ", "W" * 121])
def test_a_customer_whose_name_no_paper_can_show_is_refused(business: Business, tmp_path: Path, name: str) -> None:
    stock_up(business)
    code, out, err = _run(tmp_path, measure(7200), customer=name)
    assert (code, out) == (2, "")
    assert err.startswith("/customer: ")
    assert Revision.objects.of(business).count() == 0


@pytest.mark.parametrize("place", ["measure.json", "measure.json/deeper/still", "n" * 300])
def test_where_no_directory_can_be_nothing_is_quoted(business: Business, tmp_path: Path, place: str) -> None:
    stock_up(business)
    code, out, err = _run(tmp_path, measure(7200), out=tmp_path / place)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.startswith("/out: ")
    assert Revision.objects.of(business).count() == 0


def test_a_full_directory_is_reported_and_the_quote_is_written_the_next_time(
    business: Business, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, content: bytes) -> Path:
        raise OSError(28, "No space left on device", str(path))

    stock_up(business)
    with monkeypatch.context() as disk:
        disk.setattr(quote, "save", full)
        code, _, err = _run(tmp_path, measure(7200))
    assert code == 2
    assert "No space left on device; quote Q0001 is stored" in err
    assert _run(tmp_path, measure(7200), out=tmp_path / "elsewhere")[0] == 0
    assert (tmp_path / "elsewhere" / "quote.pdf").exists()
    assert Revision.objects.of(business).count() == 1


def test_a_reader_who_has_seen_enough_costs_no_file(business: Business, tmp_path: Path) -> None:
    stock_up(business)
    reading, writing = os.pipe()
    os.close(reading)
    with open(os.dup(writing), "w") as spared, pytest.MonkeyPatch.context() as patched:
        patched.setattr(sys, "stdout", spared)  # `... | head` that has gone
        source = tmp_path / "measure.json"
        source.write_text(json.dumps(measure(7200)), encoding="utf-8")
        call_command("quote", str(source), customer="Wren Sallow", out=tmp_path / "out", stdout=spared)
    os.close(writing)
    assert (tmp_path / "out" / "care.pdf").exists()
