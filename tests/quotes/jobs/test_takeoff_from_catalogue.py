"""``manage.py takeoff`` without --system: the business is chosen, and the error if there is none."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from django.core.management import call_command

from catalogue.spreadsheets.sample_catalogue import NewBusiness, create_business
from shared.business.models import Business
from tests.quotes.jobs.test_takeoff_command import DEMOS, MEASURE, answer

pytestmark = pytest.mark.django_db
COURTYARD = DEMOS[0]


def begin(name: str) -> Business:
    owner = f"{name.split()[0].lower()}@example.test"
    business, _ = create_business(NewBusiness(name, owner, country="NZ", currency="NZD"), password=None)
    return business


def test_without_a_business_the_way_out_is_named() -> None:
    code, out, err = answer(COURTYARD)
    assert (code, out) == (2, "")
    assert err == (
        "/system: there is no business in the database; run manage.py migrate and start_business, or make demo; "
        "takeoff alone also takes --system SYSTEM.json [system.none]\n"
    )


def test_the_one_business_there_is_serves() -> None:
    begin("Skerry Fencing")
    code, out, err = answer(COURTYARD, "--json")
    assert (code, err) == (0, "")
    assert json.loads(out)["concrete"]["bags"] > 0  # the catalogue knows the yield of a bag


@pytest.mark.parametrize("demo", DEMOS, ids=lambda path: path.stem)
def test_with_prices_every_demo_measure_is_taken_off(demo: Path) -> None:
    begin("Skerry Fencing")
    code, out, _ = answer(demo, "--json")
    assert code == 0
    for run in json.loads(out)["runs"]:
        assert all(option["cost"] for option in run["options"])


def test_of_several_the_first_that_has_the_system_serves_and_says_so() -> None:
    for name in ("Skerry Fencing", "Holm Fencing"):
        begin(name)
    code, _, err = answer(COURTYARD)
    assert code == 0
    assert err.startswith("taken off for Skerry Fencing; corrugated-50 is also sold by Holm Fencing")


def test_a_business_is_chosen_by_name_in_any_case_or_by_reference() -> None:
    begin("Skerry Fencing")
    second = begin("Holm Fencing")
    assert answer(COURTYARD, "--business", "HOLM fencing")[::2] == (0, "")
    assert answer(COURTYARD, "--business", second.ref) == answer(COURTYARD, "--business", "Holm Fencing")


def test_an_unknown_business_is_answered_with_those_there_are() -> None:
    begin("Skerry Fencing")
    code, _, err = answer(COURTYARD, "--business", "Skery Fencing")
    assert code == 2
    assert "is not a business here. Use one of: Skerry Fencing (" in err


def test_an_unknown_system_and_the_faults_of_the_measure_come_together(tmp_path: Path) -> None:
    begin("Skerry Fencing")
    document = json.loads(MEASURE.read_text())
    document["runs"][0]["length_mm"] = 0
    path = tmp_path / "measure.json"
    path.write_text(json.dumps(document))
    code, _, err = answer(path)
    assert code == 2
    assert [line.split(":")[0] for line in err.splitlines()] == ["/runs/0/length_mm", "/system"]


def test_django_s_own_way_to_the_command_is_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    begin("Skerry Fencing")
    call_command("takeoff", str(COURTYARD), "--json", stdout=io.StringIO())
    assert json.loads(capsys.readouterr().out)["schema"] == "takeoff-2"
