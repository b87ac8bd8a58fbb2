"""Print the tests of what changed: ``python .ci/changed_tests.py [BASE]``.

Changed is what differs from BASE (default: ``origin/main`` if there is one, otherwise the last commit), with new files.
The tests of ``a/b/name.py`` are ``tests/a/b/test_name.py``, or the files of ``tests/a/b`` if there is no such file.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path


def _git(*arguments: str) -> list[str]:
    done = subprocess.run(["git", *arguments], capture_output=True, text=True, check=False)
    return done.stdout.split("\n")[:-1] if done.returncode == 0 else []


def changed_files(base: str = "") -> list[str]:
    """Return the paths that differ from ``base``, and new files."""
    known = base or ("origin/main" if _git("rev-parse", "--verify", "--quiet", "origin/main") else "HEAD")
    return sorted({*_git("diff", "--name-only", known), *_git("ls-files", "--others", "--exclude-standard")})


def tests_of(path: str, root: Path) -> list[str]:
    """Return the test files of a changed file, relative to ``root``."""
    file = Path(path)
    if file.parts[0] == "tests":
        return [path] if file.name.startswith("test_") and (root / path).exists() else []
    if file.suffix != ".py" or "migrations" in file.parts:
        return []
    folder = Path("tests", *file.parts[:-1])
    mirrored = folder / f"test_{file.stem}.py"
    if (root / mirrored).exists():
        return [str(mirrored)]
    return sorted(str(test.relative_to(root)) for test in (root / folder).glob("test_*.py"))


def tests_of_all(paths: Iterable[str], root: Path) -> list[str]:
    """Return the test files of all changed files, each once."""
    return sorted({test for path in paths for test in tests_of(path, root)})


if __name__ == "__main__":
    print("\n".join(tests_of_all(changed_files(*sys.argv[1:2]), Path())))
