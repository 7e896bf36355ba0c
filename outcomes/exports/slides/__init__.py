"""The quarter as slides that open in PowerPoint and LibreOffice, with native charts and tables."""

from __future__ import annotations

from io import BytesIO

from outcomes.exports.archive import settled
from outcomes.exports.material import Material

__all__ = ["slides"]


def slides(material: Material) -> bytes:
    """A .pptx file; the same material gives the same bytes."""
    from outcomes.exports.slides.order import ordered  # the library takes a while to import
    from outcomes.exports.slides.story import Story
    from outcomes.exports.slides.template import presentation

    deck = presentation()
    story = Story(deck, material)
    for tell in ordered(quality_first=material.smallest_cell is not None):
        tell(story)
    header = material.header
    properties = deck.core_properties
    properties.title = f"Balloon pump support, {header.period}"
    properties.author = ", ".join(header.centres)
    properties.subject = f"Data as of {header.data_cut.isoformat()}"
    properties.last_modified_by, properties.revision = "", 1
    properties.created = properties.modified = header.data_cut.replace(tzinfo=None)
    out = BytesIO()
    deck.save(out)
    return settled(out.getvalue(), header.data_cut)
