"""The same revision set by two processes, whose sets and hashes are in another order, is the same bytes."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

_RENDER = """
import hashlib, json, os, sys, django
os.environ["DJANGO_SETTINGS_MODULE"] = "shared.settings"
django.setup()
from quotes.documents.pack import whole_pack
for name, pdf in whole_pack(json.load(open(sys.argv[1], encoding="utf-8"))):
    print(name, hashlib.sha256(pdf).hexdigest())
"""


def _rendered(kept: Path, hashing: str) -> str:
    environment = {**os.environ, "PYTHONHASHSEED": hashing, "BAYWRIGHT_DEMO": "1"}
    command = [sys.executable, "-c", _RENDER, str(kept)]
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout


def test_two_processes_set_the_same_bytes(contents: dict[str, Any], tmp_path: Path) -> None:
    kept = tmp_path / "content.json"
    kept.write_text(json.dumps(contents["5-lattice-on-standing-fence"]), encoding="utf-8")
    first = _rendered(kept, "1")
    assert "quote" in first
    assert "set-out.pdf" in first
    assert _rendered(kept, "2") == first
