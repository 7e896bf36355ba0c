"""Our own slide template, made from the plain one of the library: wide, white, ruled like a ledger."""

from __future__ import annotations

from typing import Any

from lxml import etree
from pptx import Presentation
from pptx.dml.color import RGBColor
from pptx.enum.text import MSO_ANCHOR
from pptx.oxml.ns import qn
from pptx.util import Emu, Inches, Pt

WIDTH, HEIGHT = Inches(13.333), Inches(7.5)
MARGIN = Inches(0.6)
BODY_TOP, BODY_BOTTOM = Inches(1.5), Inches(6.85)
FACE = "Arial"
INK, SOFT, RULE, TINT = (RGBColor.from_string(c) for c in ("1B2129", "4C545F", "757062", "F1EFE8"))
COVER, PLAIN = "Title Slide", "Title Only"
TITLE_SIZE, FOOT_SIZE = 24, 10
COLOURS = {
    "dk2": "1B2129", "lt2": "F1EFE8", "accent1": "0072B2", "accent2": "D55E00", "accent3": "009E73",
    "accent4": "7A7A7A", "accent5": "56B4E9", "accent6": "E69F00", "hlink": "1D5C4B", "folHlink": "4C545F",
}  # fmt: skip


def presentation() -> Any:
    """An empty presentation, 16:9, with a cover and a plain page."""
    deck = Presentation()
    deck.slide_width, deck.slide_height = WIDTH, HEIGHT
    for layout in list(deck.slide_layouts):
        if layout.name not in (COVER, PLAIN):
            deck.slide_layouts.remove(layout)
    master = deck.slide_master
    _theme(master)
    _title_style(master)
    for page in (master, *deck.slide_layouts):
        for shape in list(page.placeholders):
            _place(shape, cover=page.name == COVER)
    for layout in deck.slide_layouts:
        _rule(layout, Inches(3.95) if layout.name == COVER else Inches(1.28))
    return deck


def layout_named(deck: Any, name: str) -> Any:
    """The layout of that name."""
    return next(layout for layout in deck.slide_layouts if layout.name == name)


def _place(shape: Any, *, cover: bool) -> None:
    """Put a placeholder where it belongs on the wide page; the date goes, the footer names the data cut."""
    kind = shape.placeholder_format.type.name
    wide = WIDTH - 2 * MARGIN
    places = {
        "TITLE": (MARGIN, Inches(0.4), wide, Inches(0.85)),
        "CENTER_TITLE": (MARGIN, Inches(2.3), wide, Inches(1.5)),
        "SUBTITLE": (MARGIN, Inches(4.15), wide, Inches(1.6)),
        "BODY": (MARGIN, BODY_TOP, wide, BODY_BOTTOM - BODY_TOP),
        "FOOTER": (MARGIN, Inches(6.98), wide - Inches(0.8), Inches(0.32)),
        "SLIDE_NUMBER": (WIDTH - MARGIN - Inches(0.7), Inches(6.98), Inches(0.7), Inches(0.32)),
    }
    if kind not in places:
        shape._element.getparent().remove(shape._element)
        return
    shape.left, shape.top, shape.width, shape.height = (Emu(int(each)) for each in places[kind])
    frame = shape.text_frame
    frame.margin_left = frame.margin_right = 0
    if kind in ("TITLE", "CENTER_TITLE"):
        frame.vertical_anchor = MSO_ANCHOR.BOTTOM
    styles = shape._element.findall(f".//{qn('a:lvl1pPr')}")
    for style in styles:
        style.set("algn", "r" if kind == "SLIDE_NUMBER" else "l")
        letters = style.find(qn("a:defRPr"))
        if letters is not None and kind in ("FOOTER", "SLIDE_NUMBER"):
            letters.set("sz", str(FOOT_SIZE * 100))


def _theme(master: Any) -> None:
    part = next(rel.target_part for rel in master.part.rels.values() if rel.reltype.endswith("/theme"))
    theme = etree.fromstring(part.blob)
    theme.set("name", "Ledger")
    for scheme in theme.iter(qn("a:clrScheme")):
        for name, value in COLOURS.items():
            scheme.find(qn(f"a:{name}"))[0].set("val", value)
    for latin in theme.iter(qn("a:latin")):
        latin.set("typeface", FACE)
    part._blob = etree.tostring(theme, xml_declaration=True, encoding="UTF-8", standalone=True)


def _title_style(master: Any) -> None:
    """Left, bold, small enough for a finding on two lines; texts of the body without bullets."""
    styles = master._element.find(qn("p:txStyles"))
    title = styles.find(qn("p:titleStyle")).find(qn("a:lvl1pPr"))
    title.set("algn", "l")
    letters = title.find(qn("a:defRPr"))
    letters.set("sz", str(TITLE_SIZE * 100))
    letters.set("b", "1")


def _rule(layout: Any, top: Any) -> None:
    """A double rule under the title, as on a ledger page."""
    tree = layout._element.find(f".//{qn('p:spTree')}")
    for at, offset in enumerate((0, Pt(3))):
        tree.append(_line(900 + at, MARGIN, top + offset, WIDTH - 2 * MARGIN))


def _line(number: int, left: int, top: int, width: int) -> Any:
    return etree.fromstring(
        '<p:cxnSp xmlns:p="http://schemas.openxmlformats.org/presentationml/2006/main" '
        'xmlns:a="http://schemas.openxmlformats.org/drawingml/2006/main"><p:nvCxnSpPr>'
        f'<p:cNvPr id="{number}" name="Rule {number}"/><p:cNvCxnSpPr/><p:nvPr userDrawn="1"/></p:nvCxnSpPr>'
        f'<p:spPr><a:xfrm><a:off x="{int(left)}" y="{int(top)}"/><a:ext cx="{int(width)}" cy="0"/></a:xfrm>'
        '<a:prstGeom prst="line"><a:avLst/></a:prstGeom><a:ln w="9525"><a:solidFill>'
        f'<a:srgbClr val="{RULE}"/></a:solidFill></a:ln></p:spPr></p:cxnSp>'
    )
