"""The full report of a period as a PDF: tagged, with embedded fonts, made without a browser."""

from __future__ import annotations

import hashlib
import logging
import os
from pathlib import Path
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from outcomes.exports.beside import written_span
from outcomes.exports.material import CAUTION, Material
from outcomes.quarter import key_figures

# Embedded fonts carry the moment of their making; a fixed one gives the same bytes each time.
os.environ.setdefault("SOURCE_DATE_EPOCH", "315532800")
STATIC = Path("static")
STROBE = (
    ("Setting and dates", "The cover: centre, period, data cut; each table says on which basis it counts."),
    ("Participants at each stage", "Considered, attempted, placed: the first section."),
    ("Definitions of outcomes and exposures", "Definitions, with their sources."),
    ("Numbers behind every figure", "n/N or events and device-days beside each estimate."),
    ("Follow-up time", "Device-days by route; numbers at risk below each curve."),
    ("Losses and missing data", "Left out, censored or counted apart; courses without a recorded level."),
    ("Statistical methods", "Below each table and chart; no p-values for characteristics at the start."),
    ("Unadjusted estimates with intervals", "Every estimate; 0 events show their upper limit."),
    ("Adjusted estimates and confounding", "Not in this packet: the comparison page of the registry."),
    ("Several looks at the data", "Said beside the forest; intervals are not widened for it."),
    ("Generalisability", "One programme: nothing here speaks for others."),
)


def packet(material: Material) -> bytes:
    """The PDF; the same material gives the same bytes."""
    for name in ("weasyprint", "fontTools"):  # they tell of every page and table
        logging.getLogger(name).setLevel(logging.ERROR)
    from weasyprint import HTML  # takes two seconds to import

    root = settings.BASE_DIR / STATIC
    document = HTML(string=packet_html(material), base_url=f"{root.as_uri()}/", url_fetcher=_fetcher(root))
    pdf: bytes = document.write_pdf(pdf_tags=True, pdf_identifier=_identifier(material))
    return pdf


def packet_html(material: Material) -> str:
    """The document before it is set."""
    header = material.header
    context = {
        "material": material,
        "header": header,
        "period": written_span(header.period),
        "level": f"{header.level:.0%}",
        "caution": CAUTION,
        "key_figures": key_figures(material.report),
        "contents": _contents(material),
        "strobe": STROBE,
    }
    return render_to_string("exports/packet.html", context)


def _contents(material: Material) -> list[dict[str, str]]:
    """The headings in the order of the pages."""
    found = [(section.id, section.title) for section in material.sections if section.parts]
    found += [("trends", "The quarters before")] if material.trends else []
    found += [("comparison", "One route against the other")] if material.comparison else []
    found += [("cases", "Cases for discussion")] if material.cases_shown else []
    found += [
        ("left-out", "Left out, censored or counted apart"),
        ("definitions", "Definitions"),
        ("strobe", "What a reader of an observational report asks"),
    ]
    return [{"id": id, "title": title} for id, title in found]


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
    named = f"{header.centres} {header.period} {header.data_cut.isoformat()} {header.definitions_version}"
    return hashlib.sha256(named.encode()).hexdigest()[:32].encode()
