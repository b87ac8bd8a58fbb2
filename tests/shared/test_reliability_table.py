"""Every test that docs/reliability.md names is there."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
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
