"""Static files have a hash of their content in their name, with and without ``collectstatic``, and may be kept for ever."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from django.contrib.staticfiles.storage import staticfiles_storage
from django.test import Client

pytestmark = pytest.mark.django_db  # a request looks at the connection it may have
ROOT = Path(__file__).resolve().parents[3]
HASHED = re.compile(r"/static/\S+\.[0-9a-f]{12}\.\w+\Z")
NAMED = re.compile(r'(?:src|href)="(/static/[^"]+)"')
FOR_EVER = "max-age=315360000, public, immutable"


def test_every_file_a_page_names_has_a_hash_and_may_be_kept_for_ever(owner_client: Client) -> None:
    named = NAMED.findall(owner_client.get("/").content.decode())
    assert len(named) > 2
    assert [path for path in named if not HASHED.match(path)] == []
    for path in named:
        with closing(owner_client.get(path)) as answer:
            assert (answer.status_code, answer["Cache-Control"]) == (200, FOR_EVER), path


def test_a_changed_file_has_another_name_and_the_old_name_never_leads_to_it(tmp_path: Path, settings: Any) -> None:
    settings.STATICFILES_DIRS = [tmp_path, *settings.STATICFILES_DIRS]
    file = tmp_path / "office" / "office.js"
    file.parent.mkdir()
    file.write_text("first")
    first = staticfiles_storage.url("office/office.js")
    file.write_text("the second")
    second = staticfiles_storage.url("office/office.js")
    assert first != second
    with closing(Client().get(second)) as answer:
        assert answer.getvalue() == b"the second"
    assert Client().get(first).status_code == 404


def test_a_name_without_a_hash_is_not_kept_for_ever() -> None:
    with closing(Client().get("/static/sheet.css")) as answer:
        assert answer.status_code == 200
        assert "immutable" not in answer["Cache-Control"]


def test_a_file_that_is_missing_is_a_fault_of_the_page() -> None:
    with pytest.raises(ValueError, match="There is no static file"):
        staticfiles_storage.url("office/nowhere.js")


@pytest.mark.slow
def test_collected_files_have_a_hash_too_and_styles_and_modules_name_others_by_it(tmp_path: Path) -> None:
    code = f"""
from django.conf import settings
from shared import settings as ours
from pathlib import Path
values = {{name: getattr(ours, name) for name in dir(ours) if name.isupper()}}
values["STATIC_ROOT"] = Path({str(tmp_path)!r})
values["WHITENOISE_USE_FINDERS"] = values["WHITENOISE_AUTOREFRESH"] = COLLECTED
# styles are compressed; all the others together take half a minute
values["WHITENOISE_SKIP_COMPRESS_EXTENSIONS"] = ["js", "svg", "otf", "ttf", "woff", "woff2", "eot", "map", "png"]
settings.configure(**values)
import django
django.setup()
"""
    collect = (
        "from django.core.management import call_command\ncall_command('collectstatic', verbosity=0, interactive=False)"
    )
    look = """
import re
from django.contrib.staticfiles.storage import staticfiles_storage
from django.test import Client
client = Client(headers={"Host": "localhost"})
style = staticfiles_storage.url("sheet.css")
answer = client.get(style)
font = re.search(r'url\\("(fonts/[^"]+)"\\)', b"".join(answer).decode())[1]
script = b"".join(client.get(staticfiles_storage.url("office/measure.js"))).decode()
module = re.search(r'from "\\./(measure/names[^"]+)"', script)[1]
print(style, answer["Cache-Control"], client.get(f"/static/{font}").status_code, f"/static/{font}", sep="|", end="|")
print(f"/static/office/{module}", client.get(f"/static/office/{module}").status_code, sep="|")
"""
    env = {**os.environ, "BAYWRIGHT_DEMO": "1", "DATABASE_URL": f"sqlite:///{tmp_path / 'none.sqlite3'}"}
    for collected, program in (("True", collect), ("False", look)):
        done = subprocess.run(
            [sys.executable, "-c", code.replace("COLLECTED", collected) + program],
            cwd=ROOT, env=env, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
    style, kept, status, font, module, module_status = done.stdout.strip().split("|")
    assert HASHED.match(style)
    assert HASHED.match(font)
    assert HASHED.match(module)
    assert (kept, status, module_status) == (FOR_EVER, "200", "200")
