"""The suggested outline on drawn and painted pictures; areas and overlaps by shapely."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFilter
from shapely.geometry import Point, Polygon

from flockcare.photos import outline
from flockcare.photos.outline import NoOutline, simplify, suggest_outline
from tests.photos.scenes import bare_foot, painted_foot

pytestmark = pytest.mark.apart

SKIN, SCAB, RAW = (205, 170, 105), (60, 44, 36), (196, 112, 98)


def drawn(points, size=(640, 480), skin=SKIN, scab=SCAB):
    """A scab with smooth edges, drawn four times as large and reduced."""
    large = Image.new("RGB", (size[0] * 4, size[1] * 4), skin)
    ImageDraw.Draw(large).polygon([(4 * x + 1.5, 4 * y + 1.5) for x, y in points], fill=scab)
    return large.resize(size, Image.Resampling.BOX)


def overlap(found, truth):
    """Intersection over union."""
    found, truth = Polygon(found).buffer(0), Polygon(truth).buffer(0)
    return found.intersection(truth).area / found.union(truth).area


def circle(x, y, radius):
    return np.array(Point(x, y).buffer(radius, 64).exterior.coords)[:-1]


@pytest.mark.parametrize("radius", [12, 40, 120])
def test_a_round_scab_is_found_with_its_area(radius):
    truth = circle(300, 230, radius)
    found = suggest_outline(drawn(truth), (300 + radius / 3, 230)).outline
    assert Polygon(found).area == pytest.approx(Polygon(truth).area, rel=0.05)
    assert overlap(found, truth) > 0.95


def test_a_bay_in_the_scab_is_followed():
    ring = Point(320, 240).buffer(110).difference(Point(420, 240).buffer(60))
    truth = np.array(ring.exterior.coords)[:-1]
    found = suggest_outline(drawn(truth), (260, 240))
    assert overlap(found.outline, truth) > 0.95
    sore = Polygon(found.outline)
    bay = sore.convex_hull.area / sore.area - 1
    assert bay > 0.05
    # It may be dirt, or a reflection, and belong to the sore.
    assert found.spread > 0.9 * bay


def lit(picture, brightness):
    """A picture with each column of it as many times as bright as said."""
    pixels = np.asarray(picture) * np.asarray(brightness)[None, :, None]
    return Image.fromarray(np.clip(np.rint(pixels), 0, 255).astype(np.uint8))


def test_light_and_shade_are_not_taken_for_the_edge_of_a_raw_sore():
    truth = circle(300, 230, 60)
    bright = np.interp(np.arange(640), (290, 310), (1.05, 0.6))
    found = suggest_outline(lit(drawn(truth, scab=RAW), bright), (285, 230))
    assert overlap(found.outline, truth) > 0.95
    assert found.spread < 0.1


@pytest.mark.parametrize("blur", [2, 6])
def test_a_blurred_edge_is_drawn_half_way(blur):
    truth = circle(300, 230, 60)
    picture = drawn(truth, scab=RAW).filter(ImageFilter.GaussianBlur(blur))
    found = suggest_outline(picture, (300, 230)).outline
    assert Polygon(found).area == pytest.approx(Polygon(truth).area, rel=0.03)


def test_a_sore_washed_out_by_a_flash_is_not_outlined_in_part():
    bright = np.interp(np.arange(640), (280, 330), (1, 2))
    with pytest.raises(NoOutline) as refusal:
        suggest_outline(lit(drawn(circle(300, 230, 60), scab=RAW), bright), (280, 230))
    assert refusal.value.reason == outline.SHINES


def test_an_even_scab_is_beyond_doubt():
    found = suggest_outline(drawn(circle(300, 230, 60)), (320, 230))
    assert found.doubt == "" and found.spread < 0.05


def test_an_edge_of_few_pixels_is_doubted():
    assert suggest_outline(drawn(circle(300, 230, 9)), (300, 230)).doubt


def two_toned(part):
    """A round scab, half of which is paler: what grows from a tap may stop half way."""
    large = drawn(circle(300, 230, 60), scab=(48, 34, 28))
    for dx in range(-60, 61):
        for dy in range(-60, 61):
            if dx * dx + dy * dy < 59**2 and dx > part:
                large.putpixel((300 + dx, 230 + dy), (118, 92, 78))
    return large


@pytest.mark.parametrize("part", [-20, 0, 20])
@pytest.mark.parametrize("tap", [(270, 230), (330, 230)])
def test_a_scab_of_two_tones_is_found_whole_or_doubted(part, tap):
    found = suggest_outline(two_toned(part), tap)
    off = Polygon(found.outline).area / Polygon(circle(300, 230, 60)).area - 1
    assert abs(off) < 0.1 or found.doubt or abs(off) <= found.spread


def test_a_ragged_edge_is_doubted():
    star = [
        (300 + r * np.cos(a), 230 + r * np.sin(a))
        for a, r in zip(np.linspace(0, 2 * np.pi, 25)[:-1], [90, 35] * 12, strict=True)
    ]
    assert suggest_outline(drawn(star), (300, 230)).doubt


@pytest.mark.parametrize("scab", [SCAB, (110, 70, 44)])
def test_a_reflection_in_the_scab_is_not_taken_for_it(scab):
    picture = drawn(circle(300, 230, 60), scab=scab)
    ImageDraw.Draw(picture).ellipse((285, 220, 315, 240), fill=(252, 250, 246))
    with pytest.raises(NoOutline) as refusal:
        suggest_outline(picture, (300, 230))
    assert refusal.value.reason == outline.SHINES
    beside = suggest_outline(picture, (300, 265)).outline
    assert overlap(beside, circle(300, 230, 60)) > 0.93


def test_a_faint_rim_widens_the_spread():
    # The right third of the skin is nearly as dark as the scab: there its edge is faint.
    picture = drawn(circle(300, 230, 60))
    ImageDraw.Draw(picture).rectangle((335, 0, 640, 480), fill=(100, 76, 62))
    ImageDraw.Draw(picture).ellipse((240, 170, 360, 290), fill=SCAB)
    clear = suggest_outline(drawn(circle(300, 230, 60)), (290, 230))
    found = suggest_outline(picture, (290, 230))
    assert found.doubt and found.spread > clear.spread + 0.03


def test_painted_sores_are_found():
    overlaps = []
    for seed in range(1000, 1016):
        image, truth, tap, _ = painted_foot(seed, size=(800, 600))
        try:
            found = suggest_outline(image, tap).outline
        except NoOutline:
            overlaps.append(0.0)
            continue
        assert 3 <= len(found) <= 60
        assert Polygon(found).is_valid
        overlaps.append(overlap(found, truth))
    assert np.median(overlaps) >= 0.9
    assert np.mean(np.array(overlaps) >= 0.8) >= 0.8


def test_bare_skin_gives_no_outline():
    refused = 0
    for seed in range(8):
        image, tap = bare_foot(seed, size=(800, 600))
        try:
            suggest_outline(image, tap)
        except NoOutline as refusal:
            assert refusal.reason == str(refusal)
            refused += 1
    assert refused >= 7


def test_the_same_tap_gives_the_same_outline():
    image, _, tap, _ = painted_foot(3, size=(800, 600))
    first, second = (suggest_outline(image, tap).outline for _ in range(2))
    assert np.array_equal(first, second)


@pytest.mark.parametrize("mode", ["RGB", "RGBA", "L", "CMYK", "P", "LA"])
def test_every_kind_of_picture_will_do(mode):
    truth = circle(300, 230, 60)
    picture = drawn(truth).convert("L" if mode == "LA" else mode)
    if mode == "LA":
        picture.putalpha(255)
    assert overlap(suggest_outline(picture, (300, 230)).outline, truth) > 0.93


@pytest.mark.parametrize("tap", [(-1, 10), (640, 10), (10, 480), (10, float("nan"))])
def test_a_tap_outside_the_picture_is_refused(tap):
    with pytest.raises(NoOutline, match="outside the photo"):
        suggest_outline(Image.new("RGB", (640, 480), SKIN), tap)


def test_an_even_picture_has_no_edge():
    with pytest.raises(NoOutline):
        suggest_outline(Image.new("RGB", (640, 480), SKIN), (320, 240))


def test_what_runs_out_of_the_picture_is_refused():
    picture = drawn([(320, -10), (700, -10), (700, 500), (320, 500)])
    with pytest.raises(NoOutline) as refusal:
        suggest_outline(picture, (500, 240))
    assert refusal.value.reason in (outline.TOO_LARGE, outline.UNCLEAR)


@pytest.mark.parametrize("radius", [2.5, 6])
def test_a_speck_is_too_small(radius):
    with pytest.raises(NoOutline) as refusal:
        suggest_outline(drawn(circle(300, 230, radius)), (300, 230))
    assert refusal.value.reason == outline.TOO_SMALL


def test_a_small_scab_in_a_large_picture_is_found():
    truth = circle(1500, 1000, 25)
    found = suggest_outline(drawn(truth, size=(3000, 2200)), (1505, 1000)).outline
    assert overlap(found, truth) > 0.93


def test_the_outline_stays_within_the_reach_given():
    truth = circle(320, 240, 30)
    found = suggest_outline(drawn(truth), (320, 240), reach_px=60).outline
    assert np.abs(found - (320, 240)).max() <= 61
    assert overlap(found, truth) > 0.95


def test_a_very_small_picture_is_refused_or_served_but_never_breaks():
    for size in ((1, 1), (3, 200), (20, 20)):
        with pytest.raises(NoOutline):
            suggest_outline(Image.new("RGB", size, SKIN), (0, 0))


# --- fewer points for dragging ----------------------------------------------------------------


def uneven(points):
    angle = np.linspace(0, 2 * np.pi, points, endpoint=False)
    radius = 100 + 12 * np.sin(3 * angle) + 5 * np.sin(7 * angle)
    return 200 + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])


@pytest.mark.parametrize("most", [20, 40, 60])
def test_simplify_keeps_the_shape_with_few_points(most):
    full = uneven(1000)
    few = simplify(full, most)
    assert 3 <= len(few) <= most
    assert Polygon(few).is_valid
    assert overlap(few, full) > 0.97


def test_simplify_leaves_a_short_outline_alone():
    assert simplify([(0, 0), (10, 0), (5, 8)]) == pytest.approx(
        np.array([(0, 0), (10, 0), (5, 8)], dtype=float)
    )


def test_simplify_needs_room_for_a_triangle():
    with pytest.raises(ValueError, match="three"):
        simplify(uneven(100), 2)


def test_the_edge_of_the_cards_window_is_not_taken_for_a_sore():
    # Skin of one colour in a white card: the window's edge is the only edge there is.
    picture = Image.new("RGB", (900, 700), "white")
    ImageDraw.Draw(picture).rectangle((300, 250, 600, 450), fill=SKIN)
    window = [(306, 256), (594, 256), (594, 444), (306, 444)]
    assert overlap(suggest_outline(picture, (450, 350)).outline, window) > 0.8
    with pytest.raises(NoOutline):
        suggest_outline(picture, (450, 350), within_px=window)
    # A sore in it is found as ever, and a tap beside the window is not confined.
    ImageDraw.Draw(picture).ellipse((430, 330, 480, 380), fill=(60, 45, 40))
    found = suggest_outline(picture, (455, 355), within_px=window).outline
    assert Polygon(found).area == pytest.approx(np.pi * 25**2, rel=0.1)


@pytest.mark.parametrize("name", ["UNCLEAR", "TOO_LARGE", "SHINES", "TOO_SMALL"])
def test_a_refusal_says_what_to_do_by_the_name_that_the_page_gives_it(name):
    words = getattr(outline, name)
    page = Path("templates/photos/measure.html").read_text()
    assert "choose Draw and go round" in words.replace("Choose", "choose")
    assert 'value="draw"> Draw</label>' in page
    assert "finger" not in words, "others have a mouse"
