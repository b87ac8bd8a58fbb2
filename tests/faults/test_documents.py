"""Documents under faults: a worker killed while it renders, a broker that stops and starts. Each is made once."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.service import Service, make_database, started_service, wait_until

pytestmark = [pytest.mark.redis, pytest.mark.slow]

START = """
from quotes.office.demo_data import FOLDER, load_business, scenario
from quotes.office.management.commands.quote import quote_measure
from fencing.reading import read_json
from shared.background import runner
from shared.business.actors import SYSTEM
runner.run_soon = lambda ids: None
business = load_business(scenario()['business'])
document = read_json((FOLDER / 'measures' / '5-lattice-on-existing-fence.json').read_bytes())
document['retrofits'][0].pop('shares')
quote_measure(business=business, document=document, customer='Wren Sallow', actor=SYSTEM)
from shared.background.outbox import OutboxTask
OutboxTask.objects.exclude(event__kind='document.wanted').update(state='done')
"""

# three documents of the sent revision are queued
QUEUE = """
from quotes.documents.kinds.care import CARE
from quotes.documents.kinds.cut_list import CUT_LIST
from quotes.documents.kinds.set_out import SET_OUT
from quotes.documents.services import want_documents
from quotes.quoting.models import Revision
want_documents(revision=Revision.unscoped.get(), kinds=(SET_OUT, CUT_LIST, CARE))
"""


class Press(Service):
    """A service with leases long enough to render documents."""

    @property
    def env(self) -> dict[str, str]:
        """Return the environment of the service's processes."""
        return {**super().env, "BAYWRIGHT_JOB_LEASE_S": "12", "BAYWRIGHT_VISIBILITY_S": "60"}


@pytest.fixture(scope="module")
def quoted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a database with one sent quote and no documents."""
    return make_database(Press(tmp_path_factory.mktemp("quoted")), START)


@pytest.fixture
def service(tmp_path: Path, quoted: Path) -> Iterator[Service]:
    with started_service(Press(tmp_path), quoted) as service:
        yield service


def count_made(service: Service) -> int:
    """Return the number of documents that are made."""
    return len(service.rows("SELECT id FROM documents_document WHERE state = 'ready'"))


def is_rendering(service: Service) -> bool:
    """Return whether a worker has started a task and not finished it."""
    return bool(service.rows("SELECT id FROM shared_outboxtask WHERE state = 'queued' AND leased_until IS NOT NULL"))


def assert_each_made_once(service: Service) -> None:
    """Wait until the three documents are made, and check that each was made once."""
    wait_until(lambda: count_made(service) == 3, "not all documents are made")
    query = "SELECT kind, version, cast(length(pdf) = size as int), cast(size > 5000 as int) FROM documents_document"
    documents = sorted(service.rows(query))
    # a document is stored when it is queued (version 1) and again when it is made (version 2)
    assert documents == [(kind, 2, 1, 1) for kind in ("care", "cut_list", "set_out")]


def test_a_worker_killed_while_it_renders_leaves_each_document_made_once(service: Service) -> None:
    service.python(QUEUE)
    worker = service.start_worker()
    wait_until(lambda: is_rendering(service), "no document is started")
    before = count_made(service)
    service.kill(worker)
    assert before < 3
    service.start_worker()
    assert_each_made_once(service)
    starts = service.rows("SELECT max(starts) FROM shared_outboxtask")[0][0]
    assert isinstance(starts, int)
    assert starts >= 2, "the task that was killed is started again"


def test_a_broker_that_stops_and_starts_under_a_worker_loses_no_document(service: Service) -> None:
    service.start_worker()
    service.python(QUEUE)
    wait_until(lambda: is_rendering(service), "no document is started")
    service.kill_redis()
    assert count_made(service) < 3
    time.sleep(1)
    service.start_redis()
    assert_each_made_once(service)
