"""Scale from the card and from a known length, on computed photos, against outside sizes."""

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image
from shapely import affinity
from shapely.geometry import Point, Polygon, box

from flockcare.photos import cards, scale
from flockcare.photos.scale import CannotMeasure, from_known_length, read_card, refusals
from tests.photos import scenes
from tests.photos.scenes import Scene

pytestmark = pytest.mark.apart

CODE = "fc1:K7M2QX94TB"
ID_1_MM = (85.60, 53.98)  # ISO/IEC 7810, identification cards, size ID-1
A8_MM, A9_MM = (52.0, 74.0), (37.0, 52.0)  # ISO 216, A series


def rectangle(width, height, middle=scenes.CARD_MIDDLE):
    half = np.array([width, height]) / 2
    return middle + half * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])


def photo_of(**how):
    scene = Scene(code=CODE, turn=25, tilt_towards=160, **how)
    return scene, scenes.render(scene)


@pytest.fixture(scope="module")
def tilted():
    scene, photo = photo_of(tilt=25, defocus=0.3)
    return scene, photo, read_card(photo)


@pytest.mark.parametrize("size_mm", [ID_1_MM, A8_MM[::-1], A9_MM])
def test_sizes_of_international_standards_come_out_right(tilted, size_mm):
    scene, _, view = tilted
    corners = view.to_mm(scenes.project(scene, rectangle(*size_mm)))
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    assert sides == pytest.approx([*size_mm, *size_mm], rel=0.01)
    assert Polygon(corners).area == pytest.approx(size_mm[0] * size_mm[1], rel=0.02)


def test_an_area_with_a_bay_comes_out_as_a_geometry_library_has_it(tilted):
    scene, _, view = tilted
    shape = Point(0, 0).buffer(12).difference(box(0, -3, 20, 3)).union(box(-16, -2, -8, 2))
    shape = affinity.translate(affinity.rotate(shape, 40), *scenes.WINDOW_MIDDLE)
    pixels = scenes.project(scene, np.array(shape.exterior.coords)[:-1])
    assert Polygon(view.to_mm(pixels)).area == pytest.approx(shape.area, rel=0.02)


def test_points_come_out_where_they_lie_on_the_card(tilted):
    scene, _, view = tilted
    points = np.array([(42.0, 12.0), (86.0, 12.0), (64.0, 32.0), (2.0, 2.0)])
    assert view.to_mm(scenes.project(scene, points)) == pytest.approx(points, abs=0.3)
    assert view.to_mm(np.empty((0, 2))).shape == (0, 2)


def test_a_warp_by_another_library_is_undone():
    # The picture library's own perspective transform stands in for the camera.
    per_mm, shift = 8, 200
    card = cards.render_card(CODE, dpi=per_mm * cards.MM_PER_INCH)
    sheet = Image.new("L", (1200, 1000), 120)
    sheet.paste(card, (shift, shift))
    back = (1.1, 0.15, -60.0, -0.08, 1.05, 10.0, 2e-4, -1e-4)
    photo = sheet.transform(sheet.size, Image.Transform.PERSPECTIVE, back, Image.Resampling.BICUBIC)
    view = read_card(photo)
    forward = np.linalg.inv(np.array([*back, 1.0]).reshape(3, 3))
    corners = rectangle(20, 10, scenes.WINDOW_MIDDLE)
    seen = np.column_stack([corners * per_mm + shift, np.ones(4)]) @ forward.T
    found = view.to_mm(seen[:, :2] / seen[:, 2:])
    assert view.code == CODE
    assert Polygon(found).area == pytest.approx(200.0, rel=0.01)


@pytest.mark.parametrize("mode", ["L", "RGB", "RGBA", "CMYK", "P", "1", "LA", "I;16", "I", "F"])
def test_every_kind_of_picture_is_read(tilted, mode):
    _, photo, _ = tilted
    if mode.startswith("I;16"):
        photo = Image.fromarray(np.asarray(photo).astype(np.uint16) * 257)
    elif mode == "LA":
        photo = photo.convert("L")
        photo.putalpha(255)
    else:
        photo = photo.convert(mode)
    assert photo.mode == mode
    assert read_card(photo).code == CODE


@pytest.mark.parametrize("tilt", [0, 15, 30, 40])
@pytest.mark.parametrize("size", [(1600, 1200), (4000, 3000)])
def test_tilt_distance_and_error_are_as_they_were_made(tilt, size):
    scene, photo = photo_of(tilt=tilt, size=size, aside=(0.1, -0.15))
    view = read_card(photo)
    error = Polygon(view.to_mm(scenes.project(scene, scene.sore))).area / Polygon(scene.sore).area
    assert view.tilt_degrees == pytest.approx(tilt, abs=1.5)
    assert view.distance_mm == pytest.approx(np.linalg.norm(scene.position()), rel=0.06)
    assert view.pixels_per_mm == pytest.approx(scenes.pixels_per_mm(scene), rel=0.03)
    assert abs(error - 1) <= view.plane_error < 0.03
    assert view.relative_area_error < 0.075  # a printer nobody checked


def test_a_picture_of_eighty_megapixels_is_read_as_the_same_picture():
    scene, photo = photo_of(tilt=20, size=(1600, 1200))
    huge = photo.resize((10320, 7740), Image.Resampling.BICUBIC)
    view = read_card(huge)
    factor = 10320 / 1600
    outline = (scenes.project(scene, scene.sore) + 0.5) * factor - 0.5
    assert Polygon(view.to_mm(outline)).area == pytest.approx(Polygon(scene.sore).area, rel=0.02)


def test_fingers_a_reflection_and_a_shadow_are_borne():
    scene, photo = photo_of(
        tilt=20,
        covers=((36, 32, 6), (92, 45, 7)),
        glares=((64, 4, 10),),
        shadow=(30, 5, 0.4),
        barrel=0.02,
        electrons=500,
        jpeg=65,
    )
    view = read_card(photo)
    area = Polygon(view.to_mm(scenes.project(scene, scene.sore))).area
    assert area == pytest.approx(Polygon(scene.sore).area, rel=0.02)


REFUSED = {
    "tilted": ({"tilt": 55}, refusals.TOO_TILTED, CODE),
    "small": ({"distance": 420}, refusals.TOO_SMALL, CODE),
    "blurred": ({"motion": 1.2}, refusals.TOO_BLURRED, CODE),
    "bent": ({"sag": -12, "tilt": 25, "sag_along": 20}, refusals.TOO_BENT, CODE),
    "creased": ({"crease": (35, 5, 20), "tilt": 20}, refusals.TOO_BENT, CODE),
    "covered": (
        {"covers": tuple((x + 4, y + 4, 5) for x, y in cards.MARKERS if x > 50)},
        refusals.TOO_COVERED,
        CODE,
    ),
}


@pytest.mark.parametrize("why", REFUSED)
def test_what_must_not_be_measured_is_refused_with_its_reason(why):
    how, reason, code = REFUSED[why]
    _, photo = photo_of(**how)
    with pytest.raises(CannotMeasure) as refusal:
        read_card(photo)
    assert refusal.value.reason == str(refusal.value) == reason
    assert refusal.value.code == code


def test_two_cards_in_one_picture_are_refused():
    both = Image.new("L", (2000, 800), 90)
    for number, left in enumerate((20, 1020)):
        both.paste(cards.render_card(f"{CODE}{number}", dpi=9.5 * 25.4), (left, 80))
    with pytest.raises(CannotMeasure) as refusal:
        read_card(both)
    assert refusal.value.reason == refusals.TWO_CARDS


def test_a_smaller_card_beside_a_large_one_is_noticed():
    both = Image.new("L", (4000, 3000), 90)
    both.paste(cards.render_card(f"{CODE}1", dpi=25 * 25.4), (60, 80))
    both.paste(cards.render_card(f"{CODE}2", dpi=7 * 25.4), (3000, 2200))
    with pytest.raises(CannotMeasure) as refusal:
        read_card(both)
    assert refusal.value.reason == refusals.TWO_CARDS


# --- bent paper and lenses ------------------------------------------------------------------------


def on_the_paper(scene):
    """True area of the sore, and the pixels where it is seen drawn along the paper."""
    return Polygon(scene.sore).area, scenes.project_paper(scene, scene.sore)


@pytest.mark.parametrize("sag", [-6, 6])  # a radius of 20 cm
def test_a_bent_card_is_measured_along_its_paper(sag):
    aside = scenes.ellipse(6, 5) + np.array([14.0, -6.0])
    scene, photo = photo_of(sag=sag, sag_along=30, tilt=25, distance=170, sore=aside)
    view = read_card(photo)
    true, seen = on_the_paper(scene)
    assert Polygon(view.to_mm(seen)).area == pytest.approx(true, rel=0.006)
    # A sore that lies flat below it is off by more, which the stated error knows.
    flat = Polygon(view.to_mm(scenes.project(scene, scene.sore))).area / true - 1
    assert 0.01 < abs(flat) <= view.plane_error


@pytest.mark.parametrize("barrel", [-0.05, 0.05])
def test_a_lens_that_bends_lines_is_allowed_for(barrel):
    scene, photo = photo_of(barrel=barrel, tilt=20, aside=(0.3, 0.25))
    view = read_card(photo)
    true, seen = on_the_paper(scene)
    assert Polygon(view.to_mm(seen)).area == pytest.approx(true, rel=0.006)


def test_the_corners_of_the_window_are_where_they_come_from():
    _, photo = photo_of(sag=5, barrel=0.04, tilt=25)
    view = read_card(photo)
    x, y, width, height = cards.WINDOW
    corners = rectangle(width, height, np.array([x + width / 2, y + height / 2]))
    assert view.to_mm(view.window_px(inset_mm=0)) == pytest.approx(corners, abs=1e-6)
    kept = type(view).from_plain(json.loads(json.dumps(view.plain())))
    assert np.array_equal(kept.to_mm(view.window_px()), view.to_mm(view.window_px()))


def test_a_picture_that_was_cut_is_measured_as_the_whole_one():
    scene, photo = photo_of(tilt=25, size=(2400, 1800), distance=300, aside=(0.3, 0.3))
    left, top = 900, 700
    view = read_card(photo.crop((left, top, 2400, 1800)))
    true, seen = on_the_paper(scene)
    assert Polygon(view.to_mm(seen - (left, top))).area == pytest.approx(true, rel=0.006)


@pytest.mark.parametrize("lens", [14.0, 52.0])
def test_what_the_camera_says_of_its_lens_tells_how_far_away_it_was(lens):
    scene, photo = photo_of(film_focal=lens, distance=200 * lens / 26)
    told, guessed = read_card(photo, lens), read_card(photo)
    true = np.linalg.norm(scene.position())
    assert told.distance_mm == pytest.approx(true, rel=0.03)
    assert told.distance_error < 0.2 < guessed.distance_error
    assert abs(np.log(guessed.distance_mm / true)) <= guessed.distance_error
    # What is not known of the distance is not known of what stands above the card either.
    seen = scenes.project(scene, scene.sore, 5)
    area = Polygon(guessed.at_height(5).to_mm(seen)).area / Polygon(scene.sore).area - 1
    assert abs(area) <= guessed.at_height(5).relative_area_error
    assert told.at_height(5).height_error < 0.4 * guessed.at_height(5).height_error


# --- a code that is hidden in part --------------------------------------------------------------

KEYS = ("0b9a3f52-6c1e-4d7f-8a20-5e9d7c4b1f36-right", "0B9A3F526C1E4D7F8A205E9D7C4B1F36-R")
MODULE = cards.CODE_BOX[2] / 37  # of 29 modules and the quiet zone of four each side
FINDERS = [  # middles, in modules from the corner of the code's box (ISO/IEC 18004)
    (cards.CODE_BOX[0] + x * MODULE, cards.CODE_BOX[1] + y * MODULE)
    for x, y in ((7.5, 7.5), (29.5, 7.5), (7.5, 29.5))
]


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("finder", FINDERS)
def test_a_thumb_on_a_corner_of_the_code_hides_no_name(key, finder):
    photo = scenes.render(Scene(code=key, tilt=20, tilt_towards=70, covers=((*finder, 3.5),)))
    assert read_card(photo).code == key


@pytest.mark.parametrize("key", KEYS)
def test_specks_of_dirt_hide_no_name(key):
    rng = np.random.default_rng(8)
    for seed in range(6):
        specks = tuple((*rng.uniform(0, (98, 52)), rng.uniform(0.3, 1.1)) for _ in range(60))
        photo = scenes.render(Scene(code=key, turn=30, covers=specks, seed=seed, size=(2400, 1800)))
        assert read_card(photo).code == key


def test_a_card_whose_code_is_hidden_gives_a_size_and_no_name():
    scene, photo = photo_of(covers=((16, 27, 12),))
    view = read_card(photo)
    assert view.code is None
    area = Polygon(view.to_mm(scenes.project(scene, scene.sore))).area
    assert area == pytest.approx(Polygon(scene.sore).area, rel=0.02)


# --- as it was printed, and above the card ------------------------------------------------------


@pytest.mark.parametrize("printed", [0.97, 1.03])
def test_a_print_nobody_checked_is_within_the_stated_error(printed):
    # All of the card and what is drawn on it is so much larger: as if all else were smaller.
    scene, photo = photo_of(tilt=15)
    view = read_card(photo)
    found = Polygon(view.to_mm(scenes.project(scene, scene.sore))).area
    true = Polygon(scene.sore).area * printed**2
    assert abs(found / true - 1) <= view.relative_area_error
    checked = view.as_printed(printed, printed, 0.01)
    assert Polygon(checked.to_mm(scenes.project(scene, scene.sore))).area == pytest.approx(
        true, rel=checked.relative_area_error
    )
    assert checked.relative_area_error < 0.03 < view.relative_area_error


def test_a_print_that_is_too_narrow_one_way_only_is_allowed_for_that_way():
    scene, photo = photo_of(tilt=15)
    corners = scenes.project(scene, rectangle(20, 10, scenes.WINDOW_MIDDLE))
    sides = read_card(photo).as_printed(0.97, 1.0, 0.01).to_mm(corners)
    assert np.linalg.norm(sides[1] - sides[0]) == pytest.approx(20 * 0.97, rel=0.005)
    assert np.linalg.norm(sides[2] - sides[1]) == pytest.approx(10, rel=0.005)


@pytest.mark.parametrize(("height", "give"), [(3, 1), (5, 1.5), (8, 2)])
def test_what_stands_above_the_card_is_measured_where_it_is(height, give):
    scene, photo = photo_of(tilt=10)
    view = read_card(photo)
    seen = scenes.project(scene, scene.sore, height)
    true = Polygon(scene.sore).area
    there = view.at_height(height, give)
    assert abs(Polygon(view.to_mm(seen)).area / true - 1) > view.plane_error
    assert abs(Polygon(there.to_mm(seen)).area / true - 1) < 0.012
    assert there.relative_area_error > view.relative_area_error


def test_a_reading_kept_before_prints_were_checked_is_taken_for_an_unchecked_one():
    _, photo = photo_of()
    view = read_card(photo)
    new = ("plane_error", "print_across", "print_down", "print_error", "shrink", "height_error")
    new += ("distance_error", "_sheet")
    old = {name: value for name, value in view.plain().items() if name not in new}
    old["_homography"] = view.plain()["_sheet"]["homography"]
    again = type(view).from_plain({**old, "relative_area_error": 0.02})
    assert again.relative_area_error == pytest.approx(np.hypot(0.02, view.print_error))
    middle = view.to_mm(scenes.project(Scene(), [scenes.WINDOW_MIDDLE]))
    assert again.to_mm(scenes.project(Scene(), [scenes.WINDOW_MIDDLE])) == pytest.approx(
        middle, abs=0.3
    )
    assert type(view).from_plain(view.plain()).relative_area_error == view.relative_area_error


def test_an_outline_too_far_from_the_markers_is_refused(tilted):
    scene, _, view = tilted
    near = scenes.project(scene, rectangle(10, 10, np.array([98.0, 32.0])))
    far = scenes.project(scene, rectangle(10, 10, np.array([112.0, 32.0])))
    view.to_mm(near)
    with pytest.raises(CannotMeasure) as refusal:
        view.to_mm(far)
    assert refusal.value.reason == refusals.OUT_OF_REACH
    assert refusal.value.code == CODE


def test_points_beyond_the_horizon_are_refused():
    scene, photo = photo_of(tilt=40)
    horizon = scenes.project(scene, scenes.CARD_MIDDLE + np.array([(-160.0, 60.0), (1e5, -4e4)]))
    with pytest.raises(CannotMeasure):
        read_card(photo).to_mm([*horizon, (1e6, 1e6), (-1e6, 1e6)])


def test_a_picture_without_a_card_has_none():
    assert read_card(scenes.empty((1600, 1200))) is None
    assert read_card(Image.new("RGB", (1, 1))) is None


def test_a_code_without_the_cards_markers_is_no_card():
    card = cards.render_card(CODE)
    x, y, width, height = (round(v * 300 / 25.4) for v in cards.CODE_BOX)
    alone = Image.new("L", card.size, 255)
    alone.paste(card.crop((x, y, x + width, y + height)), (x, y))
    assert read_card(scenes.render(Scene(paper=alone))) is None


def test_markers_put_together_in_another_way_are_no_card():
    paper = Image.new("L", (980, 640), 255)
    for number in range(24):
        tile = cv2.aruco.generateImageMarker(cards.marker_dictionary(), number, 80)
        paper.paste(Image.fromarray(tile), (50 + number % 6 * 160, 40 + number // 6 * 150))
    assert read_card(scenes.render(Scene(paper=paper))) is None


@pytest.mark.parametrize("height", [2, 5])
def test_what_stands_out_of_the_cards_plane_looks_larger_by_the_stated_share(height):
    scene, photo = photo_of(tilt=10)
    view = read_card(photo)
    raised = Polygon(view.to_mm(scenes.project(scene, scene.sore, height))).area
    error = raised / Polygon(scene.sore).area - 1
    assert error > 0.01
    assert view.area_error_at_height(height) == pytest.approx(error, rel=0.15)


# --- a known length ---------------------------------------------------------------------------


def test_the_standard_sizes_are_those_of_the_standards():
    assert scale.ID_1_CARD_MM == ID_1_MM
    # ISO 216: each size is the next larger one halved, A4 is 210 mm × 297 mm.
    assert scale.ISO_216_MM["A4"] == (210, 297)
    for larger, smaller in (("A4", "A5"), ("A5", "A6"), ("A6", "A7")):
        short, long = scale.ISO_216_MM[larger]
        assert scale.ISO_216_MM[smaller] == (long // 2, short)


def test_a_known_length_gives_the_other_side_of_a_card_seen_from_above():
    scene = Scene(turn=40)
    a, b, c, _ = scenes.project(scene, rectangle(*ID_1_MM))
    view = from_known_length(a, b, ID_1_MM[0])
    found = view.to_mm([a, b, c])
    assert np.linalg.norm(found[2] - found[1]) == pytest.approx(ID_1_MM[1], rel=1e-3)


def test_the_stated_error_of_a_known_length_covers_an_unknown_tilt():
    rng = np.random.default_rng(4)
    covered = []
    for _ in range(400):
        scene = replace(
            Scene(), tilt=rng.uniform(0, 30), tilt_towards=rng.uniform(0, 360), distance=220
        )
        edge = rectangle(*ID_1_MM, scenes.WINDOW_MIDDLE + np.array([0, 40]))[:2]
        taps = scenes.project(scene, edge) + rng.normal(0, 2, (2, 2))
        view = from_known_length(*taps, ID_1_MM[0])
        found = Polygon(view.to_mm(scenes.project(scene, scene.sore))).area
        covered.append(abs(found / Polygon(scene.sore).area - 1) <= view.relative_area_error)
    assert np.mean(covered) >= 0.95


def test_a_known_length_is_less_certain_than_the_card(tilted):
    _, _, view = tilted
    assert from_known_length((0, 0), (900, 0), 85.6).relative_area_error > 0.15
    assert view.relative_area_error < 0.075


def test_the_nearer_the_two_taps_the_larger_the_stated_error():
    errors = [from_known_length((0, 0), (x, 0), 50).relative_area_error for x in (50, 200, 1000)]
    assert errors == sorted(errors, reverse=True)


@pytest.mark.parametrize("length", [0, -5, float("nan"), float("inf")])
def test_a_length_that_is_none_is_refused(length):
    with pytest.raises(CannotMeasure, match="above zero"):
        from_known_length((0, 0), (500, 0), length)


def test_taps_on_one_spot_are_refused():
    with pytest.raises(CannotMeasure, match="too close"):
        from_known_length((10, 10), (12, 11), 50)
