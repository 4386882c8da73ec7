"""The painted demo photographs: what they say about themselves is what is seen in them."""

import cv2
import numpy as np
import pytest
import zxingcpp
from shapely.geometry import Polygon

from flockcare.demo.paint import (
    GROUNDS,
    LEGS,
    PLACES,
    SCABS,
    Foot,
    Sore,
    paint_foot,
)
from flockcare.photos import cards

pytestmark = pytest.mark.apart

SMALL = {"width": 640, "height": 480}


def pixels(painted):
    return np.asarray(painted.image).astype(float)


def back_to_plane(painted, points_px):
    points = np.asarray(points_px, float).reshape(-1, 1, 2)
    return cv2.perspectiveTransform(points, np.linalg.inv(painted.to_px)).reshape(-1, 2)


def test_same_arguments_same_pixels():
    asked = {"foot": Foot("left", "slate", 1.1, 3), "sore": Sore(), "card_code": "A7", **SMALL}
    first = paint_foot(seed=5, tilt_degrees=12, **asked)
    again = paint_foot(seed=5, tilt_degrees=12, **asked)
    assert np.array_equal(pixels(first), pixels(again))
    assert np.array_equal(first.outline_px, again.outline_px)
    assert not np.array_equal(pixels(first), pixels(paint_foot(seed=6, tilt_degrees=12, **asked)))


@pytest.mark.parametrize("leg", LEGS)
@pytest.mark.parametrize("ground", GROUNDS)
def test_every_leg_on_every_ground(leg, ground):
    painted = paint_foot(Foot("right", leg), seed=1, ground=ground, **SMALL)
    assert painted.image.size == (640, 480)
    assert painted.image.mode == "RGB"
    assert painted.outline_mm is painted.outline_px is painted.area_mm2 is None
    assert 60 < pixels(painted).mean() < 200
    assert (pixels(painted) > 250).mean() < 0.02


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("area", [6.0, 40.0, 120.0])
def test_area_is_the_one_asked_for(place, area):
    """Outside: shapely's area of the outline, in the plane and back from the picture."""
    sore = Sore(place, area_mm2=area, seed=int(area))
    painted = paint_foot(Foot("left", seed=2), seed=3, sore=sore, tilt_degrees=25, **SMALL)
    assert Polygon(painted.outline_mm).is_valid
    assert Polygon(painted.outline_mm).area == pytest.approx(area, rel=1e-9)
    assert painted.area_mm2 == pytest.approx(area, rel=1e-9)
    seen = back_to_plane(painted, painted.outline_px)
    assert Polygon(seen).area == pytest.approx(area, rel=1e-6)


def test_scale_at_the_sore():
    painted = paint_foot(Foot("right"), seed=3, sore=Sore(area_mm2=20), tilt_degrees=30)
    in_pixels = Polygon(painted.outline_px).area
    assert in_pixels * painted.mm_per_px**2 == pytest.approx(20, rel=0.01)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("tilt", [0, 30])
def test_the_scab_fills_its_outline_to_the_edge(seed, tilt):
    """The dark pixels of a black scab on a pale foot, next to OpenCV's filling of the outline."""
    sore = Sore(area_mm2=70, scab="black", seed=seed)
    foot = Foot("right", "white", seed=seed)
    painted = paint_foot(foot, seed=seed, ground="cloth", sore=sore, tilt_degrees=tilt)
    grey = cv2.cvtColor(np.asarray(painted.image), cv2.COLOR_RGB2GRAY)
    true = np.zeros_like(grey)
    cv2.fillPoly(true, [np.rint(painted.outline_px * 16).astype(np.int32)], 1, shift=4)
    near = cv2.dilate(true, np.ones((31, 31), np.uint8)) > 0
    dark = (grey < 100) & near
    both, either = (dark & (true > 0)).sum(), (dark | (true > 0)).sum()
    assert both / either > 0.93
    assert dark.sum() == pytest.approx(true.sum(), rel=0.05)


def test_scabs_have_their_colours():
    def middle(scab):
        sore = Sore(area_mm2=100, scab=scab)
        painted = paint_foot(Foot("right", "white"), seed=1, ground="cloth", sore=sore)
        x, y = np.rint(painted.outline_px.mean(0)).astype(int)
        return pixels(painted)[y - 20 : y + 20, x - 20 : x + 20].mean((0, 1))

    raw, brown, black = (middle(scab) for scab in ("none", "brown", "black"))
    assert set(SCABS) == {"none", "brown", "black"}
    assert black.mean() < brown.mean() < raw.mean()
    assert brown[0] > 1.5 * brown[2]  # brown: far more red than blue
    assert black[0] < 1.5 * black[2]


def test_swelling_reddens_the_skin_round_a_sore():
    def redness(swelling):
        sore = Sore(area_mm2=30, swelling=swelling)
        painted = paint_foot(Foot("right", "white"), seed=1, ground="cloth", sore=sore)
        x, y = np.rint(painted.outline_px.mean(0)).astype(int)
        ring = pixels(painted)[y - 75 : y - 50, x - 20 : x + 20].mean((0, 1))
        return ring[0] / ring[1]

    assert redness(1.0) > redness(0.0) * 1.05


def test_inner_toe_is_on_the_inner_side():
    """Seen from below with the toes up, toe II of a right foot is on the right."""

    def across(side):
        at = [
            paint_foot(Foot(side), seed=4, sore=Sore(place, area_mm2=4), **SMALL).outline_px.mean(0)
            for place in ("toe_2", "pad", "toe_4", "toe_3", "hallux")
        ]
        inner, pad, outer, forward, back = at
        assert forward[1] < pad[1] < back[1]
        return np.sign([inner[0] - pad[0], outer[0] - pad[0]]).tolist()

    assert across("right") == [1, -1]
    assert across("left") == [-1, 1]


def test_a_larger_hen_has_larger_feet():
    def reach(size):
        ends = [
            paint_foot(Foot("right", size=size), seed=4, sore=Sore(place), **SMALL)
            for place in ("toe_3", "hallux")
        ]
        return np.linalg.norm(ends[0].outline_mm.mean(0) - ends[1].outline_mm.mean(0))

    assert reach(1.3) == pytest.approx(1.3 * reach(1.0), rel=0.02)


# --- The card, read with zxing-cpp and OpenCV's own marker reader


@pytest.mark.parametrize("tilt", [0, 15, 30])
def test_card_lies_in_the_plane_at_its_true_size(tilt):
    sore = Sore(area_mm2=50)
    painted = paint_foot(
        Foot("left", seed=1), seed=8, sore=sore, card_code="TANSY-4", tilt_degrees=tilt
    )
    assert "TANSY-4" in [found.text for found in zxingcpp.read_barcodes(painted.image)]

    grey = cv2.cvtColor(np.asarray(painted.image), cv2.COLOR_RGB2GRAY)
    refine = cv2.aruco.DetectorParameters()
    refine.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    reader = cv2.aruco.ArucoDetector(cards.marker_dictionary(), refine)
    found, numbers, _ = reader.detectMarkers(grey)
    assert len(numbers) >= 12
    seen = back_to_plane(painted, np.concatenate([marker[0] for marker in found]))
    printed = np.concatenate([cards.marker_outline(number) for number in numbers.ravel()])
    # The card may lie anywhere in the plane, turned: its distances are what must be true.
    apart_seen = np.linalg.norm(seen[:, None] - seen, axis=-1)
    apart_printed = np.linalg.norm(printed[:, None] - printed, axis=-1)
    assert np.abs(apart_seen - apart_printed).max() < 0.25  # mm

    # And the sore is in the window, clear of its frame.
    fit, _ = cv2.estimateAffinePartial2D(seen, printed)
    on_card = painted.outline_mm @ fit[:, :2].T + fit[:, 2]
    left, top, width, height = cards.WINDOW
    assert (on_card > (left, top)).all()
    assert (on_card < (left + width, top + height)).all()


@pytest.mark.parametrize("tilt", [0, 10, 35])
def test_tilt_is_the_one_asked_for(tilt):
    """Outside: OpenCV's pose of a plane from points and lens."""
    painted = paint_foot(Foot("right"), seed=9, tilt_degrees=tilt, **SMALL)
    flat = np.array([(x, y, 0) for x in (-30, 0, 30) for y in (-30, 0, 30)], float)
    seen = cv2.perspectiveTransform(flat[:, None, :2], painted.to_px)
    lens = np.array([[0.8 * 640, 0, 319.5], [0, 0.8 * 640, 239.5], [0, 0, 1]])
    _, turn, _ = cv2.solvePnP(flat, seen, lens, None)
    upright = cv2.Rodrigues(turn)[0][:, 2]
    assert np.degrees(np.arccos(abs(upright[2]))) == pytest.approx(tilt, abs=0.1)
