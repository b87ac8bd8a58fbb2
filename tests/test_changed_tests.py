"""The choice of tests for ``make check``."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SPEC = importlib.util.spec_from_file_location("changed_tests", ROOT / ".ci" / "changed_tests.py")
assert SPEC is not None
assert SPEC.loader is not None
changed_tests = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(changed_tests)


@pytest.mark.parametrize(
    ("changed", "tests"),
    [
        ("quotes/jobs/takeoff_cache.py", ["tests/quotes/jobs/test_takeoff_cache.py"]),
        ("tests/quotes/jobs/test_takeoff_cache.py", ["tests/quotes/jobs/test_takeoff_cache.py"]),
        ("tests/no_longer/test_there.py", []),
        ("quotes/jobs/migrations/0001_initial.py", []),
        ("docs/words.md", []),
    ],
)
def test_a_changed_file_leads_to_its_tests(changed: str, tests: list[str]) -> None:
    assert changed_tests.tests_of(changed, ROOT) == tests


def test_a_module_without_a_test_file_leads_to_all_tests_of_its_package() -> None:
    tests = changed_tests.tests_of("quotes/jobs/apps.py", ROOT)
    assert "tests/quotes/jobs/test_takeoff_cache.py" in tests
    assert all(Path(test).parent == Path("tests/quotes/jobs") for test in tests)


def test_each_test_file_is_named_once() -> None:
    twice = ["quotes/jobs/takeoff_cache.py", "tests/quotes/jobs/test_takeoff_cache.py"]
    assert changed_tests.tests_of_all(twice, ROOT) == ["tests/quotes/jobs/test_takeoff_cache.py"]
