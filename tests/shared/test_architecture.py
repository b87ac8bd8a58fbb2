"""Laws of the code: each import contract finds a wrong import, links stay in one business, the table of tests is true."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("fencing", "shared", "catalogue", "quotes")

WRONG = [
    ("fencing/model/measure.py", "import django", "the engine computes and knows nothing of us"),
    ("fencing/model/measure.py", "import logging", "the engine computes and knows nothing of us"),
    ("fencing/model/measure.py", "import random", "the engine computes and knows nothing of us"),
    ("shared/database/numbering.py", "import catalogue.models", "quotes over catalogue over shared over fencing"),
    ("catalogue/models.py", "import quotes.jobs.models", "quotes over catalogue over shared over fencing"),
    ("quotes/jobs/models.py", "import quotes.office.page_urls", "the stages of a job form no circle"),
    (
        "fencing/drawing/page_layout.py",
        "import time",
        "only the cutting package of the engine knows processes and clocks",
    ),
    (
        "fencing/model/measure.py",
        "import fencing.set_out.run",
        "the packages of the engine, of the catalogue and of the base form no circle",
    ),
    (
        "catalogue/rules/codes.py",
        "import catalogue.models",
        "the packages of the engine, of the catalogue and of the base form no circle",
    ),
    (
        "shared/business/models.py",
        "import shared.members.services",
        "the packages of the engine, of the catalogue and of the base form no circle",
    ),
    (
        "shared/background/outbox.py",
        "import shared.background.events",
        "the packages of the engine, of the catalogue and of the base form no circle",
    ),
    ("quotes/jobs/api.py", "import shared.database.audit_log", "views and API leave the audit log to services"),
    ("quotes/pricing/__init__.py", "import django.db", "pricing is a pure function"),
    ("shared/members/services.py", "import shared.tasks", "services write rows and start nothing"),
    ("quotes/jobs/models.py", "import redis", "only the relay knows the broker"),
]


@pytest.fixture(scope="module")
def copied(tmp_path_factory: pytest.TempPathFactory) -> Path:
    copy = tmp_path_factory.mktemp("copy")
    for package in PACKAGES:
        shutil.copytree(
            ROOT / package, copy / package, ignore=shutil.ignore_patterns("__pycache__", "*.otf", "*.sqlite3")
        )
    shutil.copy(ROOT / "pyproject.toml", copy)
    # the circle below needs its other half
    (copy / "quotes/office/page_urls.py").write_text("import quotes.jobs.models\n")
    return copy


def contracts(copy: Path) -> str:
    command = [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()"]
    done = subprocess.run([*command, "--no-cache"], cwd=copy, capture_output=True, text=True, check=False)
    return done.stdout


def test_the_tree_keeps_them_all(copied: Path) -> None:
    assert "0 broken" in contracts(copied)


@pytest.mark.parametrize(("path", "line", "contract"), WRONG)
def test_a_wrong_import_is_found(copied: Path, path: str, line: str, contract: str) -> None:
    file = copied / path
    before = file.read_text()
    file.write_text(f"{before}\n{line}\n")
    try:
        assert f"{contract} BROKEN" in contracts(copied)
    finally:
        file.write_text(before)


_NAMED = re.compile(r"`(tests/[\w/]+\.py)::(test_\w+)`")


def test_every_test_the_table_names_is_there() -> None:
    data = (ROOT / "docs" / "reliability.md").read_text(encoding="utf-8")
    rows = [
        line for line in data.splitlines() if line.startswith("| ") and not line.startswith(("| what", "| failure"))
    ]
    named = [_NAMED.findall(row) for row in rows]
    assert [row for row, tests in zip(rows, named, strict=True) if not tests] == []
    missing = [
        f"{file}::{name}"
        for tests in named
        for file, name in tests
        if f"def {name}(" not in (ROOT / file).read_text(encoding="utf-8")
    ]
    assert missing == []
