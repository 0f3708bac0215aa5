"""The one door to fpdf2: a health report as PDF, its text selectable, its fonts shipped, without a browser.

What the fonts cannot write (they hold Latin, Greek and Cyrillic) stands as a hollow square; the page beside it
shows it.
"""

from __future__ import annotations

import io
import tempfile
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont
from fpdf import FPDF
from fpdf.enums import TableBordersLayout
from fpdf.fonts import FontFace

from sigaudit.reporting.health_document import Document, Fact, FactLine, SiteBlock, Strip
from sigaudit.reporting.identity import Identity
from sigaudit.reporting.page import visible
from sigaudit.store import shipped

__all__ = ["Press"]

_FONTS = {"": "SourceSansPro-Regular.ttf", "B": "SourceSansPro-Semibold.ttf"}
_INK, _SOFT, _RULE, _PANEL = "#1d2227", "#545d65", "#d5d3cc", "#f5f3ee"
_MARKS = {"healthy": "#1c6f66", "not_proven": "#545d65", "degraded": "#8a4b00", "silent": "#a11530"}
_GOOD, _BAD = "#1c6f66", "#a11530"
_MARGIN = 15.0  # [mm]
# Signs of our own words and of most names, whatever the texts at hand hold; the last stands for what is in no font.
_ALWAYS = (*map(chr, range(0x20, 0x7F)), *map(chr, range(0xA0, 0x180)), *"–—‘’“”…•\u202f\ufffd\u2610")
_LEAD = 1.22  # line height by type size
_MM = 25.4 / 72  # [mm] per point


class Press:
    """Writes reports as PDF. Its fonts are cut once to the signs that can occur: a whole one costs 60 ms a report."""

    def __init__(self, identity: Identity, texts: Iterable[str]) -> None:
        self._identity = identity
        self._folder = tempfile.TemporaryDirectory(prefix="sigaudit-fonts-")
        wanted = {*_ALWAYS, *(sign for text in texts for sign in text)}
        held = []
        for name in _FONTS.values():
            with TTFont(shipped.data() / "fonts" / name, recalcTimestamp=False) as font:
                cut = Subsetter(Options(layout_features=[], notdef_outline=True, name_IDs=["*"], hinting=False))
                cut.populate(unicodes=[ord(sign) for sign in wanted])
                cut.subset(font)
                font.save(Path(self._folder.name) / name)
                held.append(set(font.getBestCmap()))
        self._signs = frozenset(map(chr, set.intersection(*held)))

    def __enter__(self) -> Press:
        return self

    def __exit__(self, *_: object) -> None:
        self._folder.cleanup()

    def pdf(self, document: Document, made: datetime) -> bytes:
        """The report as bytes, equal for equal input. made: the naive UTC instant that stands as its date."""
        sheet = _Sheet(document, self._identity, made, Path(self._folder.name), self._signs)
        sheet.add_page()
        sheet.head()
        sheet.stand()
        sheet.side_by_side(document.advice, document.needs)
        for site in document.sites:
            sheet.site(site)
        sheet.limits(document.limits, document.foot)
        return bytes(sheet.output())


class _Sheet(FPDF):
    """The printed form. All lengths in mm, type sizes in points."""

    def __init__(
        self, document: Document, identity: Identity, made: datetime, fonts: Path, signs: frozenset[str]
    ) -> None:  # fmt: skip
        super().__init__(format=identity.paper)
        self.doc, self.identity, self.signs = document, identity, signs
        self.set_margins(_MARGIN, 13, _MARGIN)
        self.set_auto_page_break(True, 16)
        self.c_margin = 0.0
        for style, name in _FONTS.items():
            self.add_font("report", style, fonts / name)
        self.set_title(self._written(f"{document.title}, {document.month}: {document.customer}"))
        self.set_author(self._written(document.station))
        self.set_lang(document.language)
        self.set_creation_date(made.replace(tzinfo=UTC))
        self.set_producer("sigaudit")

    def footer(self) -> None:
        """Customer, month and page number at the foot of every page."""
        self.set_y(-12)
        self._type(7.6, colour=_SOFT)
        width = self.epw / 2
        self.cell(width, 4, self._cut(f"{self.doc.customer}, {self.doc.month}", width))
        self.cell(width, 4, f"{self.page_no()} / {{nb}}", align="R")

    def head(self) -> None:
        """Station, title with the month, customer, and the logo at the right."""
        top, room = self.get_y(), self.epw
        if self.identity.logo:
            self.image(
                io.BytesIO(self.identity.logo), x=self.w - _MARGIN - 44, y=top, w=44, h=14, keep_aspect_ratio=True
            )
            room -= 48
        self._type(9.4, colour=_SOFT)
        self._lines(self.doc.station, width=room)
        self._type(17, bold=True, colour=self.identity.colour)
        self._lines(f"{self.doc.title}, {self.doc.month}", width=room)
        self._type(11.5, bold=True)
        self._lines(self.doc.customer, width=room)
        self.set_y(max(self.get_y() + 1.2, top + (15 if self.identity.logo else 0)))
        self._rule(self.identity.colour, 0.8)
        self.ln(2.4)

    def stand(self) -> None:
        """How it stands, in one sentence on a panel."""
        self._type(10.4)
        text = self._written(f"**{self._plain(self.doc.state_word)}.** {self._plain(self.doc.headline)}")
        height = 10.4 * _MM * _LEAD
        told = self.multi_cell(self.epw - 9, height, text, dry_run=True, output="HEIGHT", markdown=True)
        y, tall = self.get_y(), float(str(told)) + 3.4
        self.set_fill_color(_PANEL)
        self.rect(_MARGIN, y, self.epw, tall, style="F")
        self.set_fill_color(_MARKS[self.doc.state])
        self.rect(_MARGIN, y, 1.5, tall, style="F")
        self.set_xy(_MARGIN + 4.5, y + 1.7)
        self.multi_cell(self.epw - 9, height, text, new_x="LMARGIN", new_y="NEXT", markdown=True)
        self.set_y(y + tall + 2.2)

    def side_by_side(self, left: Fact, right: Fact) -> None:
        """Two lists in columns; one under the other where they are long."""
        if len(left.lines) + len(right.lines) > 14:
            for fact in (left, right):
                self._list(fact, _MARGIN, self.epw)
            return
        gap = 8.0
        width = (self.epw - gap) / 2
        top = self.get_y()
        self._list(left, _MARGIN, width)
        below = self.get_y()
        self.set_y(top)
        self._list(right, _MARGIN + width + gap, width)
        self.set_y(max(below, self.get_y()))

    def site(self, site: SiteBlock) -> None:
        """One system: days, ways, facts."""
        if self.get_y() > self.h - 70:
            self.add_page()
        self.ln(2.2)
        self._type(12.4, bold=True, colour=self.identity.colour)
        self._lines(f"{site.name}  ({site.system})" if site.system else site.name)
        self.ln(0.4)
        self._type(10.4, bold=True)
        lead = f"{site.state_word}. {site.lead}" if len(self.doc.sites) > 1 else site.lead
        self._lines(lead)
        self.ln(0.8)
        self._strip(site.strip)
        self._type(8.8, colour=_SOFT)
        for note in site.notes:
            self._lines(note)
        self.ln(1.2)
        self._ways(site)
        self._type(8.8, colour=_SOFT)
        for line in site.missing:
            self._lines(line.text)
        self.ln(1)
        for fact in site.facts:
            self._fact(fact)

    def limits(self, fact: Fact, foot: Sequence[str]) -> None:
        """What the report does not show, and from whom and what it is."""
        self.ln(2)
        self._type(8.2)
        if self.get_y() > self.h - 42:
            self.add_page()
        self._rule(_RULE, 0.2)
        self.ln(1.2)
        self._type(8.6, bold=True)
        self._lines(fact.title)
        self._type(8.2, colour=_SOFT)
        self._lines(" ".join(line.text for line in fact.lines))
        self.ln(0.8)
        for line in foot:
            self._lines(line)

    def _list(self, fact: Fact, x: float, width: float) -> None:
        self.set_x(x)
        self._type(10.4, bold=True, colour=self.identity.colour)
        self._lines(fact.title, x=x, width=width)
        self._type(9.4)
        for line in fact.lines:
            y = self.get_y()
            self._lines(line.text, x=x + 3.2, width=width - 3.2)
            if self.get_y() > y:
                self.set_fill_color(_INK)
                self.ellipse(x + 0.8, y + 1.6, 0.9, 0.9, style="F")
        self.ln(0.8)

    def _strip(self, strip: Strip) -> None:
        step = min(5.6, self.epw / len(strip.cells))
        y = self.get_y()
        self._type(6.8, colour=_SOFT)
        for place, (day, state) in enumerate(strip.cells):
            x = _MARGIN + place * step
            self._mark(state, x, y, step - 1.4)
            self.set_xy(x, y + step - 1.1)
            self.cell(step - 1.4, 2.8, str(day.day), align="C")
        self.set_xy(_MARGIN, y + step + 2.2)
        self._type(8.2, colour=_SOFT)
        x = _MARGIN
        for state, words in strip.key:
            self._mark(state, x, self.get_y() + 0.5, 2.7)
            self.set_x(x + 3.6)
            text = self._written(words)
            wide = self.get_string_width(text) + 2
            self.cell(wide, 3.8, text)
            x += wide + 7
        self.set_xy(_MARGIN, self.get_y() + 5.2)

    def _mark(self, state: str, x: float, y: float, size: float) -> None:
        """Form and colour both tell: filled square, crossed square, hollow circle."""
        self.set_line_width(0.3)
        if state == "expected":
            self.set_fill_color(_GOOD)
            self.rect(x, y, size, size, style="F")
        elif state == "missed":
            self.set_draw_color(_BAD)
            self.set_line_width(0.45)
            self.rect(x, y, size, size)
            inner = size * 0.22
            self.line(x + inner, y + inner, x + size - inner, y + size - inner)
            self.line(x + size - inner, y + inner, x + inner, y + size - inner)
        else:
            self.set_draw_color(_SOFT)
            self.ellipse(x, y, size, size)

    def _ways(self, site: SiteBlock) -> None:
        self._type(9)
        self.set_draw_color(_RULE)
        self.set_line_width(0.2)
        head = FontFace(emphasis="BOLD", color=_SOFT, size_pt=8.2)
        self.set_fill_color("#ffffff")
        with self.table(
            col_widths=(27, 33, 19, 21), text_align="LEFT", line_height=9 * _MM * _LEAD, headings_style=head,
            borders_layout=TableBordersLayout.HORIZONTAL_LINES, padding=(0.5, 2, 0.5, 0),
        ) as table:  # fmt: skip
            table.row([self._written(name) for name in site.ways_head])
            for way in site.ways:
                row = table.row()
                row.cell(self._written(way.name), style=FontFace(emphasis="BOLD"))
                row.cell(self._written(way.proven), style=FontFace(emphasis="BOLD", color=_BAD) if way.is_bad else None)
                row.cell(self._written(way.tests))
                row.cell(self._written(way.check_ins))
        self.ln(1)

    def _fact(self, fact: Fact) -> None:
        """Its title at the left, its statements beside it."""
        label = 38.0
        if self.get_y() > self.h - 30:
            self.add_page()
        top, page = self.get_y(), self.page
        self._type(9, bold=True)
        self._lines(fact.title, width=label - 3)
        below = self.get_y()
        self.set_y(top)
        for line in fact.lines:
            self._fact_line(line, _MARGIN + label, self.epw - label)
        self.set_y((self.get_y() if self.page > page else max(below, self.get_y())) + 0.9)

    def _fact_line(self, line: FactLine, x: float, width: float) -> None:
        self._type(9, bold=line.is_bad, colour=_BAD if line.is_bad else _INK)
        self._lines(line.text, x=x, width=width)
        if line.rows:
            self._type(8.4, colour=_SOFT)
            self._lines("; ".join([*line.rows, *([line.more] if line.more else [])]), x=x, width=width)

    def _lines(self, text: str, *, x: float = _MARGIN, width: float = 0.0) -> None:
        self.set_x(x)
        height = self.font_size_pt * _MM * _LEAD
        self.multi_cell(
            width or self.epw, height, self._written(text), align="L", new_x="LMARGIN", new_y="NEXT", padding=0
        )

    def _type(self, size: float, *, bold: bool = False, colour: str = _INK) -> None:
        self.set_font("report", "B" if bold else "", size)
        self.set_text_color(colour)

    def _rule(self, colour: str, width: float) -> None:
        self.set_draw_color(colour)
        self.set_line_width(width)
        self.line(_MARGIN, self.get_y(), self.w - _MARGIN, self.get_y())

    def _cut(self, text: str, width: float) -> str:
        shown = self._written(text)
        while shown and self.get_string_width(shown) > width - 4:
            shown = shown[:-2] + "…"
        return shown

    def _written(self, text: str) -> str:
        return "".join(sign if sign in self.signs else "\u2610" for sign in str(visible(text)))

    @staticmethod
    def _plain(text: str) -> str:
        """Our own words, safe inside a line with marks for bold."""
        return text.replace("**", "").replace("__", "").replace("--", "")
