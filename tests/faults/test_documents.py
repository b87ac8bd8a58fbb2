"""Documents under faults: a worker killed in the middle of a render, a broker that goes and comes; each is made once."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.service import Service, begun, filled_once, until

pytestmark = [pytest.mark.redis, pytest.mark.slow]

START = """
from django.core.management import call_command
call_command('migrate', verbosity=0)
from quotes.office.demo_data import FOLDER, load_business, scenario
from quotes.quoting.quote_command import quote_measure
from fencing.reading import read_json
from shared.background import runner
from shared.business.actors import SYSTEM
runner.run_soon = lambda ids: None
business = load_business(scenario()['business'])
document = read_json((FOLDER / 'measures' / '5-lattice-on-standing-fence.json').read_bytes())
document['retrofits'][0].pop('shares')
quote_measure(business=business, document=document, customer='Wren Sallow', actor=SYSTEM)
from shared.background.outbox import OutboxTask
OutboxTask.objects.exclude(event__kind='document.wanted').update(state='done')
"""

# three crew documents wanted of the sent revision; the nudge goes to whatever broker there is
WANT = """
from quotes.documents.models import DocumentKind
from quotes.documents.services import want_documents
from quotes.quoting.models import Revision
want_documents(revision=Revision.unscoped.get(), kinds=(DocumentKind.SET_OUT, DocumentKind.CUT_LIST, DocumentKind.CARE))
"""


class Press(Service):
    """A service whose jobs have time to render."""

    @property
    def env(self) -> dict[str, str]:
        return {**super().env, "BAYWRIGHT_JOB_LEASE_S": "12", "BAYWRIGHT_VISIBILITY_S": "60"}


@pytest.fixture(scope="module")
def quoted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with one sent quote and nothing made of it."""
    return filled_once(Press(tmp_path_factory.mktemp("quoted")), START)


@pytest.fixture
def service(tmp_path: Path, quoted: Path) -> Iterator[Service]:
    with begun(Press(tmp_path), quoted) as made:
        yield made


def made(service: Service) -> int:
    return len(service.rows("SELECT id FROM documents_document WHERE state = 'ready'"))


def leased(service: Service) -> bool:
    """Whether a worker has begun a render and not finished it."""
    return bool(service.rows("SELECT id FROM shared_outboxtask WHERE state = 'wanted' AND leased_until IS NOT NULL"))


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
    starts = service.rows("SELECT max(starts) FROM shared_outboxtask")[0][0]
    assert isinstance(starts, int)
    assert starts >= 2, "the render that was killed began again"


def test_a_broker_that_stops_and_starts_under_a_worker_loses_no_document(service: Service) -> None:
    service.start_worker()
    service.python(WANT)
    until(lambda: leased(service), 60, "no render begins")
    service.kill_redis()
    assert made(service) < 3
    time.sleep(1)
    service.start_redis()
    each_made_once(service)
