"""The printed card that says which bird a photo shows and how large things in it are.

One description in millimetres (``layers``) is drawn twice: as a picture and as SVG. The card is
laid over the foot so that the pad shows through the window; square markers of known size stand
round the window on all four sides, so that every outline drawn in it lies between known points.

Symbol of the code: QR Code, ISO/IEC 18004, with its quiet zone of four modules.
Markers: the first twenty-one of OpenCV's predefined dictionary ``DICT_4X4_50``
(Garrido-Jurado et al. 2014, Pattern Recognition 47:2280–2292, from memory).
"""

from functools import cache
from xml.sax.saxutils import escape

import cv2
import numpy as np
import segno
from PIL import Image, ImageDraw, ImageFont

MM_PER_INCH = 25.4
LONGEST_CODE = 64

# All lengths below are millimetres from the card's top left corner, x to the right, y down.
# Ten cards of this size go on a sheet, A4 and Letter alike, two by five.
WIDTH, HEIGHT = 98.0, 52.5
WINDOW = (39.25, 8.75, 50.0, 35.0)  # x, y, width, height
CODE_BOX = (0.5, 8.25, 31.0, 31.0)  # holds the quiet zone too
QUIET = 4  # modules round the code
USUAL_VERSION = 3  # 29 × 29 modules: holds the key of a bird and a foot
NAME_BOX = (2.0, 39.5, 28.0, 5.0)
GREY_PATCH = (16.0, 45.0, 6.0, 6.0)
MARKER_SIDE = 6.0
MARKER_CELLS = 6  # four by four bits and a black border of one cell

BLACK, GREY, PALE, WHITE = 0, 119, 176, 255  # 119 in sRGB reflects about 18 % of the light
LINE = 0.2


def _marker_corners():
    top, bottom, left, right = 1.5, 45.0, 32.0, 90.5
    across = (left, 43.7, 55.4, 67.1, 78.8, right)
    top_and_bottom = [(x, y) for y in (top, bottom) for x in across]
    sides = [(x, y) for x in (left, right) for y in (12.4, 23.25, 34.1)]
    beside_the_code = [(1.5, top), (16.0, top), (1.5, bottom)]
    return tuple(top_and_bottom + sides + beside_the_code)


MARKERS = _marker_corners()
"""Top left corner (x, y) of each marker in mm; its place in the tuple is the marker's number."""
SPAN = tuple(
    max(place[way] for place in MARKERS) + MARKER_SIDE - min(place[way] for place in MARKERS)
    for way in (0, 1)
)
"""Over the outer edges of the outermost markers, (across, down) mm: what a ruler can check."""


def marker_outline(number):
    """Corners of one marker, (4, 2) mm: top left, top right, bottom right, bottom left."""
    x, y = MARKERS[number]
    side = MARKER_SIDE
    return np.array([(x, y), (x + side, y), (x + side, y + side), (x, y + side)])


@cache
def marker_dictionary():
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


def render_card(code, dpi=300, name=""):
    """Draw the card as a greyscale picture of WIDTH × HEIGHT mm at ``dpi`` dots per inch.

    code: 1 to 64 characters of text, else ValueError. name: printed below the code.
    """
    scale = dpi / MM_PER_INCH
    size = round(WIDTH * scale), round(HEIGHT * scale)
    picture = np.full(size[::-1], float(WHITE))
    for tone, rectangles in layers(code):
        cover = np.zeros_like(picture)
        for rectangle in rectangles:
            _add_cover(cover, [length * scale for length in rectangle])
        picture += (tone - picture) * np.minimum(cover, 1.0)
    image = Image.fromarray(np.rint(picture).astype(np.uint8))
    image.info["dpi"] = (dpi, dpi)
    if name:
        x, y, width, height = (value * scale for value in NAME_BOX)
        font = ImageFont.load_default(size=_name_size(name) * scale)
        place = (x + width / 2, y + height / 2)
        ImageDraw.Draw(image).text(place, name, fill=BLACK, font=font, anchor="mm")
    return image


def card_svg(code, name=""):
    """The same card as an SVG element (text) that prints at its true size.

    code: 1 to 64 characters of text, else ValueError. name: printed below the code.
    """
    paths = "".join(
        f'<path fill="#{tone:02x}{tone:02x}{tone:02x}" d="{"".join(map(_svg_box, rectangles))}"/>'
        for tone, rectangles in layers(code)
    )
    x, y, width, height = NAME_BOX
    size = _name_size(name)
    label = (
        f'<text x="{x + width / 2:g}" y="{y + height / 2 + size * 0.35:g}" font-size="{size:g}" '
        f'font-family="sans-serif" text-anchor="middle">{escape(name)}</text>'
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH:g}mm" height="{HEIGHT:g}mm" '
        f'viewBox="0 0 {WIDTH:g} {HEIGHT:g}" shape-rendering="geometricPrecision">'
        f"<title>{escape(name or code)}</title>"
        f'<rect width="{WIDTH:g}" height="{HEIGHT:g}" fill="#ffffff"/>'
        f"{paths}{label if name else ''}</svg>"
    )


def layers(code):
    """What is printed, bottom first: [(tone 0–255, [(x, y, width, height) in mm])].

    Rectangles of one layer do not overlap.
    """
    _check(code)
    markers = range(len(MARKERS))
    squares = [(*MARKERS[number], MARKER_SIDE, MARKER_SIDE) for number in markers]
    bits = [cell for number in markers for cell in _white_cells(number)]
    return [
        (PALE, [*_frame(0, 0, WIDTH, HEIGHT), *_frame(*WINDOW)]),
        (BLACK, squares + _code_modules(code)),
        (WHITE, bits),
        (GREY, [GREY_PATCH]),
    ]


def _check(code):
    if not isinstance(code, str) or not 1 <= len(code) <= LONGEST_CODE:
        raise ValueError(f"A card’s code is text of 1 to {LONGEST_CODE} characters.")


def _frame(x, y, width, height):
    """Four thin strips just inside a rectangle: where to cut."""
    return [
        (x, y, width, LINE),
        (x, y + height - LINE, width, LINE),
        (x, y + LINE, LINE, height - 2 * LINE),
        (x + width - LINE, y + LINE, LINE, height - 2 * LINE),
    ]


def _white_cells(number):
    cells = cv2.aruco.generateImageMarker(marker_dictionary(), number, MARKER_CELLS)
    x, y = MARKERS[number]
    return _boxes(cells > 0, x, y, MARKER_SIDE / MARKER_CELLS)


def _code_modules(code):
    symbol = symbol_of(code)
    matrix = np.array([list(row) for row in symbol.matrix_iter(border=QUIET)], dtype=bool)
    x, y, side, _ = CODE_BOX
    return _boxes(matrix, x, y, side / len(matrix))


def symbol_of(code):
    """The code's symbol, a ``segno.QRCode``: as well protected as its size allows.

    A shorter text gets no larger modules but more correction: dirt hides single modules.
    """
    # Outside ASCII a reader would have to guess the alphabet, so the symbol says it (ECI 26).
    alphabet = {} if code.isascii() else {"encoding": "utf-8", "eci": True}
    try:
        return segno.make(code, micro=False, error="m", version=USUAL_VERSION, **alphabet)
    except segno.DataOverflowError:
        return segno.make(code, micro=False, error="m", **alphabet)


def _boxes(filled, x, y, pitch):
    """Rectangles that fill the true cells of a grid, one for each run in a row."""
    boxes = []
    for row, cells in enumerate(filled):
        edges = np.flatnonzero(np.diff(np.concatenate(([0], cells.astype(int), [0]))))
        for start, stop in edges.reshape(-1, 2):
            boxes.append(
                (
                    float(x + start * pitch),
                    float(y + row * pitch),
                    float((stop - start) * pitch),
                    float(pitch),
                )
            )
    return boxes


def _add_cover(cover, rectangle):
    """Add how much of each pixel a rectangle (pixels) covers, so that edges fall where they are."""
    x, y, width, height = rectangle
    columns, across = _overlap(x, x + width, cover.shape[1])
    rows, down = _overlap(y, y + height, cover.shape[0])
    cover[rows, columns] += np.outer(down, across)


def _overlap(start, stop, count):
    first, last = int(start), min(int(np.ceil(stop)), count)
    left = np.arange(first, last)
    return slice(first, last), np.minimum(left + 1, stop) - np.maximum(left, start)


def _svg_box(rectangle):
    x, y, width, height = (round(value, 4) for value in rectangle)
    return f"M{x:g} {y:g}h{width:g}v{height:g}h{-width:g}z"


def _name_size(name):
    """Font size in mm at which a name fits its box; a letter is about 0.6 of it wide."""
    return min(NAME_BOX[3] - 0.5, NAME_BOX[2] / (0.6 * max(len(name), 1)))
