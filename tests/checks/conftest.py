"""The ``outside`` fixture, and the list of checks written or verified at the end of the run. See the package's docstring."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.checks.outside import LIST, Outside

HERE = Path(__file__).parent
RECORD = Outside()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--write-checks", action="store_true", help="write docs/checks.md from the checks of this run")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The list is looked at when every check has run."""
    items.sort(key=lambda item: item.path == HERE / "test_listing.py")


@pytest.fixture(scope="session")
def outside() -> Outside:
    return RECORD


@pytest.fixture(scope="session")
def whole_run(request: pytest.FixtureRequest) -> bool:
    """Return whether every test of every file here was collected, so that the whole list can be judged."""
    config = request.config
    narrowed = bool(config.option.keyword or config.option.markexpr or config.option.deselect)
    narrowed = narrowed or hasattr(config, "workerinput")  # one of several processes: each sees its own share
    collected = {item.path for item in request.session.items}
    named = any("::" in argument for argument in config.args)
    return not narrowed and not named and set(HERE.glob("test_*.py")) <= collected


@pytest.fixture(scope="session")
def list_of_checks(request: pytest.FixtureRequest, whole_run: bool) -> str:
    """The committed list; written first where that was asked for."""
    if whole_run and request.config.getoption("--write-checks", default=False):
        LIST.write_text(RECORD.document(), encoding="utf-8")
    return LIST.read_text(encoding="utf-8")
