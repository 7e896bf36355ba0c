"""What a browser would send from a page: its forms read out of the HTML, and a look into the database."""

from __future__ import annotations

import hashlib
import uuid
from html.parser import HTMLParser
from typing import Any

from django.db import connection
from django.test import Client

Data = dict[str, Any]
# Sessions, the counters of the sign-in page and the notes of files taken live their own life.
NOT_RECORDS = {"django_session", "shared_cache", "registry_download"}


class _FormReader(HTMLParser):
    """Collects the names and the values with which a form would be sent as it stands."""

    def __init__(self) -> None:
        super().__init__()
        self.sent: dict[str, list[str]] = {}
        self.names: set[str] = set()
        self._select = ""
        self._options: list[tuple[str, bool]] = []
        self._textarea: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        name, value = found.get("name") or "", found.get("value") or ""
        if tag == "input" and name:
            self.names.add(name)
            if found.get("type") not in ("radio", "checkbox") or "checked" in found:
                default = "on" if "checked" in found else ""
                self.sent.setdefault(name, []).append(value if "value" in found else default)
        elif tag == "select":
            self._select, self._options = name, []
            self.names.add(name)
        elif tag == "option":
            self._options.append((value, "selected" in found))
        elif tag == "textarea":
            self.names.add(name)
            self._textarea = name
            self.sent[name] = [""]

    def handle_data(self, data: str) -> None:
        if self._textarea:
            self.sent[self._textarea][0] += data.lstrip("\r\n")

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea":
            self._textarea = None
        elif tag == "select" and self._options:
            chosen = [value for value, selected in self._options if selected]
            self.sent[self._select] = chosen or [self._options[0][0]]


def _read(response: Any) -> _FormReader:
    reader = _FormReader()
    reader.feed(response.content.decode().partition("<main")[2])
    return reader


def names_in(response: Any) -> set[str]:
    """The names of every control on a page."""
    return _read(response).names - {"csrfmiddlewaretoken"}


def sent_from(response: Any) -> Data:
    """What the form on a page would send untouched."""
    sent = {name: values for name, values in _read(response).sent.items() if name != "csrfmiddlewaretoken"}
    return {name: values if len(values) > 1 else values[0] for name, values in sent.items()}


def fill(client: Client, url: str, **entries: Any) -> Data:
    """Open a form and fill it; None leaves a field out. For the hyphen of a prefix write two underscores."""
    response = client.get(url)
    assert response.status_code == 200, (url, response.status_code)
    data = sent_from(response)
    for name, value in entries.items():
        field = name.replace("__", "-", 1)
        assert field in names_in(response), f"{field} is not on {url}"
        data[field] = value
    return {name: value for name, value in data.items() if value is not None}


def send(client: Client, url: str, data: Data) -> Any:
    """Post a form that is meant to be saved; what it leads to is asked for by the test."""
    response = client.post(url, data)
    assert response.status_code == 302, errors_of(response)
    return response


def again(data: Data, **entries: Any) -> Data:
    """The same entries as a new submission, with changes."""
    changes = {name.replace("__", "-", 1): value for name, value in entries.items()}
    return {**data, "submission": str(uuid.uuid4()), **changes}


def errors_of(response: Any) -> dict[str, list[str]]:
    """Every error of an entry page by the prefixed name of its field."""
    found: dict[str, list[str]] = {}
    for form in response.context["forms"]:
        for name, errors in form.errors.items():
            found[form.add_prefix(name)] = list(errors)
    return found


def digest() -> dict[str, str]:
    """A fingerprint of every table."""
    marks = {}
    with connection.cursor() as cursor:
        for table in sorted(set(connection.introspection.table_names()) - NOT_RECORDS):
            cursor.execute(f'SELECT t::text FROM "{table}" t ORDER BY 1')
            marks[table] = hashlib.sha256(repr(cursor.fetchall()).encode()).hexdigest()
    return marks
