"""A slide and what can be put on it: words, tables, boxes; each with a text for those who do not see it."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from lxml import etree
from pptx.dml.color import RGBColor
from pptx.enum.shapes import MSO_SHAPE
from pptx.enum.text import MSO_ANCHOR, PP_ALIGN
from pptx.oxml.ns import qn
from pptx.util import Emu, Inches, Pt

from outcomes.exports.slides.template import COVER, INK, PLAIN, RULE, SOFT, TINT, layout_named

PLAIN_TABLE = "{2D5ABB26-0587-4C30-8999-92F81FD0307C}"
TEXT_SIZE, TABLE_SIZE, SMALL_SIZE = 16, 14, 12
FIRM_HYPHEN = "\u2011"  # keeps 2026-Q3 on one line
ROW_HEIGHT = Inches(0.36)


@dataclass(frozen=True)
class Box:
    """A place on the slide, in inches."""

    left: float
    top: float
    width: float
    height: float

    @property
    def emu(self) -> tuple[Emu, Emu, Emu, Emu]:
        """Left, top, width and height as the file counts them."""
        left, top, width, height = map(Inches, (self.left, self.top, self.width, self.height))
        return left, top, width, height


class Page:
    """One slide with its title, footer and number."""

    def __init__(
        self, deck: Any, *, title: str, footer: str, notes: Sequence[str], cover: bool = False
    ) -> None:
        self.slide = deck.slides.add_slide(layout_named(deck, COVER if cover else PLAIN))
        self.slide.shapes.title.text = title.replace("-Q", f"{FIRM_HYPHEN}Q")
        self.slide.notes_slide.notes_text_frame.text = "\n".join(line for line in notes if line)
        for shape in self.slide.slide_layout.placeholders:
            kind = shape.placeholder_format.type.name
            if kind in ("FOOTER", "SLIDE_NUMBER"):
                element = copy.deepcopy(shape._element)
                self.slide.shapes._spTree.append(element)
                if kind == "FOOTER":
                    element.find(f".//{qn('a:p')}").clear()
                    self.slide.placeholders[shape.placeholder_format.idx].text_frame.text = footer

    def words(
        self, box: Box, lines: Sequence[str], *, size: int = TEXT_SIZE, bold: bool = False, soft: bool = False
    ) -> Any:
        """Paragraphs."""
        shape = self.slide.shapes.add_textbox(*box.emu)
        frame = shape.text_frame
        frame.word_wrap = True
        frame.margin_left = frame.margin_right = frame.margin_top = 0
        for at, line in enumerate(lines):
            paragraph = frame.paragraphs[0] if at == 0 else frame.add_paragraph()
            paragraph.space_after = Pt(size * 0.4)
            _write(paragraph, line, size=size, bold=bold, colour=SOFT if soft else INK)
        return shape

    def box(self, box: Box, value: str, label: str, *, alt: str, label_size: int = SMALL_SIZE) -> Any:
        """A ruled box with a value and what it counts."""
        shape = self.slide.shapes.add_shape(MSO_SHAPE.RECTANGLE, *box.emu)
        shape.shadow.inherit = False
        shape.fill.solid()
        shape.fill.fore_color.rgb = TINT
        shape.line.color.rgb = RULE
        shape.line.width = Pt(0.75)
        frame = shape.text_frame
        frame.word_wrap, frame.vertical_anchor = True, MSO_ANCHOR.MIDDLE
        frame.margin_top = frame.margin_bottom = Inches(0.03)
        _write(frame.paragraphs[0], value, size=28, bold=True, colour=INK)
        _write(frame.add_paragraph(), label, size=label_size, colour=INK)
        for paragraph in frame.paragraphs:
            paragraph.alignment = PP_ALIGN.CENTER
        describe(shape, alt)
        return shape

    def arrow(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """A line from one box to the next, with a head."""
        places = [Inches(value) for value in (*start, *end)]
        line = self.slide.shapes.add_connector(1, *places)
        line.line.color.rgb = SOFT
        line.line.width = Pt(1.25)
        head = etree.SubElement(line.line._get_or_add_ln(), qn("a:tailEnd"))
        head.set("type", "triangle")
        describe(line, "leads to")

    def table(
        self,
        box: Box,
        head: Sequence[str],
        rows: Sequence[Sequence[str]],
        *,
        alt: str,
        widths: Sequence[float],
        size: int = TABLE_SIZE,
        words: bool = False,
    ) -> Any:
        """A native table with three rules; columns after the first stand right unless they hold ``words``."""
        shape = self.slide.shapes.add_table(
            len(rows) + 1, len(head), *box.emu[:3], ROW_HEIGHT * (len(rows) + 1)
        )
        describe(shape, alt)
        table = shape.table
        table._tbl.tblPr.find(qn("a:tableStyleId")).text = PLAIN_TABLE
        table.horz_banding = False
        for column, share in zip(table.columns, widths, strict=True):
            column.width = Emu(int(Inches(box.width) * share / sum(widths)))
        for i, row in enumerate([head, *rows]):
            table.rows[i].height = ROW_HEIGHT
            for j, words_of_cell in enumerate(row):
                cell = table.cell(i, j)
                _fill(cell, words_of_cell, size=size, bold=i == 0, right=j > 0 and not words)
                _ruled(cell, top=i == 0, bottom=i == 0 or i == len(rows))
        return shape


def describe(shape: Any, alt: str) -> None:
    """The text that stands for a graphic."""
    shape._element.find(f".//{qn('p:cNvPr')}").set("descr", alt)


def _write(paragraph: Any, text: str, *, size: int, colour: RGBColor, bold: bool = False) -> None:
    run = paragraph.add_run()
    run.text = text
    run.font.size, run.font.bold = Pt(size), bold
    run.font.color.rgb = colour


def _fill(cell: Any, text: str, *, size: int, bold: bool, right: bool) -> None:
    cell.margin_left = cell.margin_right = Inches(0.06)
    cell.margin_top = cell.margin_bottom = Inches(0.03)
    cell.vertical_anchor = MSO_ANCHOR.MIDDLE
    for at, line in enumerate(text.split("\n")):
        paragraph = cell.text_frame.add_paragraph() if at else cell.text_frame.paragraphs[0]
        paragraph.alignment = PP_ALIGN.RIGHT if right else PP_ALIGN.LEFT
        _write(paragraph, line, size=size, bold=bold, colour=INK if at == 0 else SOFT)


def _ruled(cell: Any, *, top: bool, bottom: bool) -> None:
    """Rules above the head, below it and below the last row."""
    properties = cell._tc.get_or_add_tcPr()
    for side, drawn in (("a:lnT", top), ("a:lnB", bottom)):
        if drawn:
            rule = etree.SubElement(properties, qn(side))
            rule.set("w", "9525")
            fill = etree.SubElement(etree.SubElement(rule, qn("a:solidFill")), qn("a:srgbClr"))
            fill.set("val", str(RULE))
