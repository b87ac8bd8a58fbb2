"""``manage.py takeoff`` in a shell, with a fence system's file and with the catalogue of a business."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from argparse import ArgumentParser
from collections.abc import Callable
from io import BytesIO, StringIO, TextIOWrapper
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from catalogue.spreadsheets.sample_catalogue import NewBusiness, create_business
from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs import takeoff_command
from shared.business.models import Business
from shared.common.problems import from_refusal

ROOT = Path(__file__).resolve().parents[3]
CONTRACT = ROOT / "tests/data/contract"
MEASURE, SYSTEM = CONTRACT / "measure.json", CONTRACT / "system.json"
DEMO_SYSTEM = ROOT / "demo/catalogue/corrugated-50.json"
DEMOS = sorted((ROOT / "demo/measures").glob("*.json"))


def answer(*arguments: object) -> tuple[int, str, str]:
    """(exit code, standard output, standard error) of the command, in this process."""
    parser = ArgumentParser()
    takeoff_command.add_arguments(parser)
    out, err = StringIO(), StringIO()
    code = takeoff_command.run(parser.parse_args([str(argument) for argument in arguments]), out, err)
    return code, out.getvalue(), err.getvalue()


def shell(*arguments: object, given: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    command = [sys.executable, "manage.py", "takeoff", *map(str, arguments)]
    return subprocess.run(command, cwd=ROOT, input=given, capture_output=True, check=False, timeout=60)


def changed(change: Callable[[dict[str, Any]], object], source: Path = MEASURE) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(source.read_text())
    change(document)
    return document


def write_file(folder: Path, document: object) -> Path:
    path = folder / "document.json"
    path.write_text(document if isinstance(document, str) else json.dumps(document))
    return path


@pytest.mark.parametrize("measure", DEMOS, ids=lambda path: path.stem)
@pytest.mark.parametrize("option", [(), ("--json",), ("--cut-list",), ("--explain", "rail")], ids=str)
def test_every_demo_measure_is_taken_off_in_every_shape(measure: Path, option: tuple[str, ...]) -> None:
    code, out, err = answer(measure, "--system", DEMO_SYSTEM, *option)
    assert (code, err) == (0, "")
    assert out.endswith("\n")
    assert json.loads(out)["schema"] == "takeoff-2" if "--json" in option else len(out.splitlines()) > 0


def test_the_contract_s_own_example_is_taken_off() -> None:
    code, out, err = answer(MEASURE, "--system", SYSTEM, "--json")
    taken = json.loads(out)
    assert (code, err, taken["schema"], taken["system"]) == (0, "", "takeoff-2", "ribbed-60")
    run = taken["runs"][0]
    assert [run[key] for key in ("id", "length_mm", "form", "layout")] == ["A", 18240, "stepped", "even"]
    # gate posts stand at 5200 - 30 and 6200 + 30: three bays of 5170 / 3, then six of 12010 / 6 under the pitch of 2400
    assert [post["at_mm"] for post in run["posts"]][:5] == [0, 1724, 3447, 5170, 6230]
    assert len(run["bays"]) == 3 + 6
    assert run["gates"][0]["leaves"][0]["width_mm"] == 1000 - 24
    assert {notice["code"] for notice in taken["notices"] if notice["severity"] == "stop"} == {"lattice.raked"}


def test_standard_input_serves_as_the_measure_and_the_bytes_are_the_same() -> None:
    first = shell(MEASURE, "--system", SYSTEM, "--json")
    again = shell("-", "--system", SYSTEM, "--json", given=MEASURE.read_bytes())
    assert first.returncode == again.returncode == 0
    assert first.stdout == again.stdout
    assert first.stderr == b""


def test_a_refusal_is_one_line_a_fault_and_exit_2(tmp_path: Path) -> None:
    def spoil(document: dict[str, Any]) -> None:
        document["runs"][0] |= {"lenght_mm": 1, "height_mm": "1800", "shares": {"owner": "1/3"}}

    done = shell(write_file(tmp_path, changed(spoil)), "--system", SYSTEM)
    lines = done.stderr.decode().splitlines()
    assert (done.returncode, done.stdout) == (2, b"")
    assert [line.split(":")[0] for line in lines] == ["/runs/0/lenght_mm", "/runs/0/height_mm", "/runs/0/shares"]
    assert "did you mean length_mm?" in lines[0]


def test_with_json_a_refusal_is_the_api_s_problem_document(tmp_path: Path) -> None:
    path = write_file(tmp_path, changed(lambda document: document["runs"][0].update(length_mm=0)))
    code, out, _ = answer(path, "--system", SYSTEM, "--json")
    problem = json.loads(out)
    assert code == 2
    assert [error["pointer"] for error in problem["errors"]] == ["#/runs/0/length_mm"]
    fault = Fault("/runs/0/length_mm", problem["errors"][0]["code"], problem["errors"][0]["detail"])
    api = from_refusal(InvalidDocument([fault])).document()
    del api["instance"]  # names the request; a command has none
    assert problem == api


def test_faults_of_the_measure_and_of_the_system_come_together(tmp_path: Path) -> None:
    system = tmp_path / "system.json"
    system.write_text(json.dumps(changed(lambda document: document.update(pitch_mm=0), SYSTEM)))
    measure = write_file(tmp_path, changed(lambda document: document.update(label=3)))
    code, _, err = answer(measure, "--system", system)
    assert code == 2
    assert [line.split(":")[0] for line in err.splitlines()] == ["/label", "/pitch_mm"]


def test_a_file_that_is_not_there_and_one_that_is_a_folder_are_named(tmp_path: Path) -> None:
    for path in (tmp_path / "none.json", tmp_path, "a\0b"):
        code, out, err = answer(path, "--system", SYSTEM)
        assert (code, out, len(err.splitlines())) == (2, "", 1)
        assert "cannot be read" in err


def test_a_measure_for_another_system_is_refused() -> None:
    code, _, err = answer(MEASURE, "--system", DEMO_SYSTEM)
    assert code == 2
    assert "/system: the measure is for ribbed-60, the system given is corrugated-50" in err


def test_explaining_what_the_job_does_not_need_names_what_it_does() -> None:
    code, out, err = answer(MEASURE, "--system", SYSTEM, "--explain", "drop_bolt")
    assert (code, out) == (2, "")
    assert err.startswith("/: there are no drop bolts in this job; this job needs post.square, post.channel,")


def test_one_standard_input_is_not_both_documents(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", TextIOWrapper(BytesIO(MEASURE.read_bytes())))
    code, _, err = answer("-", "--system", "-")
    assert (code, err) == (2, "/: standard input can be the measure or the system, not both [file.twice]\n")


@pytest.mark.parametrize("more", ["", "--verbosity 1"])  # an option of Django's: answered by it
def test_a_reader_that_has_seen_enough_breaks_nothing(more: str) -> None:
    command = f"{sys.executable} manage.py takeoff {MEASURE} --system {SYSTEM} --json {more} | head -c 10"
    done = subprocess.run(command, shell=True, cwd=ROOT, capture_output=True, check=False, timeout=60)  # noqa: S602
    assert (done.stdout, done.stderr) == (b'{"schema":', b"")


@pytest.mark.parametrize(
    ("redirected", "code", "message"),
    [
        ("takeoff - --system {system} <&-", 2, "/: the document is empty; a JSON object is expected [json.syntax]"),
        ("takeoff {measure} --system {system} >&-", 1, "/: standard output cannot be written: it is closed"),
        (
            "takeoff {measure} --system {system} --json >/dev/full",
            1,
            "/: standard output cannot be written: No space",
        ),
        ("cutplan - <&-", 2, "/: the document is empty; a JSON object is expected"),
        ("cutplan {demand} >/dev/full", 1, "/: standard output cannot be written: No space left on device"),
    ],
)
def test_a_closed_or_full_stream_gives_one_line(tmp_path: Path, redirected: str, code: int, message: str) -> None:
    demand = tmp_path / "demand.json"
    demand.write_text('{"kerf_mm": 3, "pieces": [[2238, 8]], "stock": [{"length_mm": 6000, "price": "31.20"}]}')
    asked = redirected.format(measure=MEASURE, system=SYSTEM, demand=demand)
    done = subprocess.run(  # noqa: S602 - our own words
        f"{sys.executable} manage.py {asked}", shell=True, cwd=ROOT, capture_output=True, check=False, timeout=60
    )
    assert (done.returncode, done.stdout) == (code, b"")
    assert done.stderr.decode().startswith(message)
    assert done.stderr.count(b"\n") == 1


def test_with_a_system_neither_django_nor_numbers_in_bulk_are_loaded() -> None:
    heavy = ("django", "rest_framework", "celery", "numpy", "highspy", "babel", "lxml", "shared.settings", "catalogue")
    code = (
        "import sys; from quotes.jobs.takeoff_command import quick;"
        f"assert quick([{str(MEASURE)!r}, '--system', {str(SYSTEM)!r}, '--json']) == 0;"
        f"print([name for name in {heavy!r} if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, check=True, timeout=60)
    assert done.stderr.decode().strip() == "[]"


@pytest.mark.parametrize("more", [[], ["--verbosity", "1"]])
def test_words_beyond_ascii_reach_a_terminal_that_says_it_is_ascii(more: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "manage.py", "takeoff", str(MEASURE), "--system", str(SYSTEM), *more],
        cwd=ROOT,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        check=True,
        timeout=60,
    )
    assert "m³" in done.stdout.decode()


def test_standard_input_of_two_megabytes_is_refused_unread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", TextIOWrapper(BytesIO(b" " * 3_000_000)))
    code, _, err = answer("-", "--system", SYSTEM)
    assert code == 2
    assert "may have 2,000,000 bytes" in err


COURTYARD = DEMOS[0]


def begin(name: str) -> Business:
    owner = f"{name.split()[0].lower()}@example.test"
    business, _ = create_business(NewBusiness(name, owner, country="NZ", currency="NZD"), password=None)
    return business


@pytest.mark.django_db
def test_without_a_business_the_way_out_is_named() -> None:
    code, out, err = answer(COURTYARD)
    assert (code, out) == (2, "")
    assert err == (
        "/system: there is no business in the database; run manage.py migrate and start_business, or make demo; "
        "takeoff alone also takes --system SYSTEM.json [system.none]\n"
    )


@pytest.mark.django_db
def test_the_one_business_there_is_serves() -> None:
    begin("Skerry Fencing")
    code, out, err = answer(COURTYARD, "--json")
    assert (code, err) == (0, "")
    assert json.loads(out)["concrete"]["bags"] > 0  # the catalogue knows the yield of a bag


@pytest.mark.django_db
@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
def test_with_prices_every_demo_measure_is_taken_off(demo: Path) -> None:
    begin("Skerry Fencing")
    code, out, _ = answer(demo, "--json")
    assert code == 0
    for run in json.loads(out)["runs"]:
        assert all(option["cost"] for option in run["options"])


@pytest.mark.django_db
def test_of_several_the_first_that_has_the_system_serves_and_says_so() -> None:
    for name in ("Skerry Fencing", "Holm Fencing"):
        begin(name)
    code, _, err = answer(COURTYARD)
    assert code == 0
    assert err.startswith("taken off for Skerry Fencing; corrugated-50 is also sold by Holm Fencing")


@pytest.mark.django_db
def test_a_business_is_chosen_by_name_in_any_case_or_by_reference() -> None:
    begin("Skerry Fencing")
    second = begin("Holm Fencing")
    assert answer(COURTYARD, "--business", "HOLM fencing")[::2] == (0, "")
    assert answer(COURTYARD, "--business", second.ref) == answer(COURTYARD, "--business", "Holm Fencing")


@pytest.mark.django_db
def test_an_unknown_business_is_answered_with_those_there_are() -> None:
    begin("Skerry Fencing")
    code, _, err = answer(COURTYARD, "--business", "Skery Fencing")
    assert code == 2
    assert "is not a business here. Use one of: Skerry Fencing (" in err


@pytest.mark.django_db
def test_an_unknown_system_and_the_faults_of_the_measure_come_together(tmp_path: Path) -> None:
    begin("Skerry Fencing")
    document = json.loads(MEASURE.read_text())
    document["runs"][0]["length_mm"] = 0
    path = tmp_path / "measure.json"
    path.write_text(json.dumps(document))
    code, _, err = answer(path)
    assert code == 2
    assert [line.split(":")[0] for line in err.splitlines()] == ["/runs/0/length_mm", "/system"]


@pytest.mark.django_db
def test_django_s_own_way_to_the_command_is_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    begin("Skerry Fencing")
    call_command("takeoff", str(COURTYARD), "--json", stdout=io.StringIO())
    assert json.loads(capsys.readouterr().out)["schema"] == "takeoff-2"
