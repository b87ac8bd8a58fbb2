"""Names of static files with a hash of their content, so that browsers never use an old copy from their cache.

After ``collectstatic`` the names come from its manifest. Without it (in a demo and in tests) the same names are calculated from
the source files, and a finder returns the file of such a name.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import ManifestStaticFilesStorage
from whitenoise.storage import CompressedManifestStaticFilesStorage

_IMPORTS: Final = ManifestStaticFilesStorage._js_module_import_aggregation_patterns[1]  # type: ignore[attr-defined]  # noqa: SLF001 - Django has no public name for it
_HASHED: Final = re.compile(r"(?P<stem>.+)\.[0-9a-f]{12}(?P<suffix>\.[^./]+)\Z")


@lru_cache(maxsize=1_000)
def _hash_of(path: Path, _size: int, _changed_ns: int) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()[:12]


def hashed_name(name: str, file: str) -> str:
    """Return the name of a static file with the hash of its current content."""
    path = Path(file)
    stat = path.stat()
    stem, dot, suffix = name.rpartition(".")
    return f"{stem}.{_hash_of(path, stat.st_size, stat.st_mtime_ns)}{dot}{suffix}"


class HashedNameFinder(finders.BaseFinder):
    """Finder of files by a name with a hash. The hash of another version finds nothing."""

    def check(self, **_: Any) -> list[Any]:
        """Return no errors."""
        return []

    def find(self, path: str, find_all: bool = False, **_: Any) -> Any:
        """Return the file of a name, or a list of files."""
        match = _HASHED.match(path)
        name = match["stem"] + match["suffix"] if match else ""
        file = finders.find(name) if name else None
        if not isinstance(file, str) or hashed_name(name, file) != path:
            return []
        return [file] if find_all else file

    def list(self, ignore_patterns: Any) -> Iterator[Any]:
        """Return nothing: ``collectstatic`` finds the files by their own names."""
        return iter(())


class HashedStorage(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # whitenoise has no types
    """Storage with the manifest of ``collectstatic`` if it exists, otherwise with hashes of the source files."""

    # our modules import each other by names with a hash too; scripts of packages name files in comments that do not exist
    patterns = (
        *CompressedManifestStaticFilesStorage.patterns,
        *((f"{app}/*.js", _IMPORTS) for app in ("office", "documents")),
    )

    def url(self, name: str | None, force: bool = False) -> str:
        """Return the address of a file."""
        if self.hashed_files or not name:
            return str(super().url(name, force))
        file = finders.find(name)
        if not isinstance(file, str):
            raise ValueError(f"There is no static file {name!r}.")
        return f"{self.base_url}{hashed_name(name, file)}"
