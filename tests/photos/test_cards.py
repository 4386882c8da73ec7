"""The printed card against the standards it stands on."""

import re
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest
import zxingcpp
from PIL import Image

from flockcare.photos import cards

CODE = "fc1:K7M2QX94TB"
SHEETS_MM = {
    "A4": (210.0, 297.0),  # ISO 216
    "Letter": (215.9, 279.4),  # ANSI/ASME Y14.1, 8½ × 11 inches, from memory
}


def fine_card(code=CODE, per_mm=20, name=""):
    return np.asarray(cards.render_card(code, dpi=per_mm * cards.MM_PER_INCH, name=name))


@pytest.mark.parametrize(
    "code", ["a", CODE, "1234567890", "x" * 64, "Å" * 64, "卵" * 64, " two words "]
)
def test_an_independent_reader_reads_the_code_back(code):
    # ISO/IEC 18004, by a general-purpose reader.
    (found,) = zxingcpp.read_barcodes(cards.render_card(code))
    assert found.format == zxingcpp.BarcodeFormat.QRCode
    assert found.text == code


@pytest.mark.parametrize("code", ["", "x" * 65, None, 7])
def test_a_code_that_does_not_fit_is_refused(code):
    with pytest.raises(ValueError, match="1 to 64"):
        cards.render_card(code)
    with pytest.raises(ValueError, match="1 to 64"):
        cards.card_svg(code)


@pytest.mark.parametrize(("code", "modules"), [(CODE, 29), ("x" * 64, 37)])
def test_the_code_has_its_quiet_zone(code, modules):
    # ISO/IEC 18004: a version v symbol has 17 + 4 v modules a side and a quiet zone of four.
    # 64 bytes need version 5 at error correction level M; less takes version 3
    # (its table of capacities, from memory).
    x, y, side, _ = (round(20 * value) for value in cards.CODE_BOX)
    dark = np.argwhere(fine_card(code)[y : y + side, x : x + side] < 128)
    module = side / (modules + 8)
    assert dark.min(axis=0) == pytest.approx(4 * module, abs=1.5)
    assert dark.max(axis=0) + 1 == pytest.approx(side - 4 * module, abs=1.5)


@pytest.mark.parametrize("dpi", [150, 300, 600])
def test_the_picture_has_the_size_in_millimetres(dpi):
    image = cards.render_card(CODE, dpi=dpi)
    assert np.array(image.size) / dpi * 25.4 == pytest.approx([98.0, 52.5], abs=25.4 / dpi)
    assert image.info["dpi"] == (dpi, dpi)


@pytest.mark.parametrize("sheet", SHEETS_MM)
def test_ten_cards_and_the_ruler_fit_a_sheet_with_room_for_the_printer(sheet):
    width, height = SHEETS_MM[sheet]
    # Printers leave out 5 mm or so along the edges: common practice, no published source.
    assert width - 10 >= 2 * cards.WIDTH
    assert height - 10 >= 6 + 5 * cards.HEIGHT  # the ruler takes 6 mm


def test_the_main_pad_of_a_large_hen_fits_the_window():
    # 25–35 mm across: common practice, no published source.
    assert min(cards.WINDOW[2:]) >= 35


@pytest.mark.parametrize("per_mm", [8, 20])
def test_a_marker_detector_finds_every_marker_where_it_is_said_to_be(per_mm):
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    detector = cv2.aruco.ArucoDetector(dictionary, settings)
    corners, numbers, _ = detector.detectMarkers(fine_card(per_mm=per_mm))
    assert sorted(numbers.ravel()) == list(range(len(cards.MARKERS)))
    for number, found in zip(numbers.ravel(), corners, strict=True):
        found_mm = (found.reshape(4, 2) + 0.5) / per_mm
        assert found_mm == pytest.approx(cards.marker_outline(number), abs=0.05)


def test_markers_stand_on_all_four_sides_of_the_window():
    x, y, width, height = cards.WINDOW
    corners = np.concatenate([cards.marker_outline(n) for n in range(len(cards.MARKERS))])
    assert corners.min(axis=0)[1] < y
    assert corners.max(axis=0)[0] > x + width
    assert corners.max(axis=0)[1] > y + height
    inside = (corners > (x, y)) & (corners < (x + width, y + height))
    assert not inside.all(axis=1).any()


def test_the_patch_reflects_as_much_as_a_photographers_grey_card():
    # 18 % of the light, by the curve of IEC 61966-2-1 (sRGB), from memory.
    x, y, width, height = cards.GREY_PATCH
    tone = fine_card()[round(20 * (y + height / 2)), round(20 * (x + width / 2))] / 255
    assert ((tone + 0.055) / 1.055) ** 2.4 == pytest.approx(0.18, abs=0.01)


def test_the_svg_draws_the_same_card():
    root = parsed(cards.card_svg(CODE))
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == (
        "98mm",
        "52.5mm",
        "0 0 98 52.5",
    )
    drawn = np.full((525, 980), 255, np.uint8)
    for path in root.iter("{http://www.w3.org/2000/svg}path"):
        tone = int(path.get("fill")[1:3], 16)
        for x, y, width, height in _boxes(path.get("d")):
            drawn[_pixels(y, height), _pixels(x, width)] = tone
    # Where both are cut to whole pixels, only edges may differ.
    expected = fine_card(per_mm=10)
    assert (np.abs(drawn.astype(int) - expected) > 128).mean() < 0.002


def parsed(svg):
    return ElementTree.fromstring(svg)  # noqa: S314 our own


def _boxes(path):
    number = r"(-?[\d.]+)"
    shape = re.compile(rf"M{number} {number}h{number}v{number}h-{number}z")
    assert shape.sub("", path) == ""
    return [tuple(map(float, found[:4])) for found in shape.findall(path)]


def _pixels(start, length):
    return slice(round(10 * start), round(10 * (start + length)))


def test_the_name_stands_in_its_own_box_and_nowhere_else():
    with_name, without = fine_card(name="Lovage & Savory"), fine_card()
    rows, columns = np.nonzero(with_name != without)
    x, y, width, height = (20 * value for value in cards.NAME_BOX)
    assert len(rows) > 100
    assert x <= columns.min() <= columns.max() < x + width
    assert y <= rows.min() <= rows.max() < y + height
    assert zxingcpp.read_barcodes(Image.fromarray(with_name))[0].text == CODE


def test_a_name_is_text_in_the_svg_whatever_is_in_it():
    svg = cards.card_svg(CODE, name='<Sorrel> & "Rue"')
    texts = parsed(svg).findall("{http://www.w3.org/2000/svg}text")
    assert [text.text for text in texts] == ['<Sorrel> & "Rue"']


def test_the_svg_obeys_a_strict_content_security_policy():
    svg = cards.card_svg(CODE, name="Rue")
    assert "style" not in svg
    assert "script" not in svg
