"""A full disk: a file is written completely or not at all, and a task that could not be stored is tried again."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from shared.common.command_io import save
from tests.faults.service import ROOT, Service

pytestmark = pytest.mark.slow

# a limit for the size of a file: writing more fails like on a full disk
LIMITED = """
import resource, signal, sys
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))
"""
SAVE = """
from pathlib import Path
from shared.common.command_io import save
try:
    save(Path(sys.argv[1]), b"x" * 200_000)
except OSError as full:
    print(type(full).__name__)
"""
COPY = """
from django.core.management import call_command
try:
    call_command("backup", "copy.sqlite3")
except Exception as full:
    print(type(full).__name__)
"""
PUBLISH = """
from shared.background import runner
from shared.business.models import Business
from shared.background.events import publish_event
runner.run_soon = lambda ids: None
publish_event('drill.large', 'heavy', business=Business.objects.get())
"""
# SQLite raises "database or disk is full" when it has reached its limit of pages
RUN = """
from django.db import connection
from shared.background import runner
from shared.background.outbox import OutboxTask
with connection.cursor() as cursor:
    pages = cursor.execute('PRAGMA page_count').fetchone()[0]
    cursor.execute(f'PRAGMA max_page_count = {pages + 8}' if FULL else 'SELECT 1')
OutboxTask.objects.update(due_at='2020-01-01T00:00:00Z')
print(runner.run(OutboxTask.objects.get().pk))
"""


@pytest.fixture
def service(tmp_path: Path, database: Path) -> Iterator[Service]:
    with Service(tmp_path) as service:
        shutil.copy(database, tmp_path)
        service.python(PUBLISH)
        yield service


def test_a_file_that_does_not_fit_leaves_the_earlier_file_and_no_partial_file(tmp_path: Path) -> None:
    target = save(tmp_path / "saw-sheet.pdf", b"the earlier file")
    command = [sys.executable, "-c", LIMITED.format(limit=100_000) + SAVE, str(target)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "OSError", done.stderr
    assert [(item.name, item.read_bytes()) for item in tmp_path.iterdir()] == [("saw-sheet.pdf", b"the earlier file")]


def test_a_backup_that_does_not_fit_is_refused_and_leaves_no_partial_file(service: Service) -> None:
    before = {item.name for item in service.folder.iterdir()}
    assert service.python(LIMITED.format(limit=100_000) + COPY) == "CommandError"
    assert {item.name for item in service.folder.iterdir()} - before <= {"drill.sqlite3-shm", "drill.sqlite3-wal"}


def test_a_task_that_does_not_fit_into_the_database_is_done_once_there_is_room(service: Service) -> None:
    assert service.python(f"FULL = True{RUN}") == "False"
    assert service.effects() == []
    assert service.states() == ["queued"]
    [(fault,)] = service.rows("SELECT last_error FROM shared_outboxtask")
    assert "full" in fault, "the admin shows the reason"
    assert service.python(f"FULL = False{RUN}") == "True"
    assert service.effects() == ["heavy"]
    assert service.states() == ["done"]
