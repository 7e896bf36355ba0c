"""Files that a stranger may send: each is refused in words, within 2 s and 200 MB.

The set and the limits follow OWASP ASVS 5.0 (5.2.1 to 5.2.3) and what was measured with openpyxl.
"""

from __future__ import annotations

import io
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from openpyxl import Workbook

from registry.spreadsheet.limits import RefusedFile
from registry.spreadsheet.text import decode, read_text
from registry.spreadsheet.workbook import is_workbook, read_sheet, sheet_names

SECONDS, MEGABYTES = 2, 200
SHEET = "xl/worksheets/sheet1.xml"
HEAD = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
TAIL = b"</sheetData></worksheet>"


def workbook() -> bytes:
    """A small sound workbook."""
    book, file = Workbook(), io.BytesIO()
    book.worksheets[0].title = "log"
    book.worksheets[0].append(["a", "b"])
    book.worksheets[0].append([1, 2])
    book.save(file)
    return file.getvalue()


def with_parts(**parts: bytes) -> bytes:
    """The workbook with parts replaced or added; in names a double underscore stands for a slash."""
    names = {name.replace("__", "/") + ".xml": data for name, data in parts.items()}
    file = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook())) as old,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for entry in old.infolist():
            if entry.filename not in names:
                new.writestr(entry.filename, old.read(entry.filename))
        for name, data in names.items():
            new.writestr(name, data)
    return file.getvalue()


def sheet(rows: bytes) -> bytes:
    return with_parts(xl__worksheets__sheet1=HEAD + rows + TAIL)


def far_corner() -> bytes:
    return sheet(b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>')


def far_column() -> bytes:
    return sheet(b'<row r="1"><c r="XFD1"><v>1</v></c></row>')


def many_rows() -> bytes:
    return sheet(b"".join(b'<row r="%d"><c r="A%d"><v>1</v></c></row>' % (n, n) for n in range(1, 5010)))


def many_empty_rows() -> bytes:
    return sheet(b"<row/>" * 1_000_000)


def many_empty_cells() -> bytes:
    return sheet(b'<row r="1">' + b'<c s="1"/>' * 2_000_000 + b"</row>")


def bomb() -> bytes:
    return sheet(b'<row r="1"><c t="inlineStr"><is><t>' + b"x" * 60_000_000 + b"</t></is></c></row>")


def many_entries() -> bytes:
    return with_parts(**{f"xl__worksheets__extra{n}": b"<x/>" for n in range(60)})


def many_texts() -> bytes:
    return with_parts(xl__sharedStrings=b"<sst>" + b"<si><t>a</t></si>" * 2_000_000 + b"</sst>")


def large_styles() -> bytes:
    return with_parts(xl__styles=b"<styleSheet>" + b"<xf/>" * 1_000_000 + b"</styleSheet>")


def entities() -> bytes:
    lines = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 10))
    return with_parts(
        xl__worksheets__sheet1=f'<!DOCTYPE x [<!ENTITY e0 "ha">{lines}]><worksheet>&e9;</worksheet>'.encode()
    )


def late_entities() -> bytes:
    """Beyond where entities are looked for: defusedxml refuses them."""
    return with_parts(
        xl__worksheets__sheet1=b"<!--" + b"x" * 70_000 + b'--><!DOCTYPE x [<!ENTITY e "ha">]>' + HEAD + TAIL
    )


def outside_entity() -> bytes:
    return with_parts(
        xl__workbook=b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><workbook>&e;</workbook>'
    )


def lying_size() -> bytes:
    """An entry that declares one byte and holds sixty million."""
    data = bytearray(bomb())
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as archive:
        real = archive.getinfo(SHEET).file_size.to_bytes(4, "little")
    return bytes(data.replace(real, (1).to_bytes(4, "little")))


def merged_everything() -> bytes:
    areas = b'<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>'
    return with_parts(xl__worksheets__sheet1=HEAD + b"</sheetData>" + areas + b"</worksheet>")


def cut_short() -> bytes:
    return workbook()[:-200]


def no_workbook() -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("hello.txt", "hello")
    return file.getvalue()


def locked() -> bytes:
    return b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(5000)


def too_large() -> bytes:
    return b"PK\x03\x04" + bytes(5_000_001)


HOSTILE: list[Callable[[], bytes]] = [
    far_corner, far_column, many_rows, many_empty_rows, many_empty_cells, bomb, many_entries, many_texts,
    large_styles, entities, late_entities, outside_entity, lying_size, cut_short, no_workbook, locked,
    too_large,
]  # fmt: skip


def read(data: bytes) -> None:
    """As an upload does."""
    assert is_workbook(data)
    read_sheet(data, sheet_names(data)[0])


@pytest.mark.parametrize("make", HOSTILE)
def test_each_is_refused_in_words(make: Callable[[], bytes]) -> None:
    data = make()
    began = time.process_time()
    with pytest.raises(RefusedFile, match=r"\w+ \w+ \w+"):
        read(data)
    assert time.process_time() - began < SECONDS


MEASURE = """
import resource, sys
import openpyxl
from registry.spreadsheet import workbook
from registry.spreadsheet.limits import RefusedFile
data = open(sys.argv[1], "rb").read()
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
try:
    workbook.read_sheet(data, workbook.sheet_names(data)[0])
except RefusedFile:
    print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) // 1024)
"""


@pytest.mark.parametrize("make", [far_corner, many_empty_rows, many_empty_cells, bomb, many_texts])
def test_the_heavy_ones_take_little_memory(make: Callable[[], bytes], tmp_path: Path) -> None:
    file = tmp_path / "hostile.xlsx"
    file.write_bytes(make())
    found = subprocess.run(
        [sys.executable, "-c", MEASURE, str(file)], capture_output=True, text=True, check=True, timeout=60
    )
    assert int(found.stdout) < MEGABYTES


def test_a_title_merged_over_everything_is_read_as_it_is() -> None:
    data = merged_everything()
    assert read_sheet(data, "log").merged == [(1, 1, 60, 30)]


def test_a_sound_workbook_is_read() -> None:
    assert read_sheet(workbook(), "log").rows == [(1, ["a", "b"]), (2, [1, 2])]


def test_a_formula_without_a_value_is_no_blank() -> None:
    data = sheet(b'<row r="1"><c r="A1"><f>1+1</f></c><c r="B1"><f>1+1</f><v>2</v></c></row>')
    [(_, cells)] = read_sheet(data, "log").rows
    assert "no stored value" in cells[0]["fault"]
    assert cells[1] == 2


def test_an_error_of_the_sheet_is_no_value() -> None:
    [(_, cells)] = read_sheet(sheet(b'<row r="1"><c r="A1" t="e"><v>#REF!</v></c></row>'), "log").rows
    assert "#REF!" in cells[0]["fault"]


@pytest.mark.parametrize(
    "data",
    [b"a,b\n\xff,1", "a,b\n1,2".encode("utf-16"), b"a,b\n" + b"x" * 5_000_001],
    ids=["latin", "utf-16", "large"],
)
def test_text_files_in_other_encodings_are_refused(data: bytes) -> None:
    with pytest.raises(RefusedFile):
        read_text(decode(data))


@pytest.mark.parametrize(
    "text",
    [
        "a,b\n1,\0",
        "a,b\n" + "x" * 10_001 + ",1",
        "a" + ",b" * 60,
        "a,b\n" + "1,2\n" * 5001,
        'a,b\n"' + "x\n" * 20_000,
    ],
    ids=["nul", "long cell", "wide", "long", "open quote"],
)
def test_texts_that_are_too_much_are_refused(text: str) -> None:
    with pytest.raises(RefusedFile):
        read_text(text)


def test_a_byte_order_mark_is_no_text() -> None:
    assert read_text(decode("\ufeffa,b\n1,2".encode())) == [(1, ["a", "b"]), (2, ["1", "2"])]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_the_separator_is_found(separator: str) -> None:
    text = f'a{separator}b{separator}c\n1{separator}"x, y; z"{separator}3'
    assert read_text(text)[1] == (2, ["1", "x, y; z", "3"])
