"""Names of static files with a hash of their content, so that a new version never meets an old copy in somebody's cache.

After ``collectstatic`` they come from its manifest. Without it (a demo, the tests) the same names are made from where the
files lie, and a finder of our own leads from such a name back to its file.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from django.contrib.staticfiles import finders
from whitenoise.storage import CompressedManifestStaticFilesStorage

_HASHED: Final = re.compile(r"(?P<stem>.+)\.[0-9a-f]{12}(?P<suffix>\.[^./]+)\Z")


@lru_cache(maxsize=1_000)
def _hash_of(path: Path, _size: int, _changed_ns: int) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()[:12]


def hashed_name(name: str, file: str) -> str:
    """Return the name of a static file with the hash of what is in it now."""
    path = Path(file)
    stat = path.stat()
    stem, dot, suffix = name.rpartition(".")
    return f"{stem}.{_hash_of(path, stat.st_size, stat.st_mtime_ns)}{dot}{suffix}"


class HashedNameFinder(finders.BaseFinder):
    """Find the file of a name with a hash; a hash of another version finds nothing."""

    def check(self, **_: Any) -> list[Any]:
        return []

    def find(self, path: str, find_all: bool = False, **_: Any) -> Any:
        data = _HASHED.match(path)
        name = data["stem"] + data["suffix"] if data else ""
        file = finders.find(name) if name else None
        if not isinstance(file, str) or hashed_name(name, file) != path:
            return []
        return [file] if find_all else file

    def list(self, ignore_patterns: Any) -> Iterator[Any]:
        """Nothing: ``collectstatic`` takes the files by their own names."""
        return iter(())


class HashedStorage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # whitenoise has no types
    """The manifest of ``collectstatic`` where there is one, otherwise hashes of the files where they lie."""

    def url(self, name: str | None, force: bool = False) -> str:
        if self.hashed_files or not name:
            return str(super().url(name, force))
        file = finders.find(name)
        if not isinstance(file, str):
            raise ValueError(f"There is no static file {name!r}.")
        return f"{self.base_url}{hashed_name(name, file)}"
