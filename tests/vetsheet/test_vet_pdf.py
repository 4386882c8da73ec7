"""The PDF as others read it: with two readers that had no part in writing it."""

import io
import re
from dataclasses import replace
from datetime import date

import numpy as np
import pypdf
import pypdfium2
import pypdfium2.raw as pdfium
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from PIL import Image

from flockcare.birds.models import Bird
from flockcare.care.situation import worked_out
from flockcare.photos import editing
from flockcare.vetsheet import pdf
from flockcare.vetsheet.gather import sheet
from flockcare.vetsheet.names import Names
from flockcare.vetsheet.records import Period, read, subjects
from tests.vetsheet.vet_rows import (
    BAR_MM,
    at,
    full_bird,
    many_records,
    measure,
    photo,
    step,
)

# What it says is read as for the page, whose tests run on each database.
pytestmark = pytest.mark.apart
TODAY = date(2026, 8, 25)
ALL = Period(None, TODAY)
DPI = 400  # Of the pages that are drawn here to be measured.
MM = 25.4 / 72  # A point is a 72nd of an inch (ISO 32000-1, 8.3.2.3; from memory).


@pytest.fixture
def bird(cast):
    return full_bird(cast.flock, cast.owner, cast.keeper)


def made(bird, period=ALL):
    bird = subjects(bird.flock).select_related("flock").get(pk=bird.pk)
    stands = worked_out(bird.flock, TODAY)
    return sheet(read(bird, period), stands, Names(), made_on=TODAY, made_by="Owner")


def written(bird, paper="a4") -> bytes:
    return pdf.write(made(bird), paper)


def text_of(file: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(file)).pages
    return flat("\n".join(page.extract_text() for page in pages))


def flat(text: str) -> str:
    return " ".join(text.split())


def words_of(found) -> list[str]:
    """Every word that the sheet says, in the order of the paper."""
    words = [found.title, found.period, found.made]
    words += [found.who, *found.now, *found.history]
    words += [text for group in found.key_photos.groups for text in _captions(group)]
    words += [text for fact in found.asked for text in (fact.label, fact.words)]
    words += [fact.words for fact in found.holds]
    words += ["Timeline", "Sore feet (bumblefoot)", found.looked]
    for case in found.cases:
        words += [case.title, case.facts, *(cell for row in case.looks.rows for cell in row)]
    words += [*(cell for row in found.measured.rows for cell in row), found.measured.note]
    for group in found.given:
        words += [group.what, *group.dates, *filter(None, [group.holds]), *group.remarks]
    words += [cell for row in found.signs.rows for cell in row]
    words += [found.weight, found.weights]
    words += [text for fact in found.identity for text in (fact.label, fact.words)]
    words += [text for fact in found.housing for text in (fact.label, fact.words)]
    words.append(found.photos.scale_words)
    for group in found.photos.groups:
        words.append(group.title)
        words += _captions(group)
    for scale in found.scales:
        words += [scale.name, *(one.wording for one in scale.steps), scale.source]
    return words + list(found.cautions)


def _captions(group) -> list[str]:
    return [text for one in group.photos for text in one.caption]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_word_can_be_selected_in_reading_order(bird, paper):
    """One after the other, each found behind the one before it."""
    found = made(bird)
    file = pdf.write(found, paper)
    # The foot of a page stands between two pages' words.
    foot = re.compile(re.escape(f"{found.title}. {found.period}. {found.made}") + r" Page \d of \d")
    text, place = foot.sub("", text_of(file)), 0
    for words in map(flat, words_of(found)):
        at_ = text.find(words, place)
        assert at_ >= 0, (words, text[place : place + 200])
        place = at_ + len(words)


def test_a_second_reader_finds_the_same_words(bird):
    document = pypdfium2.PdfDocument(written(bird))
    text = flat("\n".join(page.get_textpage().get_text_bounded() for page in document))
    for words in ("Łopian", "Jürgen says “she limps ≤ 2 steps”", "½ turn outwards", "40 ± 2 mm²"):
        assert words in text, words


def test_what_looks_like_markup_is_printed_as_it_was_typed(bird):
    step(bird, at(8, 3), "soaked", product="<b>salt</b> & <i>water", note="a\x07b </para> 5 < 6")
    text = text_of(written(bird))
    assert "“<b>salt</b> & <i>water”" in text and "“a☐b </para> 5 < 6”" in text
    assert "☐ stands for a letter that the font of this file has not got" in text


def test_letters_of_many_names():
    """European Latin, Greek and Cyrillic; what the font has not got is seen to be missing."""
    for name in (
        "Jürgen",
        "Łopian",
        "Žofie",
        "Åse",
        "Gülşah",
        "Ioană",
        "Θάλεια",
        "Оксана",
        "½≤≥±²→",
    ):
        assert pdf._known(name) == name
    assert pdf._known("½≤≥±²→“”’–…") == "½≤≥±²→“”’–…"
    assert pdf._known("鶏 hen") == "☐ hen"
    # As a keyboard may send it in two signs; and signs that only say how others are joined.
    assert pdf._known("Ju\u0308rgen") == "Jürgen"
    assert pdf._known("❤\ufe0f a\u200bb") == "☐ ab"


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_font_is_inside(bird, paper):
    """ISO 32000-1, 9.9: FontFile2 is a TrueType font program (from memory)."""
    for page in pypdf.PdfReader(io.BytesIO(written(bird, paper))).pages:
        fonts = page["/Resources"]["/Font"]
        assert fonts
        for font in fonts.values():
            font = font.get_object()
            parts = font.get("/DescendantFonts", [font])
            for part in parts:
                assert len(part.get_object()["/FontDescriptor"]["/FontFile2"].get_data()) > 1000
            assert "/ToUnicode" in font


@pytest.mark.parametrize(
    # ISO 216 A4, and 8 ½ × 11 in of ANSI/ASME Y14.1, size A (from memory).
    ("paper", "size"),
    [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))],
)
def test_paper(bird, paper, size):
    reader = pypdf.PdfReader(io.BytesIO(written(bird, paper)))
    assert 1 <= len(reader.pages) <= 3
    for page in reader.pages:
        box = page.mediabox
        assert (float(box.width) * MM, float(box.height) * MM) == pytest.approx(size, abs=0.2)
    numbers = [
        re.search(r"Page (\d) of (\d)", page.extract_text()).groups() for page in reader.pages
    ]
    count = str(len(reader.pages))
    assert numbers == [(str(number), count) for number in range(1, len(reader.pages) + 1)]


def test_a_bird_without_records_takes_one_page(cast):
    bird = Bird.objects.create(flock=cast.flock, name="Nobody")
    assert len(pypdf.PdfReader(io.BytesIO(written(bird))).pages) == 1


def test_a_long_foot_of_the_page_stays_between_the_margins(cast):
    bird = Bird.objects.create(flock=cast.flock, name="Wintergreen " * 3)
    found = replace(made(bird), made="Made on 25 Aug 2026 by " + "Wintergreen of the mill, " * 6)
    page = pypdfium2.PdfDocument(pdf.write(found, "letter"))[0]
    words = page.get_textpage()
    boxes = [words.get_charbox(place) for place in range(words.count_chars())]
    right = max(box[2] for box in boxes)
    assert right <= page.get_width() - pdf.MARGIN + 1
    text = flat(words.get_text_bounded())
    assert re.search(r"Wintergreen.*… Page 1 of 1", text)


def test_no_heading_stands_alone_at_the_end_of_a_page(bird):
    """Pushed down line by line over more than a page."""
    bird.photo_set.all().delete()
    found = made(bird)
    headings = {
        "Sore feet (bumblefoot)",
        "Treatment so far",
        "Weight and background",
        "Housing",
        "What the scores mean",
    }
    for lines in range(70):
        pushed = replace(found, looked="A line of its own. " * 6 * lines)
        for page in pypdf.PdfReader(io.BytesIO(pdf.write(pushed, "a4"))).pages:
            text = page.extract_text().split("Vet sheet: Łopian. ")[0].strip()
            assert text.splitlines()[-1] not in headings, lines


def test_nothing_about_the_maker_is_hidden_in_the_file(bird):
    reader = pypdf.PdfReader(io.BytesIO(written(bird)))
    told = {key: str(value) for key, value in reader.metadata.items()}
    assert told["/Title"] == "Vet sheet: Łopian"
    assert not re.search("owner|keeper|hill flock", " ".join(told.values()), re.IGNORECASE)
    assert reader.trailer["/Root"]["/Lang"] == "en-GB"


def test_the_timeline_is_drawn_and_no_picture(bird):
    """A bird without photos has no image in her file, but hundreds of strokes."""
    bird.photo_set.all().delete()
    document = pypdfium2.PdfDocument(written(bird))
    kinds = [thing.type for page in document for thing in page.get_objects()]
    assert pdfium.FPDF_PAGEOBJ_IMAGE not in kinds
    assert kinds.count(pdfium.FPDF_PAGEOBJ_PATH) > 60


# --- Photos


def pictures(file: bytes) -> list[tuple[tuple[float, float], tuple[int, int]]]:
    """Size on paper in mm and in pixels of each image, in the order of drawing."""
    document = pypdfium2.PdfDocument(file)
    found = []
    for page in document:
        for image in page.get_objects(filter=[pdfium.FPDF_PAGEOBJ_IMAGE]):
            left, bottom, right, top = image.get_bounds()
            found.append((((right - left) * MM, (top - bottom) * MM), image.get_px_size()))
    return found


def drawn_pictures(file: bytes) -> list[np.ndarray]:
    """What stands on the paper where each image is, in grey, at DPI."""
    pieces = []
    for page in pypdfium2.PdfDocument(file):
        images = list(page.get_objects(filter=[pdfium.FPDF_PAGEOBJ_IMAGE]))
        drawn = np.asarray(page.render(scale=DPI / 72).to_pil().convert("L")) if images else None
        for image in images:
            left, bottom, right, top = (place * DPI / 72 for place in image.get_bounds())
            high = page.get_height() * DPI / 72
            rows = slice(round(high - top), round(high - bottom))
            pieces.append(drawn[rows, round(left) : round(right)])
    return pieces


@pytest.fixture
def bare(cast):
    """A hen of whom there is nothing yet."""
    return Bird.objects.create(flock=cast.flock, name="Bare")


@pytest.mark.parametrize(
    ("size", "px_per_mm"),
    [((640, 480), 8.0), ((2400, 1800), 30.0), ((3200, 2400), 40.0)],
    ids=["small", "of the largest size", "from the original"],
)
@pytest.mark.parametrize("turns", [0, 1])
def test_a_known_length_is_as_long_as_said_on_paper(bare, size, px_per_mm, turns):
    """A bar of 20 mm, printed, found in the drawn page and measured."""
    taken = photo(bare, at(8, 1), size=size, px_per_mm=px_per_mm, quarter_turns=0)
    measure(taken, px_per_mm=px_per_mm)
    if turns:
        # Also where the photo is shown turned, as keepers turn it.
        editing.turn(photo=taken, keeper=None, quarter_turns=turns)
    found = made(bare)
    scale = found.photos.paper_mm_per_cm / 10
    file = pdf.write(found, "a4")
    ((box, _),) = pictures(file)
    assert box == pytest.approx((found.photos.box_mm, found.photos.box_mm), abs=0.05)
    assert f"{found.photos.paper_mm_per_cm:g} mm on paper are 1 cm" in found.photos.scale_words
    (piece,) = drawn_pictures(file)
    # Without the scale bar at the lower edge.
    dark = piece[: int(len(piece) * 0.85)] < 100
    long, thick = (BAR_MM[0] * scale, BAR_MM[1] * scale)
    if turns:
        long, thick = thick, long
    across = np.flatnonzero(dark.any(axis=0))
    down = np.flatnonzero(dark.any(axis=1))
    mm = 25.4 / DPI
    # An edge is no sharper than a pixel of the photo, nor than one of this drawing.
    blur = max(0.2, scale / px_per_mm + mm)
    assert (np.ptp(across) + 1) * mm == pytest.approx(long, abs=blur)
    assert (np.ptp(down) + 1) * mm == pytest.approx(thick, abs=blur)
    # The sore lies in the middle.
    assert (across[0] + across[-1]) / 2 * mm == pytest.approx(box[0] / 2, abs=0.2)


def test_the_bar_is_a_centimetre_of_the_foot(bare):
    measure(photo(bare, at(8, 1)))
    found = made(bare)
    (piece,) = drawn_pictures(pdf.write(found, "a4"))
    low = piece[int(len(piece) * 0.9) :] < 100
    longest = max(low.sum(axis=1)) * 25.4 / DPI
    assert longest == pytest.approx(found.photos.paper_mm_per_cm, abs=0.4)


def test_resolution_is_fit_for_print_and_never_blown_up(bare):
    sizes = [(3200, 2400), (1200, 900), (200, 150)]
    for number, size in enumerate(sizes):
        photo(bare, at(8, number + 1), seed=number, size=size)
    measure(photo(bare, at(8, 9), seed=9, size=(3200, 2400), px_per_mm=40), px_per_mm=40)
    found = pictures(written(bare))
    assert len(found) == 4
    for (width_mm, _), (width, height) in found:
        dpi = width / (width_mm / 25.4)
        assert dpi <= 301 and (dpi >= 200 or (width, height) == (200, 150))
    # The small one has no more pixels than it came with.
    assert found[2][1] == (200, 150)


def test_a_photo_too_coarse_for_the_scale_keeps_its_pixels(bare):
    """At 4 pixels a mm there is nothing to print finer than that."""
    measure(photo(bare, at(8, 1), size=(480, 360), px_per_mm=4), px_per_mm=4)
    ((_, (width, height)),) = pictures(written(bare))
    assert width == height == round(made(bare).photos.span_mm * 4)


@pytest.mark.parametrize("left", [b"", b"\xff\xd8 no photo", None])
def test_a_photo_whose_file_is_lost_is_said(bare, left):
    taken = photo(bare, at(8, 1))
    for path in map(taken.path, (240, 800, 1600, None)):
        default_storage.delete(path)
        if left is not None:
            default_storage.save(path, ContentFile(left))
    assert "This photo’s file is missing or damaged." in text_of(written(bare))


def test_photos_stay_jpegs(bare):
    photo(bare, at(8, 1), size=(1200, 900))
    (page,) = (page for page in pypdf.PdfReader(io.BytesIO(written(bare))).pages if page.images)
    (image,) = page.images
    assert Image.open(io.BytesIO(image.data)).format == "JPEG"
    filters = page["/Resources"]["/XObject"].values()
    assert [str(one.get_object()["/Filter"]) for one in filters] == ["['/DCTDecode']"]


# --- Long histories


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_ten_years_say_what_is_left_out(bird, paper):
    many_records(bird, years=10, photos=40)
    found = made(bird)
    file = pdf.write(found, paper)
    text = text_of(file)
    assert len(pypdf.PdfReader(io.BytesIO(file)).pages) <= 4
    # Those of the record, and that on top.
    assert len(pictures(file)) == 25
    told = [
        found.photos.left_out,
        found.other_cases.left_out,
        *(case.looks.left_out for case in found.cases),
    ]
    assert "24 of 43 photos are printed" in told[0] and told[1]
    for words in filter(None, told):
        assert flat(words) in text


# --- As an answer


def test_the_file_comes_under_her_name_and_is_not_kept(cast, bird):
    answer = cast.clients.viewer.get(
        f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/sheet.pdf?paper=letter"
    )
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert "filename*=utf-8''Vet%20sheet%20%C5%81opian%20" in answer.headers["Content-Disposition"]
    assert answer.content.startswith(b"%PDF-")
    assert float(pypdf.PdfReader(io.BytesIO(answer.content)).pages[0].mediabox.width) == 612


def test_no_other_paper(cast, bird):
    address = f"/f/{cast.flock.pk}/birds/{bird.pk}/vet/sheet.pdf?paper=a0"
    assert cast.clients.owner.get(address).status_code == 404
