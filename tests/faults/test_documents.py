"""Documents under faults: a worker killed in the middle of a render, a broker that goes and comes; each is made once."""

from __future__ import annotations

import json
import shutil
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from threading import Thread

import pytest

from tests.faults.service import Postgres, Service, until

pytestmark = [pytest.mark.redis, pytest.mark.slow]

START = """
from django.core.management import call_command
call_command('migrate', verbosity=0)
from quotes.desk.scenario import FOLDER, load_business, scenario
from quotes.offers.quoting import quote_measure
from fencing.reading import read_json
from shared import relay
from shared.business.actors import SYSTEM
relay.nudge = lambda ids: None
business = load_business(scenario()['business'])
document = read_json((FOLDER / 'measures' / '5-lattice-on-standing-fence.json').read_bytes())
document['retrofits'][0].pop('shares')
quote_measure(business=business, document=document, customer='Wren Sallow', actor=SYSTEM)
from shared.outbox import Wanted
Wanted.objects.exclude(event__kind='document.wanted').update(state='done')
"""

# three crew documents wanted of the sent revision; the nudge goes to whatever broker there is
WANT = """
from quotes.documents.models import Kind
from quotes.documents.services import want_documents
from quotes.offers.models import Revision
want_documents(revision=Revision.anywhere.get(), kinds=(Kind.SET_OUT, Kind.CUT_LIST, Kind.CARE))
"""

_KEY = """
from shared.business.models import Business
from shared.business.roles import Scope
from shared.business.services import issue_key
print(issue_key(name='drill', scopes={Scope.JOBS_READ, Scope.JOBS_WRITE}, business=Business.objects.get())[1])
"""


class Press(Service):
    """A service whose jobs have time to render."""

    @property
    def env(self) -> dict[str, str]:
        return {**super().env, "BAYWRIGHT_JOB_LEASE_S": "12", "BAYWRIGHT_VISIBILITY_S": "60"}


@pytest.fixture(scope="module")
def quoted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with one sent quote and nothing made of it."""
    folder = tmp_path_factory.mktemp("quoted")
    Press(folder).python(START)
    return folder / "drill.sqlite3"


@pytest.fixture
def service(tmp_path: Path, quoted: Path) -> Iterator[Service]:
    made = Press(tmp_path)
    shutil.copy(quoted, tmp_path)
    made.start_redis()
    yield made
    made.close()


def made(service: Service) -> int:
    return len(service.rows("SELECT id FROM documents_document WHERE state = 'made'"))


def leased(service: Service) -> bool:
    """Whether a worker has begun a render and not finished it."""
    return bool(service.rows("SELECT id FROM shared_wanted WHERE state = 'wanted' AND leased_until IS NOT NULL"))


def each_made_once(service: Service, seconds: float = 60) -> None:
    until(lambda: made(service) == 3, seconds, "not all documents are made")
    query = "SELECT kind, version, cast(length(pdf) = size as int), cast(size > 5000 as int) FROM documents_document"
    found = sorted(service.rows(query))
    # a document is stored when it is wanted (version 1) and once more when it is made (version 2)
    assert found == [(kind, 2, 1, 1) for kind in ("care", "cut_list", "set_out")]


def test_a_worker_killed_in_the_middle_of_a_render_leaves_each_document_made_once(service: Service) -> None:
    service.python(WANT)
    worker = service.start_worker()
    until(lambda: leased(service), 30, "no render begins")
    before = made(service)
    service.kill(worker)
    assert before < 3
    service.start_worker()
    each_made_once(service)
    starts = service.rows("SELECT max(starts) FROM shared_wanted")[0][0]
    assert isinstance(starts, int)
    assert starts >= 2, "the render that was killed began again"


def test_a_database_that_crashes_and_recovers_loses_no_document_and_no_order(tmp_path: Path) -> None:
    service = Press(tmp_path, Postgres())
    try:
        service.start_redis()
        service.python(START)
        key = service.python(_KEY)
        web, worker = service.start_web(), service.start_worker()
        service.python(WANT)
        until(lambda: leased(service), 60, "no render begins")
        answers = list[tuple[float, int, str]]()
        crash = Thread(target=service.postgres.restart if service.postgres else None)
        began = time.monotonic()
        crash.start()
        back = 0.0
        while not back or time.monotonic() < back + 7:
            answers.append((time.monotonic(), *_order(web, key, len(answers))))
            if not back and not crash.is_alive():
                back = time.monotonic()
            time.sleep(0.05)
        assert time.monotonic() - began < 60
        late = [(status, text) for when, status, text in answers if when > back + 5]
        assert late, "orders went on"
        assert {status for status, _ in late} == {201}, "five seconds after it is back everything passes"
        kept = {row[0] for row in service.rows("SELECT ref FROM jobs_customer")}
        assert {text for _, status, text in answers if status == 201} <= kept, "what was acknowledged is there"
        each_made_once(service, 90)
        assert worker.poll() is None, "the worker outlived its database"
    finally:
        service.close()


def _order(web: str, key: str, number: int) -> tuple[int, str]:
    """Status and ref of a write, 0 where nobody answered."""
    body = json.dumps({"name": f"Customer {number}"}).encode()
    headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/json"}
    call = urllib.request.Request(f"{web}/api/v1/customers", body, headers)  # noqa: S310 - a service of our own
    try:
        with urllib.request.urlopen(call, timeout=10) as answer:  # noqa: S310
            return answer.status, json.load(answer)["ref"]
    except urllib.error.HTTPError as refused:
        return refused.code, ""
    except OSError:
        return 0, ""


def test_a_broker_that_stops_and_starts_under_a_worker_loses_no_document(service: Service) -> None:
    service.start_worker()
    service.python(WANT)
    until(lambda: leased(service), 60, "no render begins")
    service.kill_redis()
    assert made(service) < 3
    time.sleep(1)
    service.start_redis()
    each_made_once(service)
