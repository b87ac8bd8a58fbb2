"""Page forms as a browser sends them: with the hidden fields that name the version the page shows."""

from __future__ import annotations

import re
from collections.abc import Mapping
from html.parser import HTMLParser
from typing import Any

from django.test import Client

from catalogue.views.system_form import FenceSystemForm

HIDDEN = ("version", "seen")


class Forms(HTMLParser):
    """The POST forms of a page: action, names of the fields, and the hidden fields of the version."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.actions: list[str] = []
        self.names: list[set[str]] = []
        self.hidden: list[dict[str, str]] = []
        self._is_open = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._is_open = values.get("method") == "post"
            if self._is_open:
                self.actions.append(values.get("action", "").partition("#")[0])
                self.names.append(set())
                self.hidden.append({})
        elif self._is_open and values.get("name"):
            self.names[-1].add(values["name"])
            if values["name"] in HIDDEN:
                self.hidden[-1][values["name"]] = values["value"]

    def handle_endtag(self, tag: str) -> None:
        self._is_open = self._is_open and tag != "form"


def hidden_in(page: str, action: str = "") -> dict[str, str]:
    """Return the version of the first form with this action, else of the first one that is sent to the page itself."""
    forms = Forms(page)
    found = [(at, hidden) for at, hidden in zip(forms.actions, forms.hidden, strict=True) if hidden]
    return next((hidden for wanted in (action, "") for at, hidden in found if at == wanted), {})


def seen_on(client: Client, page: str, action: str = "") -> dict[str, str]:
    """Open a page and return the version it shows."""
    return hidden_in(client.get(page).content.decode(), action)


def squeeze(page: str) -> str:
    """Return a page without the white space that a browser does not show: runs are one blank, none beside a tag."""
    return re.sub(r"\s*(<[^>]*>)\s*", r"\1", " ".join(page.split()))


class Values(HTMLParser):
    """Values that a browser would send of a page's fields as they are shown. The last field of a name counts."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.shown: dict[str, str] = {}
        self._select = self._text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        name, kind = values.get("name", ""), values.get("type", "text")
        if tag == "input" and name and kind not in {"submit", "file"}:
            if kind not in {"checkbox", "radio"} or "checked" in values:
                self.shown[name] = values.get("value", "")
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select and ("selected" in values or self._select not in self.shown):
            self.shown[self._select] = values.get("value", "")
        elif tag == "textarea":
            self._text, self.shown[name] = name, ""

    def handle_data(self, data: str) -> None:
        if self._text:
            self.shown[self._text] += data.removeprefix("\n")

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = ""
        elif tag == "textarea":
            self._text = ""


def press(client: Client, page: str, entered: Mapping[str, Any], at: str = "", **options: Any) -> Any:
    """Open a page, fill in a form of it and send it, to ``at`` if that is another address."""
    return client.post(at or page, {**seen_on(client, page, at), **entered}, **options)


def system_entries(document: Mapping[str, Any]) -> dict[str, str]:
    """Return the fields of a fence system's form as they are shown."""
    return {box.html_name: "1" if box.value() is True else box.value() for box in FenceSystemForm(document)}
