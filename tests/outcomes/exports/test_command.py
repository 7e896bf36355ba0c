"""The report command: files without a browser."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tests.outcomes.builder import Logbook


def test_it_writes_every_file_and_says_so(book: Logbook, tmp_path: Path) -> None:
    said = StringIO()
    files = {name: tmp_path / name for name in ("json", "slides", "packet", "workbook")}
    call_command("report", period="2026-Q3", centre=book.centre.code, stderr=said, **files)

    assert [files[name].read_bytes()[:2] for name in files] == [b"{\n", b"PK", b"%P", b"PK"]
    assert all(f"{name} written" in said.getvalue() for name in files)


def test_it_asks_for_a_file(book: Logbook) -> None:
    with pytest.raises(CommandError, match="name a file"):
        call_command("report", period="2026-Q3", centre=book.centre.code)


def test_as_of_a_moment_before_anything_was_written(book: Logbook, tmp_path: Path) -> None:
    call_command(
        "report", period="2026-Q3", centre=book.centre.code, slides=tmp_path / "x", as_of="2026-07-01T09:00"
    )

    assert (tmp_path / "x").read_bytes().startswith(b"PK")
