"""A body that was cut off on its way is refused on pages and by the API, however well its beginning reads."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.test import Client

from shared.web.complete_body import CompleteBody, whole

FORM = b"username=ada@example.test&password=not+the+one"
PARTS = b'--x\r\nContent-Disposition: form-data; name="username"\r\n\r\nada@example.test\r\n--x--\r\n'


@pytest.mark.parametrize("size", [-1, 3, 100])
def test_reading_raises_where_the_rest_is_missing(size: int) -> None:
    reading = CompleteBody(io.BytesIO(b"abcd"), 4)
    assert b"".join(iter(lambda: reading.read(size), b"")) == b"abcd"
    cut = CompleteBody(io.BytesIO(b"abcd"), 5)
    with pytest.raises(OSError, match="1 bytes too early"):
        list(iter(lambda: cut.read(size), b""))


def test_lines_raise_where_the_rest_is_missing() -> None:
    lines = CompleteBody(io.BytesIO(b"a\nb"), 3)
    assert [lines.readline(), lines.readline(), lines.readline()] == [b"a\n", b"b", b""]
    cut = CompleteBody(io.BytesIO(b"a\nb"), 4)
    assert cut.readline() == b"a\n"
    with pytest.raises(OSError, match="1 bytes too early"):
        cut.readline()


def test_an_application_gets_this_input_if_there_is_a_length() -> None:
    seen: list[Any] = []

    def application(environ: dict[str, Any], _: Any) -> list[bytes]:
        seen.append(environ["wsgi.input"])
        return []

    bare = io.BytesIO()
    whole(application)({"wsgi.input": bare, "CONTENT_LENGTH": "3"}, None)
    whole(application)({"wsgi.input": bare}, None)
    assert isinstance(seen[0], CompleteBody)
    assert seen[1] is bare


def send(client: Client, path: str, body: bytes, kind: str, missing: int) -> int:
    came = CompleteBody(io.BytesIO(body[: len(body) - missing]), len(body))
    data: dict[str, Any] = {"CONTENT_LENGTH": str(len(body)), "wsgi.input": came}
    return client.generic("POST", path, body, content_type=kind, **data).status_code


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("body", "kind"), [(FORM, "application/x-www-form-urlencoded"), (PARTS, "multipart/form-data; boundary=x")]
)
def test_a_form_without_its_end_is_a_400(body: bytes, kind: str) -> None:
    assert send(Client(), "/sign-in", body, kind, missing=0) == 200
    assert send(Client(), "/sign-in", body, kind, missing=9) == 400
    assert send(Client(enforce_csrf_checks=True), "/sign-in", body, kind, missing=9) == 400


@pytest.mark.django_db
def test_so_is_a_call_of_the_api_with_or_without_a_key_for_sending_it_twice(owner_client: Client) -> None:
    for path in ("/api/v1/customers", "/api/v1/quotes"):
        assert send(owner_client, path, b'{"name": "Ada"}', "application/json", missing=1) == 400
