"""A process that dies around the sending of a letter: no letter is lost, and a double can be told by its Message-ID."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.service import Service
from tests.faults.test_drills import START

pytestmark = pytest.mark.slow

# mail is printed where no server is named, so what a process sent is what it printed
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
WANT = """
from shared.background import runner
from shared.business.models import Business
from shared.background.outbox import publish_event
runner.run_soon = lambda ids: None
publish_event('drill.letter', 'leek', business=Business.objects.get())
"""


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    with Service(tmp_path) as made:
        made.python(START + WANT)
        yield made


def sent(service: Service, fault: str = "") -> list[str]:
    """The Message-ID of each letter that a run of the job sent."""
    return re.findall(r"^Message-ID: (\S+)$", service.python(RUN.format(fault=fault)), re.MULTILINE)


@pytest.mark.parametrize(("fault", "again"), [(BEFORE_THE_MARK, 1), (AFTER_THE_MARK, 0)])
def test_a_process_that_dies_around_the_mark_sends_one_letter_or_the_same_twice(
    service: Service, fault: str, again: int
) -> None:
    first = sent(service, fault)
    assert len(first) == 1
    assert service.states() == ["wanted"]
    time.sleep(3)  # its lease
    assert sent(service) == first * again
    assert service.states() == ["done"]
    assert sent(service) == []
