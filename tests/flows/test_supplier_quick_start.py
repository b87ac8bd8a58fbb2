"""The quick start for suppliers, run from the docs against a live server."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from quotes.integrations.sandbox import open_sandbox
from shared.business.actors import SYSTEM
from shared.business.roles import SUPPLIER_SCOPES
from shared.members.services import issue_key
from shared.models import SupplierAccount
from tests.conftest import Cast

ROOT = Path(__file__).resolve().parents[2]
DOCS = (ROOT / "docs" / "supplier-api.md").read_text(encoding="utf-8")
VECTOR = {
    # Standard Webhooks 1.0.0, the specification's own example
    "secret": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
    "headers": {
        "webhook-id": "msg_p5jXN8AQM9LWM0D4loKWxJek",
        "webhook-timestamp": "1614265330",
        "webhook-signature": "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
    },
    "body": '{"test": 2432232314}',
}


def snippet(language: str) -> str:
    """Return the first snippet in a language (``python verify`` for one of its own)."""
    found = re.search(rf"^```{re.escape(language)}\n(.*?)^```", DOCS, re.DOTALL | re.MULTILINE)
    assert found, language
    return found[1]


def need(program: str) -> str:
    """Return the path of a program. Fail with its name if it is missing."""
    found = shutil.which(program)
    if found is None:
        pytest.skip(f"not run: needs {program}")
    return found


@pytest.fixture
def account(cast: Cast, transactional_db: None) -> SupplierAccount:
    open_sandbox(cast.supplier)
    return cast.supplier


def run(account: SupplierAccount, live_server: Any, where: Path, *command: str) -> str:
    """Output of a command that has the address and a test key in its environment.

    By number, as the test server listens there and an older Node takes a name's first address only, which may be ::1.
    """
    _, key = issue_key(name="quick start", scopes=SUPPLIER_SCOPES, supplier_account=account, live=False, actor=SYSTEM)
    environment = {
        **os.environ,
        "BAYWRIGHT_URL": live_server.url.replace("localhost", "127.0.0.1"),
        "BAYWRIGHT_KEY": key,
        "no_proxy": "*",
    }
    done = subprocess.run(command, cwd=where, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def test_the_curl_snippet_accepts_an_order(account: SupplierAccount, live_server: Any, tmp_path: Path) -> None:
    need("curl")
    data = run(account, live_server, tmp_path, need("bash"), "-euc", snippet("bash"))
    assert data.strip() == '"status":"acknowledged"'
    assert etree.parse(str(tmp_path / "order.xml")).getroot().tag.endswith("}Order")
    assert json.loads((tmp_path / "accepted.json").read_text())["response_status"] == "accepted"


def test_the_python_snippet_back_orders_a_part_and_despatches_once(
    account: SupplierAccount, live_server: Any, tmp_path: Path
) -> None:
    assert (
        run(account, live_server, tmp_path, sys.executable, "-c", snippet("python"))
        == "partly_accepted\ndespatched 1\n"
    )


def test_the_javascript_snippet_polls_until_it_is_up_to_date(
    account: SupplierAccount, live_server: Any, tmp_path: Path
) -> None:
    script = tmp_path / "poll.mjs"
    script.write_text(snippet("javascript"))
    data = run(account, live_server, tmp_path, need("node"), str(script)).splitlines()
    assert data == ["O0001 placed", "O0002 placed", "up to date"]


@pytest.mark.parametrize("body", ["", " tampered"])
def test_both_verifiers_know_the_published_vector_and_what_was_tampered_with(body: str, tmp_path: Path) -> None:
    good = body == ""
    names: dict[str, Any] = {}
    exec(snippet("python verify"), names)  # noqa: S102 - the docs' own snippet
    sent = (str(VECTOR["body"]) + body).encode()
    assert names["verify"](VECTOR["secret"], VECTOR["headers"], sent, now=1614265330) is good
    assert names["verify"](VECTOR["secret"], VECTOR["headers"], sent, now=1614265330 + 361) is False
    (tmp_path / "verify.mjs").write_text(snippet("javascript verify"))
    data = json.dumps({**VECTOR, "body": sent.decode()})
    (tmp_path / "ask.mjs").write_text(
        f'import {{ verify }} from "./verify.mjs";\nconst call = {data};\n'
        "console.log(verify(call.secret, call.headers, call.body, 1614265330));\n"
    )
    answer = subprocess.run(
        [need("node"), "ask.mjs"], cwd=tmp_path, capture_output=True, text=True, timeout=30, check=True
    )
    assert answer.stdout.strip() == str(good).lower()


def test_no_snippet_for_checking_a_signature_is_longer_than_twenty_lines() -> None:
    for language in ("python verify", "javascript verify"):
        lines = [line for line in snippet(language).splitlines() if line.strip()]
        assert len(lines) <= 20
