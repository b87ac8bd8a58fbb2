"""A process that ends while it sends an e-mail: no e-mail is lost, and a second copy has the same Message-ID."""

from __future__ import annotations

import re
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.service import Service

pytestmark = pytest.mark.slow

# without a mail server the e-mails are printed
RUN = """
import os
from shared.background import outgoing_mail, runner
from shared.background.outbox import OutboxTask
real = outgoing_mail.mark
{fault}
runner.run(OutboxTask.objects.get().pk)
"""
BEFORE_THE_MARK = "outgoing_mail.mark = lambda row: os._exit(9)"
AFTER_THE_MARK = "outgoing_mail.mark = lambda row: (real(row), os._exit(9))"
PUBLISH = """
from shared.background import runner
from shared.business.models import Business
from shared.background.events import publish_event
runner.run_soon = lambda ids: None
publish_event('drill.letter', 'leek', business=Business.objects.get())
"""


@pytest.fixture
def service(tmp_path: Path, database: Path) -> Iterator[Service]:
    with Service(tmp_path) as service:
        shutil.copy(database, tmp_path)
        service.python(PUBLISH)
        yield service


def sent_ids(service: Service, fault: str = "") -> list[str]:
    """Run the task and return the Message-ID of each e-mail that it sent."""
    return re.findall(r"^Message-ID: (\S+)$", service.python(RUN.format(fault=fault)), re.MULTILINE)


@pytest.mark.parametrize(("fault", "copies"), [(BEFORE_THE_MARK, 1), (AFTER_THE_MARK, 0)])
def test_a_process_that_ends_before_or_after_the_mark_sends_one_email_or_the_same_twice(
    service: Service, fault: str, copies: int
) -> None:
    first = sent_ids(service, fault)
    assert len(first) == 1
    assert service.states() == ["queued"]
    time.sleep(3)  # its lease ends
    assert sent_ids(service) == first * copies
    assert service.states() == ["done"]
    assert sent_ids(service) == []
