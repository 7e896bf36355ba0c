"""The full report of a period as a PDF: tagged, with embedded fonts, made without a browser."""

from __future__ import annotations

import gc
import hashlib
import logging
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from outcomes.comparison import limits
from outcomes.comparison.endpoints import BY_CODE, ENDPOINTS
from outcomes.comparison.summary import summary
from outcomes.exports.material import CAUTION, Material
from outcomes.exports.strobe import ITEMS
from outcomes.period import written_span
from outcomes.quarter import key_figures
from outcomes.routes import SEVERAL, refusals

# Embedded fonts carry the moment of their making; a fixed one gives the same bytes each time.
os.environ.setdefault("SOURCE_DATE_EPOCH", "315532800")
STATIC = Path("static")


def packet(material: Material) -> bytes:
    """The PDF; the same material gives the same bytes."""
    for name in ("weasyprint", "fontTools"):  # they tell of every page and table
        logging.getLogger(name).setLevel(logging.ERROR)
    from weasyprint import HTML  # takes two seconds to import

    root = settings.BASE_DIR / STATIC
    document = HTML(string=packet_html(material), base_url=f"{root.as_uri()}/", url_fetcher=_fetcher(root))
    with _without_collecting():
        pdf: bytes = document.write_pdf(pdf_tags=True, pdf_identifier=_identifier(material))
    return pdf


@contextmanager
def _without_collecting() -> Iterator[None]:
    """Setting makes millions of small objects; looking for garbage among them takes a quarter of it."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def packet_html(material: Material) -> str:
    """The document before it is set."""
    header, compared = material.header, material.compared
    context = {
        "material": material,
        "header": header,
        "period": written_span(header.period),
        "level": f"{header.level:.0%}",
        "caution": CAUTION,
        "key_figures": key_figures(material.report),
        "contents": _contents(material),
        "strobe": [(x.number, x.asked, x.answer(compared=compared is not None)) for x in ITEMS],
        "summary": summary(compared) if compared else (),
        "outcome": BY_CODE[compared.choices.outcome] if compared else None,
        "endpoints": ENDPOINTS if compared else (),
        "limits": limits,
        "refusals": refusals(compared) if compared else (),
        "several": SEVERAL,
    }
    return render_to_string("exports/packet.html", context)


def _contents(material: Material) -> list[dict[str, str]]:
    """The headings in the order of the pages."""
    found = [(section.id, section.title) for section in material.sections if section.parts]
    found += [("trends", "The quarters before")] if material.trends else []
    found += _compared_contents(material)
    found += [("cases", "Cases for discussion")] if material.cases_shown else []
    found += [
        ("left-out", "Left out, censored or counted apart"),
        ("definitions", "Definitions"),
        ("strobe", "What a reader of an observational report asks"),
    ]
    return [{"id": id, "title": title} for id, title in found]


def _compared_contents(material: Material) -> list[tuple[str, str]]:
    """The headings of the comparison; none without one."""
    if material.compared is None:
        return []
    parts = [(f"compared-{part.id}", part.title) for part in material.compared_sections if part.parts]
    return [("comparison", "One route against the other"), *parts, ("rules", "When a figure is refused")]


def _fetcher(root: Path) -> Any:
    """A fetcher that reads our static folder and nothing else: no net, no other file."""
    from weasyprint.urls import URLFetcher

    class Fenced(URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: Any = None) -> Any:
            inside = url.startswith(f"{root.as_uri()}/") and ".." not in url and "%2e" not in url.lower()
            if not inside and not url.startswith("data:"):
                raise ValueError(f"the packet reads nothing from {url}")
            return super().fetch(url, headers)

    return Fenced()


def _identifier(material: Material) -> bytes:
    header = material.header
    named = (
        f"{header.centres} {header.period} {header.data_cut.isoformat()} {header.definitions_version} "
        f"{material.smallest_cell} {material.seal}"
    )
    return hashlib.sha256(named.encode()).hexdigest()[:32].encode()
