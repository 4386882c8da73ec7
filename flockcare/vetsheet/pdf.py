"""The sheet as a PDF: text that can be selected and searched, its font inside, photos to scale."""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from functools import cache
from html import escape

from font_source_sans_pro import font_files_ttf
from reportlab import rl_config
from reportlab.lib import pagesizes
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    KeepTogether,
    PageTemplate,
    Paragraph,
    Spacer,
    TableStyle,
)
from reportlab.platypus import Table as Grid

from flockcare.drawing.timeline_paper import (
    LEGEND,
    Box,
    Disc,
    Drawing,
    Line,
    Polygon,
    Shape,
    Words,
    lay_out,
)
from flockcare.vetsheet.pictures import Print, printed
from flockcare.vetsheet.sheet import (
    CaseSheet,
    Fact,
    Given,
    PhotoGroup,
    Photos,
    PrintPhoto,
    ScaleSheet,
    Table,
    VetSheet,
)

# A photo stays the JPEG that it is, without a quarter more for letters that mail could carry.
rl_config.useA85 = 0

# ISO 216 and ANSI/ASME Y14.1, in mm and inches (from memory), as the library has them.
PAPERS = {"a4": pagesizes.A4, "letter": pagesizes.LETTER}
MARGIN, FOOT = 14 * mm, 13 * mm
# What a heading needs for itself and the first lines of what it heads, if that may be split.
HEADED = 20 * mm
FONT, BOLD = "Sheet", "Sheet-Bold"
MISSING = "☐"
MISSING_WORDS = "stands for a letter that the font of this file has not got; the page shows it."
TONES = {
    "ink": "#000000",
    "muted": "#4a4a4a",
    "line": "#b5b5b5",
    "pale": "#f4f4f4",
    "soft": "#e4e4e4",
    "deep": "#c4c4c4",
    "paper": "#ffffff",
}
INK, MUTED, RULE, PALE = (HexColor(TONES[tone]) for tone in ("ink", "muted", "line", "pale"))
SMALL = 7.2
BODY = ParagraphStyle("body", fontName=FONT, fontSize=8.6, leading=10.6)
STYLES = {
    "body": BODY,
    "title": ParagraphStyle("title", BODY, fontName=BOLD, fontSize=17, leading=20),
    "strong": ParagraphStyle("strong", BODY, fontName=BOLD),
    "under": ParagraphStyle("under", BODY, textColor=MUTED, spaceAfter=3),
    "head": ParagraphStyle(
        "head", BODY, fontName=BOLD, fontSize=11, leading=13, spaceBefore=7, spaceAfter=2.5
    ),
    "sub": ParagraphStyle("sub", BODY, fontName=BOLD, spaceBefore=3, spaceAfter=1),
    "cell": ParagraphStyle("cell", BODY, fontSize=8, leading=9.4),
    "cell-head": ParagraphStyle("cell-head", BODY, fontName=BOLD, fontSize=7.4, leading=9),
    "small": ParagraphStyle("small", BODY, fontSize=SMALL, leading=8.8, textColor=MUTED),
    "caption": ParagraphStyle("caption", BODY, fontSize=SMALL, leading=8.6),
    "item": ParagraphStyle("item", BODY, leftIndent=8, firstLineIndent=-8, spaceAfter=1.5),
}
PLAIN = TableStyle(
    [
        # Else an empty cell asks for a font that is not in the file.
        ("FONTNAME", (0, 0), (-1, -1), FONT),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 1.2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.6),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 5),
    ]
)
# How wide the columns are beside each other.
COLUMNS = {
    **{"Date": 14, "Dates": 36, "By": 16, "Foot": 10},
    **{"Score": 8, "Clinical grade": 12, "What was seen": 54, "What": 48},
    **{"When": 25, "How": 65},
    **{"Area": 15, "Longest": 15, "Scaled by": 17, "Since the one before": 23},
}
RULED = TableStyle(
    [
        ("LINEBELOW", (0, 0), (-1, -1), 0.3, RULE),
        ("LINEBELOW", (0, 0), (-1, 0), 0.7, INK),
    ],
    parent=PLAIN,
)


def write(sheet: VetSheet, paper: str) -> bytes:
    """The whole file; ``paper`` is a key of PAPERS."""
    _register_fonts()
    size = PAPERS[paper]
    width = size[0] - 2 * MARGIN
    out = io.BytesIO()
    document = BaseDocTemplate(
        out,
        pagesize=size,
        title=sheet.title,
        author="",
        subject=sheet.period,
        creator="Flockcare",
        lang="en-GB",
        initialFontName=FONT,
    )
    frame = Frame(
        MARGIN, FOOT + 4 * mm, width, size[1] - MARGIN - FOOT - 4 * mm, 0, 0, 0, 0, id="page"
    )
    document.addPageTemplates(PageTemplate(frames=[frame]))
    document.build(
        list(_story(sheet, width)),
        canvasmaker=lambda *args, **kwargs: _Numbered(
            *args, footer=f"{sheet.title}. {sheet.period}. {sheet.made}", **kwargs
        ),
    )
    return out.getvalue()


@cache
def _register_fonts() -> None:
    for name, key in ((FONT, "SourceSansPro"), (BOLD, "SourceSansProBold")):
        pdfmetrics.registerFont(TTFont(name, font_files_ttf[key]))
    pdfmetrics.registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)


@cache
def _drawable() -> frozenset[int]:
    _register_fonts()
    return frozenset(code for code in pdfmetrics.getFont(FONT).face.charToGlyph if code >= 32)


def _known(text: str) -> str:
    """Letters that the font has not got are shown as such, and not left out.

    A mark typed after its letter joins it, for the font has the two as one.
    """
    known, text = _drawable(), unicodedata.normalize("NFC", text)
    return "".join(one if ord(one) in known else MISSING for one in text if not _unseen(one))


def _unseen(one: str) -> bool:
    """Signs without a shape of their own, which say how others are joined or coloured."""
    return unicodedata.category(one) == "Cf" or "\ufe00" <= one <= "\ufe0f"


def _fitting(text: str, size: float, room: float) -> str:
    """The text, or as much of its beginning as has room, in points."""
    if pdfmetrics.stringWidth(text, FONT, size) <= room:
        return text
    while text and pdfmetrics.stringWidth(f"{text}…", FONT, size) > room:
        text = text[:-1]
    return f"{text}…"


def _strings(value) -> Iterator[str]:
    """All words in a sheet, or in a part of it."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for one in value:
            yield from _strings(one)
    elif is_dataclass(value):
        for field in fields(value):
            yield from _strings(getattr(value, field.name))


class _Numbered(Canvas):
    """Writes the foot of each page when it is known how many there are."""

    def __init__(self, *args, footer: str, **kwargs):
        super().__init__(*args, **kwargs)
        self._footer, self._pages = _known(footer), []

    def showPage(self):
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self):
        count = len(self._pages)
        for number, page in enumerate(self._pages, start=1):
            self.__dict__.update(page)
            self._write_foot(number, count)
            super().showPage()
        super().save()

    def _write_foot(self, number: int, count: int) -> None:
        width = self._pagesize[0]
        self.setStrokeColor(RULE)
        self.setLineWidth(0.5)
        self.line(MARGIN, FOOT, width - MARGIN, FOOT)
        self.setFillColor(MUTED)
        self.setFont(FONT, SMALL)
        place = f"Page {number} of {count}"
        room = width - 2 * MARGIN - pdfmetrics.stringWidth(place, FONT, SMALL) - 4 * mm
        self.drawString(MARGIN, FOOT - 9, _fitting(self._footer, SMALL, room))
        self.drawRightString(width - MARGIN, FOOT - 9, place)


# --- Sections


def _story(sheet: VetSheet, width: float):
    yield _text(sheet.title, "title")
    yield _text(f"{sheet.period}. {sheet.made}", "under")
    yield _top(sheet, width)
    yield _facts(sheet.asked, width)
    yield from _eggs_and_meat(sheet, width)
    yield from _timeline(sheet, width)
    yield from _heading("Sore feet (bumblefoot)")
    yield _text(sheet.looked)
    for case in sheet.cases:
        yield from _case(case, width)
    if sheet.other_cases.rows:
        yield from _heading("Earlier cases in this period", "sub")
        yield from _table(sheet.other_cases, width)
    yield from _section("Measured sores", sheet.measured, width)
    if sheet.plans:
        yield from _heading(PLANS)
        yield from map(_group, sheet.plans)
    yield from _given(sheet)
    yield from _section("Other signs", sheet.signs, width)
    yield from _weights(sheet, width)
    yield from _housing(sheet)
    yield from _photos(sheet.photos, width)
    yield from _meanings(sheet)


PLANS = "Plans of care in force"


def _heading(words: str, style: str = "head"):
    yield CondPageBreak(HEADED)
    yield _text(words, style)


def _text(words: str, style: str = "body") -> Paragraph:
    return Paragraph(_escaped(words), STYLES[style])


def _labelled(label: str, words: str, style: str = "body") -> Paragraph:
    return Paragraph(f"<b>{_escaped(label)}:</b> {_escaped(words)}", STYLES[style])


def _escaped(words: str) -> str:
    return escape(_known(words), quote=False)


def _top(sheet: VetSheet, width: float) -> Grid:
    """What is read first, with the first and the latest photo of the foot beside it."""
    words = [_text(sheet.who, "strong"), *map(_text, (*sheet.now, *sheet.history))]
    shown = [photo for group in sheet.key_photos.groups for photo in group.photos]
    span = sheet.key_photos.span_mm if sheet.key_photos.paper_mm_per_cm else None
    box = sheet.key_photos.box_mm * mm + 5
    cells = [_photo(photo, sheet.key_photos, span) for photo in shown]
    widths = [width - box * len(cells), *[box] * len(cells)]
    return Grid([[words, *cells]], colWidths=widths, style=PLAIN, hAlign="LEFT")


def _facts(facts: tuple[Fact, ...], width: float) -> Grid:
    """Label and words in two columns of pairs, read row by row."""
    rows = [
        [_labelled(fact.label, fact.words) for fact in facts[at : at + 2]]
        for at in range(0, len(facts), 2)
    ]
    if len(rows[-1]) == 1:
        rows[-1].append("")
    return Grid(rows, colWidths=[width / 2] * 2, style=PLAIN, hAlign="LEFT")


def _eggs_and_meat(sheet: VetSheet, width: float):
    rows = [[_labelled(fact.label, fact.words)] for fact in sheet.holds]
    style = TableStyle(
        [("BOX", (0, 0), (-1, -1), 0.8, INK), ("LEFTPADDING", (0, 0), (-1, -1), 5)], parent=PLAIN
    )
    yield Spacer(0, 4)
    yield Grid(rows, colWidths=[width], style=style)


def _timeline(sheet: VetSheet, width: float):
    picture = _Picture(lay_out(sheet.timeline, width))
    yield KeepTogether([_text("Timeline", "head"), picture, _Legend(width)])


def _case(case: CaseSheet, width: float):
    head = [_text(case.title, "sub"), _text(case.facts, "cell"), Spacer(0, 1)]
    yield KeepTogether([*head, *_table(case.looks, width)])


def _section(title: str, table: Table, width: float):
    if table.rows:
        yield KeepTogether([_text(title, "head"), *_table(table, width)])


def _table(table: Table, width: float):
    if not table.rows:
        return
    rows = [[_text(head, "cell-head") for head in table.heads]]
    rows += [[_text(cell, "cell") for cell in row] for row in table.rows]
    shares = [COLUMNS[head] for head in table.heads]
    widths = [width * share / sum(shares) for share in shares]
    yield Grid(rows, colWidths=widths, style=RULED, repeatRows=1, hAlign="LEFT")
    if below := " ".join(filter(None, (table.left_out, table.note))):
        yield _text(below, "small")


def _given(sheet: VetSheet):
    yield from _heading("Treatment so far")
    if not sheet.given:
        yield _text("Nothing recorded in this period.")
    for group in sheet.given:
        yield _group(group)
    if sheet.given_left_out:
        yield _text(sheet.given_left_out, "small")


def _group(group: Given) -> Paragraph:
    words = "; ".join(filter(None, (*group.dates, group.holds, *group.remarks)))
    return _labelled(group.what, words, "item")


def _weights(sheet: VetSheet, width: float):
    pieces = [_text("Weight and background", "head"), _text(sheet.weight)]
    if sheet.weights:
        pieces.append(_text(f"{sheet.weights}.", "cell"))
    if sheet.weights_left_out:
        pieces.append(_text(sheet.weights_left_out, "small"))
    yield KeepTogether([*pieces, _facts(sheet.identity, width)])


def _housing(sheet: VetSheet):
    pieces = [_text("Housing", "head")]
    pieces += [_labelled(fact.label, fact.words, "cell") for fact in sheet.housing]
    if not sheet.housing:
        pieces.append(_text("The house in this period is not recorded."))
    if sheet.housing_left_out:
        pieces.append(_text(sheet.housing_left_out, "small"))
    yield KeepTogether(pieces)


def _photos(photos: Photos, width: float):
    head = [_text("Photos", "head"), _text(photos.scale_words)]
    if photos.left_out:
        head.append(_text(photos.left_out, "small"))
    span = photos.span_mm if photos.paper_mm_per_cm else None
    for group in photos.groups:
        rows = list(_photo_rows(group, photos, span, width))
        yield KeepTogether([*head, _text(group.title, "sub"), *rows[0]])
        yield from map(KeepTogether, rows[1:])
        head = []
    yield from head


def _photo_rows(group: PhotoGroup, photos: Photos, span: float | None, width: float):
    box = photos.box_mm * mm
    across = int((width + 3 * mm) // (box + 3 * mm))
    cells = [_photo(photo, photos, span) for photo in group.photos]
    for at in range(0, len(cells), across):
        row = cells[at : at + across]
        row += [""] * (across - len(row))
        gap = (width - across * box) / max(1, across - 1)
        grid = Grid([row], colWidths=[box + gap] * (across - 1) + [box], hAlign="LEFT", style=PLAIN)
        yield [grid, Spacer(0, 3)]


def _photo(photo: PrintPhoto, photos: Photos, span: float | None) -> list[Flowable]:
    found = printed(photo, box_mm=photos.box_mm, span_mm=span)
    bar = photos.paper_mm_per_cm if photo.measured else None
    picture = _Photo(found, photos.box_mm, bar)
    return [picture, *(_text(words, "caption") for words in photo.caption)]


def _meanings(sheet: VetSheet):
    pieces = [_text("What the scores mean", "head")]
    for scale in sheet.scales:
        pieces += _scale(scale)
    yield KeepTogether(pieces)
    yield Spacer(0, 3)
    yield _text(" ".join(sheet.cautions), "small")
    if any(MISSING in _known(words) for words in _strings(sheet)):
        yield _text(f"{MISSING} {MISSING_WORDS}", "small")


def _scale(scale: ScaleSheet) -> list[Flowable]:
    parts = [f"<b>{_escaped(scale.name)}.</b>"]
    parts += [f"<b>{_escaped(one.step)}</b> {_escaped(one.wording)}" for one in scale.steps]
    return [
        Paragraph(" ".join(parts), STYLES["cell"]),
        _text(f"Source: {scale.source}.", "small"),
    ]


# --- Drawings


class _Picture(Flowable):
    """A drawing of shapes, y downwards."""

    def __init__(self, shown: Drawing):
        super().__init__()
        self.shown, self.width, self.height = shown, shown.width, shown.height

    def wrap(self, *_):
        return self.width, self.height

    def draw(self):
        for shape in (*self.shown.names, *self.shown.shapes):
            _draw(self.canv, shape, self.height)


class _Legend(Flowable):
    """The signs and their meanings, as many in a line as fit."""

    LINE = 11.0

    def __init__(self, width: float):
        super().__init__()
        self.width = width
        self.places, x, y = [], 0.0, self.LINE
        for words, shapes in LEGEND:
            long = 12 + pdfmetrics.stringWidth(words, FONT, SMALL) + 10
            if x and x + long > width:
                x, y = 0.0, y + self.LINE
            self.places.append((x, y, words, shapes))
            x += long
        self.height = y + 2

    def wrap(self, *_):
        return self.width, self.height

    def draw(self):
        for x, y, words, shapes in self.places:
            self.canv.saveState()
            self.canv.translate(x, self.height - y)
            for shape in shapes:
                _draw(self.canv, shape, 8)
            self.canv.restoreState()
            _draw(self.canv, Words(x + 12, y - 1.5, words, SMALL, tone="muted"), self.height)


class _Photo(Flowable):
    """A photo in its square, with a bar of one centimetre of the foot where it is to scale."""

    def __init__(self, found: Print | None, box_mm: float, bar_mm: float | None):
        super().__init__()
        self.found, self.bar = found, bar_mm and bar_mm * mm
        self.box = box_mm * mm
        self.height = found.height_mm * mm if found else 20 * mm

    def wrap(self, *_):
        return self.box, self.height + 2

    def draw(self):
        canvas = self.canv
        if self.found is None:
            for number, words in enumerate(("This photo’s file is missing", "or damaged.")):
                _draw(canvas, Words(0, 12 + 9 * number, words, SMALL), self.height)
            return
        width = self.found.width_mm * mm
        canvas.drawImage(ImageReader(io.BytesIO(self.found.jpeg)), 0, 2, width, self.height)
        if self.bar:
            _draw_bar(canvas, 4, 6, self.bar)


def _draw_bar(canvas: Canvas, x: float, y: float, length: float) -> None:
    """Black on white, so that it shows on light and on dark."""
    canvas.setFillColor(HexColor(TONES["paper"]))
    canvas.rect(x - 2, y - 2, length + 4, 12, stroke=0, fill=1)
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(1)
    canvas.line(x, y, x + length, y)
    for end in (x, x + length):
        canvas.line(end, y - 1.2, end, y + 2)
    canvas.setFillColor(INK)
    canvas.setFont(FONT, 6.5)
    canvas.drawCentredString(x + length / 2, y + 2.4, "1 cm")


def _draw(canvas: Canvas, shape: Shape, height: float) -> None:
    canvas.saveState()
    match shape:
        case Line():
            _stroke(canvas, shape.tone, shape.width, shape.dash)
            canvas.line(shape.x1, height - shape.y1, shape.x2, height - shape.y2)
        case Box():
            _stroke(canvas, shape.stroke or "ink", 0.6, shape.dash)
            if shape.fill:
                canvas.setFillColor(HexColor(TONES[shape.fill]))
            bottom = height - shape.y - shape.height
            look = {"stroke": int(bool(shape.stroke)), "fill": int(bool(shape.fill))}
            canvas.rect(shape.x, bottom, shape.width, shape.height, **look)
        case Disc():
            _disc(canvas, shape, height)
        case Polygon():
            path = canvas.beginPath()
            (x, y), *others = shape.points
            path.moveTo(x, height - y)
            for x, y in others:
                path.lineTo(x, height - y)
            path.close()
            canvas.setFillColor(HexColor(TONES[shape.tone]))
            canvas.drawPath(path, stroke=0, fill=1)
        case Words():
            canvas.setFillColor(HexColor(TONES[shape.tone]))
            canvas.setFont(BOLD if shape.bold else FONT, shape.size)
            write = canvas.drawCentredString if shape.anchor == "middle" else canvas.drawString
            write(shape.x, height - shape.y, _known(shape.text))
    canvas.restoreState()


def _stroke(canvas: Canvas, tone: str, width: float, dash: tuple[float, ...]) -> None:
    canvas.setStrokeColor(HexColor(TONES[tone]))
    canvas.setLineWidth(width)
    if dash:
        canvas.setDash(list(dash))


def _disc(canvas: Canvas, disc: Disc, height: float) -> None:
    x, y, radius = disc.x, height - disc.y, disc.radius
    canvas.setLineWidth(0.8)
    canvas.setStrokeColor(INK)
    canvas.setFillColor(INK if disc.filled == 1 else HexColor(TONES["paper"]))
    canvas.circle(x, y, radius, stroke=1, fill=1)
    if disc.filled == 0.5:
        path = canvas.beginPath()
        path.moveTo(x, y - radius)
        path.arcTo(x - radius, y - radius, x + radius, y + radius, -90, 180)
        path.close()
        canvas.setFillColor(INK)
        canvas.drawPath(path, stroke=0, fill=1)
