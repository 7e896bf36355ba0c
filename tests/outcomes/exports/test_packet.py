"""The printed packet."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest
from django.conf import settings

from outcomes.exports.material import Material
from outcomes.exports.packet import _fetcher, packet, packet_html
from registry.models import Patient


def text_of(pdf: bytes, folder: Path) -> str:
    """What a reader of the PDF can select."""
    file = folder / "packet.pdf"
    file.write_bytes(pdf)
    return subprocess.run(["pdftotext", str(file), "-"], capture_output=True, check=True, text=True).stdout


def told(tool: str, pdf: bytes, folder: Path) -> str:
    (folder / "packet.pdf").write_bytes(pdf)
    done = subprocess.run([tool, str(folder / "packet.pdf")], capture_output=True, check=True, text=True)
    return done.stdout


def test_it_is_complete_tagged_embedded_and_the_same_twice(material: Material, tmp_path: Path) -> None:
    pdf = packet(material)
    text = text_of(pdf, tmp_path)
    pages = int(re.findall(r"Pages:\s+(\d+)", told("pdfinfo", pdf, tmp_path))[0])

    assert packet(material) == pdf
    assert re.search(r"Tagged:\s+yes", told("pdfinfo", pdf, tmp_path))
    fonts = told("pdffonts", pdf, tmp_path).splitlines()[2:]
    assert fonts
    assert all(re.search(r"\byes yes yes\b", line) for line in fonts)
    assert any("Source-Sans-3" in line for line in fonts)
    assert f"Page 1 of {pages}" in text
    assert f"Page {pages} of {pages}" in text
    assert text.count(f"Data as of {material.cut}") >= pages
    assert "Not a medical device" in text
    for section in material.sections:
        assert section.title in text
    assert not any(patient.study_no in text for patient in Patient.objects.all())


def test_headings_in_the_contents_lead_somewhere(material: Material) -> None:
    html = packet_html(material)
    targets = re.findall(r'href="#([\w-]+)"', html)

    assert len(targets) >= 10
    assert all(f'id="{target}"' in html for target in targets)


def test_every_chart_is_drawn_in_it(material: Material) -> None:
    html = packet_html(material)

    assert all(f'id="{id}-title"' in html for id in material.charts)


@pytest.mark.parametrize(
    "url",
    ["http://127.0.0.1/x.css", "https://example.org/", "file:///etc/passwd", "ftp://example.org/x"],
)
def test_nothing_outside_is_read(url: str) -> None:
    root = settings.BASE_DIR / "static"

    with pytest.raises(ValueError, match="reads nothing"):
        _fetcher(root).fetch(url)
    for way_out in ("/../manage.py", "/%2e%2e/manage.py", "/%2E%2E/manage.py"):
        with pytest.raises(ValueError, match="reads nothing"):
            _fetcher(root).fetch(root.as_uri() + way_out)


def test_a_quarter_without_anything_is_a_packet(nothing: Material) -> None:
    assert "Nothing was left out" in packet_html(nothing)
