"""Measuring: on computed photos of the card, against a geometry library and standard sizes."""

import io
import json
import math
import re
import uuid
from dataclasses import replace
from datetime import datetime
from types import SimpleNamespace

import numpy as np
import pytest
from django.db import IntegrityError
from django.urls import reverse
from django.utils import timezone
from PIL import ExifTags, Image, ImageDraw
from shapely.geometry import Polygon

from flockcare.people.models import Revision
from flockcare.photos import measuring, words
from flockcare.photos.models import CardReading, Measurement, Photo, Scaling
from flockcare.photos.outline import NoOutline
from flockcare.photos.scale import CannotMeasure
from flockcare.photos.services import add_photo
from flockcare.photos.views_measure import _how_far
from tests.people.rows import FORM_PAGE, NOT_WRITERS, refused, same_queries, seen
from tests.photos import scenes

MIDDLE = scenes.WINDOW_MIDDLE


def picture(image) -> io.BytesIO:
    stream = io.BytesIO()
    image.convert("RGB").save(stream, "JPEG", quality=95)
    stream.seek(0)
    return stream


def kept(cast, image, bird=None, foot="left"):
    photo, _ = add_photo(
        flock=cast.flock,
        keeper=cast.keeper,
        upload=picture(image),
        name="foot.jpg",
        bird=bird,
        foot=foot,
    )
    return photo


def with_sore(scene, outline_mm):
    """The scene's photo with a pale patch of this outline in the card's plane."""
    image = scenes.render(scene).convert("RGB")
    corners = [tuple(point) for point in scenes.project(scene, outline_mm)]
    ImageDraw.Draw(image).polygon(corners, fill=(240, 230, 130))
    return image


@pytest.fixture
def scene(birds):
    return scenes.Scene(code=measuring.card_code(birds["Dill"]), turn=25, tilt=15)


@pytest.fixture
def sore_mm():
    return scenes.ellipse(7, 5)


@pytest.fixture
def photo(cast, birds, scene, sore_mm):
    return kept(cast, with_sore(scene, sore_mm), birds["Dill"])


def page(photo) -> str:
    return reverse("photos:measure", args=[photo.flock_id, photo.pk])


def ask(client, photo, do, **data):
    return client.post(page(photo), {"do": do, **data}, headers={"Accept": "application/json"})


# --- By the card


def test_area_perimeter_and_diameter_are_those_of_a_geometry_library(cast, photo, scene, sore_mm):
    truth = Polygon(sore_mm)
    scale = measuring.card_scale(measuring.card_reading(photo))
    kept = measuring.measure(
        photo=photo, keeper=cast.keeper, scale=scale, outline=scenes.project(scene, sore_mm)
    )
    kept.refresh_from_db()
    assert kept.area_mm2 == pytest.approx(truth.area, rel=0.03)
    assert kept.perimeter_mm == pytest.approx(truth.length, rel=0.02)
    longest = max(math.dist(p, q) for p in sore_mm for q in sore_mm)
    assert kept.longest_diameter_mm == pytest.approx(longest, rel=0.02)
    assert Polygon(kept.outline_mm).area == pytest.approx(kept.area_mm2, rel=1e-3)
    assert kept.scaled_by == Scaling.CARD and kept.keeper == cast.keeper


def test_the_kept_homography_leads_from_the_outline_in_pixels_to_that_in_mm(cast, photo, scene):
    for outline_mm in (scenes.ellipse(7, 5), MIDDLE + np.array([(-4, -3), (5, -2), (0, 4)])):
        kept = measuring.measure(
            photo=photo,
            keeper=cast.keeper,
            scale=measuring.card_scale(measuring.card_reading(photo)),
            outline=scenes.project(scene, outline_mm),
        )
        points = np.column_stack([kept.outline_px, np.ones(len(kept.outline_px))])
        mapped = points @ np.array(kept.to_mm).T
        assert mapped[:, :2] / mapped[:, 2:] == pytest.approx(np.array(kept.outline_mm), abs=0.01)


def test_a_suggested_outline_covers_the_sore(photo, scene, sore_mm):
    scale = measuring.card_scale(measuring.card_reading(photo))
    tap = scenes.project(scene, [MIDDLE])[0]
    found = Polygon(scale.view.to_mm(measuring.suggest(photo, tap, scale).outline))
    truth = Polygon(sore_mm)
    assert found.intersection(truth).area / found.union(truth).area > 0.9


def test_what_is_uncertain_of_a_suggestion_is_part_of_the_error(cast, photo, scene):
    tap = scenes.project(scene, [MIDDLE])[0].tolist()
    client = cast.clients.keeper
    answer = ask(client, photo, "suggest", tap=json.dumps([tap])).json()
    assert {"outline", "spread", "doubt", "area"} <= set(answer)
    outline = json.dumps(answer["outline"])
    for spread, more in (("0.3", 0.09), ("", 0.0)):
        ask(client, photo, "save", outline=outline, spread=spread)
        kept = Measurement.objects.latest("at")
        own = measuring.sizes(
            photo, measuring.card_scale(measuring.card_reading(photo)), answer["outline"]
        ).relative_area_error
        assert kept.relative_area_error**2 == pytest.approx(own**2 + more, rel=0.01)
    refused = ask(client, photo, "save", outline=outline, spread="-1")
    assert refused.status_code == 422


def test_the_stated_error_grows_for_small_sores(photo, scene):
    """An edge drawn 0.15 mm too far out makes a disc of radius r larger by 2 · 0.15 / r."""
    scale = measuring.card_scale(measuring.card_reading(photo))
    own = scale.view.relative_area_error
    for radius in (1.5, 6.0):
        disc = np.array(Polygon(MIDDLE + radius * circle()).exterior.coords)[:-1]
        found = measuring.sizes(photo, scale, scenes.project(scene, disc))
        drawing = math.sqrt(found.relative_area_error**2 - own**2)
        assert drawing == pytest.approx(2 * 0.15 / radius, rel=0.02)


@pytest.mark.parametrize(
    ("error", "said"),
    [(0.05, "about 20 cm away, "), (0.3, "15 to 27 cm away, "), (0.7, "")],
)
def test_the_distance_is_told_as_far_as_it_is_known(error, said):
    view = SimpleNamespace(distance_mm=200.0, distance_error=error)
    assert _how_far(view) == said


def test_the_lens_that_the_camera_named_is_kept_and_used(cast, birds, scene):
    far = replace(scene, film_focal=52.0, distance=400.0, tilt=0)
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.FocalLengthIn35mmFilm] = 52
    stream = io.BytesIO()
    scenes.render(far, "RGB").save(stream, "JPEG", quality=95, exif=exif.tobytes())
    photo, _ = add_photo(
        flock=cast.flock, keeper=cast.keeper, upload=stream, name="a.jpg", bird=birds["Dill"]
    )
    assert photo.film_focal_mm == 52
    view = measuring.card_scale(measuring.card_reading(photo)).view
    assert view.distance_mm == pytest.approx(np.linalg.norm(far.position()), rel=0.05)


def circle(points=120):
    angle = np.linspace(0, 2 * np.pi, points, endpoint=False)
    return np.column_stack([np.cos(angle), np.sin(angle)])


def test_the_card_is_read_once_and_kept(photo, scene, monkeypatch):
    first = measuring.card_reading(photo)
    assert first.code == scene.code and first.reason == ""

    def fail(_):
        raise AssertionError("read again")

    monkeypatch.setattr(measuring, "read_card", fail)
    again = measuring.card_reading(photo)
    points = scenes.project(scene, scenes.ellipse(7, 5))
    before, after = (measuring.card_scale(each).view.to_mm(points) for each in (first, again))
    assert after == pytest.approx(before, abs=1e-9)


def test_the_code_names_bird_and_foot(birds):
    dill = birds["Dill"]
    assert measuring.named_by(measuring.card_code(dill)) == (str(dill.pk), "")
    for foot in ("left", "right"):
        assert measuring.named_by(measuring.card_code(dill, foot)) == (str(dill.pk), foot)
    assert measuring.named_by("left") == ("left", "")


def test_a_card_of_another_bird_or_foot_is_doubted(cast, birds, photo):
    reading = measuring.card_reading(photo)
    assert measuring.doubt(photo, reading) == ""
    reading.code = measuring.card_code(birds["Mace"])
    assert "Mace’s" in measuring.doubt(photo, reading)
    reading.code = measuring.card_code(birds["Dill"], "right")
    assert measuring.doubt(photo, reading) == (
        "The card in this photo is for the right foot, but the photo is of the left foot."
    )
    reading.code = "somebody else’s"
    assert "no bird of this flock" in measuring.doubt(photo, reading)


# --- By a known length


def flat_photo(cast, mm_per_px=0.1):
    """A photo from straight above, as large as one screen shows it."""
    return kept(cast, Image.new("RGB", (1200, 900), (200, 170, 120))), mm_per_px


def test_the_long_side_of_a_bank_card_gives_the_scale(cast):
    """85.60 mm: ISO/IEC 7810, size ID-1."""
    photo, mm_per_px = flat_photo(cast)
    ends = [(100, 800), (100 + 85.60 / mm_per_px, 800)]
    square = [(400, 300), (500, 300), (500, 400), (400, 400)]  # 10 mm
    answer = ask(
        cast.clients.keeper,
        photo,
        "save",
        scaled_by="length",
        known="long",
        ends=json.dumps(ends),
        outline=json.dumps(square),
        px_per_screen_px="1",
    )
    assert answer.status_code == 200, answer.content
    found = Measurement.objects.get()
    assert found.area_mm2 == pytest.approx(100.0) and found.perimeter_mm == pytest.approx(40.0)
    assert found.longest_diameter_mm == pytest.approx(10 * math.sqrt(2))
    assert found.length_mm == 85.60 and found.scaled_by == Scaling.LENGTH
    # Nobody knows the tilt: at 30° an area is off by up to 1 / cos 30° − 1 = 15 % from that alone.
    assert found.relative_area_error > 1 / math.cos(math.radians(30)) - 1


def test_a_coarse_screen_makes_the_scale_less_certain(cast):
    photo, _ = flat_photo(cast)
    ends = [(100, 800), (300, 800)]
    fine, coarse, unsaid = (
        measuring.length_scale(photo, ends, 20.0, px).view.relative_area_error
        for px in (0.5, 3.0, None)
    )
    assert fine < coarse < unsaid


# --- Refusals, in words


OUTLINES = {
    "outline crossing itself": ([(0, 0), (9, 9), (9, 0), (0, 9)], "crosses itself"),
    "two points": ([(0, 0), (9, 9)], "at least three points"),
    "one place three times": ([(5, 5), (5, 5), (5, 5)], "at least three points"),
    "a line": ([(0, 0), (5, 5), (9, 9)], "no area"),
}


@pytest.mark.parametrize(("points_mm", "said"), OUTLINES.values(), ids=OUTLINES)
def test_what_is_no_outline_is_refused(cast, photo, scene, points_mm, said):
    outline = scenes.project(scene, MIDDLE + np.array(points_mm) - 4.5)
    answer = ask(cast.clients.keeper, photo, "save", outline=json.dumps(outline.tolist()))
    assert answer.status_code == 422 and said in answer.json()["reason"]
    assert not Measurement.objects.exists()


def test_an_outline_far_from_the_card_is_refused(cast, photo, scene):
    outline = scenes.project(scene, MIDDLE + scenes.ellipse(4, 4) - MIDDLE + (60, 10))
    answer = ask(cast.clients.keeper, photo, "sizes", outline=json.dumps(outline.tolist()))
    assert answer.status_code == 422 and "too far outside the card" in answer.json()["reason"]


def test_without_a_card_the_page_says_so(cast, birds):
    photo = kept(cast, scenes.empty((900, 700)), birds["Dill"])
    square = json.dumps([(400, 300), (500, 300), (500, 400)])
    answer = ask(cast.clients.keeper, photo, "save", outline=square)
    assert answer.status_code == 422
    assert answer.json()["reason"].startswith("No card was found in this photo.")
    text = cast.clients.keeper.get(page(photo)).content.decode()
    assert "No card was found" in text and "use a known length" in text


def test_a_tilted_card_is_refused_with_its_reason(cast, birds):
    scene = scenes.Scene(code=measuring.card_code(birds["Dill"]), tilt=55)
    photo = kept(cast, scenes.render(scene), birds["Dill"])
    answer = ask(cast.clients.keeper, photo, "card")
    assert "too tilted" in answer.json()["card"]["reason"]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"outline": "[[1, 2]"}, "cannot be read"),
        ({"outline": "[[NaN, 2], [3, 4], [5, 6]]"}, "cannot be read"),
        ({"outline": json.dumps([(n, n * n) for n in range(500)])}, "more than 400 points"),
        ({"outline": "[[0,0],[9,0],[0,9]]", "scaled_by": "length"}, "how many millimetres"),
        (
            {"outline": "[[0,0],[9,0],[0,9]]", "scaled_by": "length", "known": "short"},
            "both ends",
        ),
        (
            {
                "outline": "[[0,0],[99,0],[0,99]]",
                "scaled_by": "length",
                "known": "short",
                "ends": "[[1,1],[2,2]]",
            },
            "too close together",
        ),
        (
            {
                "outline": "[[0,0],[800,0],[800,700],[0,700]]",
                "scaled_by": "length",
                "length_mm": "900",
                "ends": "[[0,0],[400,0]]",
            },
            "larger than a whole foot",
        ),
        ({"outline": "[[0,0],[99000,0],[0,99]]", "scaled_by": "length"}, "millimetres"),
    ],
)
def test_bad_input_gets_words(cast, data, said):
    photo, _ = flat_photo(cast)
    answer = ask(cast.clients.keeper, photo, "save", **data)
    assert answer.status_code == 422 and said in answer.json()["reason"]


def test_an_outline_outside_the_photo_is_refused(cast):
    photo, _ = flat_photo(cast)
    scale = measuring.length_scale(photo, [(0, 0), (400, 0)], 40.0, 1.0)
    with pytest.raises(CannotMeasure, match="outside the photo"):
        measuring.sizes(photo, scale, [(0, 0), (1300, 0), (0, 99)])


def test_nothing_to_suggest_on_plain_ground(cast):
    photo, _ = flat_photo(cast)
    with pytest.raises(NoOutline):
        measuring.suggest(photo, (600, 450))
    answer = ask(cast.clients.keeper, photo, "suggest", tap="[[600, 450]]")
    assert answer.status_code == 422 and "into the skin" in answer.json()["reason"]


# --- Keeping


def test_the_newest_measurement_counts_until_it_is_taken_back(cast, photo, scene):
    client = cast.clients.keeper
    for size in (7, 4):
        outline = scenes.project(scene, scenes.ellipse(size, size, wobble=0)).tolist()
        assert ask(client, photo, "save", outline=json.dumps(outline)).status_code == 200
    large, small = Measurement.objects.order_by("at")
    assert photo.measurements.last() == small and small.area_mm2 < large.area_mm2
    client.post(reverse("photos:take_back", args=[cast.flock.pk, photo.pk]))
    assert photo.measurements.last() == large
    revision = Revision.objects.get(kind="photos.Measurement")
    assert revision.action == "delete" and revision.by == cast.keeper
    assert revision.before["area_mm2"] == pytest.approx(small.area_mm2)


def test_a_known_length_needs_its_mm(photo):
    with pytest.raises(IntegrityError):
        Measurement.objects.create(
            flock=photo.flock,
            photo=photo,
            scaled_by=Scaling.LENGTH,
            to_mm=[],
            outline_px=[],
            outline_mm=[],
            area_mm2=1,
            perimeter_mm=1,
            longest_diameter_mm=1,
            relative_area_error=0.1,
        )


# --- The page


def test_the_plain_form_measures_from_the_card_without_script(cast, photo, scene, sore_mm):
    """Typed tap, suggested outline shown and kept in the form, then saved."""
    client = cast.clients.keeper
    x, y = scenes.project(scene, [MIDDLE])[0]
    typed = {"tap_left": 100 * x / photo.width, "tap_top": 100 * y / photo.height}
    answer = client.post(page(photo), {"do": "suggest", "scaled_by": "card", **typed})
    assert answer.status_code == 200
    outline = answer.context["form"]["outline"].value()
    assert len(json.loads(outline)) > 10
    text = answer.content.decode()
    assert "Longest diameter" in text and not Measurement.objects.exists()
    answer = client.post(page(photo), {"do": "save", "scaled_by": "card", "outline": outline})
    found = Measurement.objects.get()
    assert found.area_mm2 == pytest.approx(Polygon(sore_mm).area, rel=0.1)
    series = reverse("series", args=[cast.flock.pk, photo.bird_id, "left"])
    assert answer.headers["Location"].startswith(series)


def test_the_plain_form_keeps_what_was_typed_when_it_refuses(cast, photo):
    data = {"do": "save", "scaled_by": "length", "length_mm": "12.5", "outline": "[["}
    answer = cast.clients.keeper.post(page(photo), data)
    assert answer.status_code == 422
    assert "cannot be read" in answer.content.decode() and 'value="12.5"' in answer.content.decode()


def test_a_typed_tap_means_what_is_shown_after_turning_and_cropping(photo):
    from flockcare.photos.forms import MeasureForm
    from flockcare.photos.views_measure import _tap

    photo.crop, photo.quarter_turns = [100, 200, 500, 400], 1  # shown 200 wide, 400 high
    form = MeasureForm({"tap_left": "25", "tap_top": "10"})
    assert form.is_valid()
    # 50 px from the left of what is shown is 50 px above the lower edge of the crop, and 40 px
    # from its top is 40 px right of the crop's left edge; counted at pixel centres.
    assert _tap(photo, form) == pytest.approx((100 + 40 - 0.5, 400 - 50 - 0.5))


def test_who_may_measure(cast, photo):
    assert seen(cast, page(photo)) == FORM_PAGE
    assert refused(cast, page(photo)) == NOT_WRITERS
    take_back = reverse("photos:take_back", args=[cast.flock.pk, photo.pk])
    assert refused(cast, take_back) == NOT_WRITERS


def test_queries_do_not_grow_with_measurements(cast, photo, scene):
    measuring.card_reading(photo)
    scale = measuring.card_scale(CardReading.objects.get())
    outline = scenes.project(scene, scenes.ellipse(7, 5))

    def measure():
        measuring.measure(photo=photo, keeper=cast.keeper, scale=scale, outline=outline)

    def grow():
        for _ in range(19):
            measure()

    measure()
    same_queries(cast.clients.owner, page(photo), grow=grow)


def test_a_deleted_photo_is_not_measured(cast, photo):
    Photo.objects.filter(pk=photo.pk).update(deleted_at=photo.added_at)
    assert cast.clients.keeper.get(page(photo)).status_code == 404


@pytest.mark.parametrize(
    ("value", "error", "said"),
    [(61.23, 4.4, "61 ± 4 mm"), (61.23, 1.5, "61.2 ± 1.5 mm"), (5.06, 0.42, "5.1 ± 0.4 mm"),
     (118.4, 13.2, "118 ± 13 mm"), (0.314, 0.018, "0.31 ± 0.02 mm")],
)  # fmt: skip
def test_figures_say_no_more_than_their_uncertainty(value, error, said):
    assert words.plus_minus(value, error, "mm") == said


# --- What follows, and where to look


def waiting(cast, bird, day, foot="left", **more):
    """A photo whose card was read, with nothing measured in it."""
    one = Photo.objects.create(
        flock=cast.flock,
        bird=bird,
        foot=foot,
        taken=day and datetime.fromisoformat(f"{day}T12:00+00:00"),
        width=1200,
        height=900,
        stored_bytes=9,
        sha256=uuid.uuid4().hex * 2,
        look_hash=0,
        **more,
    )
    CardReading.objects.create(flock=cast.flock, photo=one, view={"any": 1})
    return one


def test_the_next_to_measure_is_of_the_same_foot_first(cast, birds):
    dill, mace = birds["Dill"], birds["Mace"]
    newest_of_the_flock = waiting(cast, mace, "2026-01-01")
    first, this, last = (
        waiting(cast, dill, day) for day in ("2026-05-01", "2026-05-08", "2026-06-01")
    )
    waiting(cast, dill, "2026-05-09", foot="right")
    waiting(cast, dill, "2026-05-10", deleted_at=timezone.now())
    CardReading.objects.filter(photo=waiting(cast, dill, "2026-05-11")).update(view=None)
    assert measuring.next_to_measure(this) == last
    assert measuring.next_to_measure(last) == first  # nothing later
    Photo.objects.filter(bird=dill).exclude(pk=this.pk).update(deleted_at=timezone.now())
    assert measuring.next_to_measure(this) == newest_of_the_flock
    newest_of_the_flock.delete()
    assert measuring.next_to_measure(this) is None


def test_save_and_measure_the_next_leads_there(cast, birds, photo, scene, sore_mm):
    button = "Save and measure the next"
    assert button not in cast.clients.keeper.get(page(photo)).text
    following = waiting(cast, birds["Mace"], "2026-01-01")
    assert button in cast.clients.keeper.get(page(photo)).text
    outline = json.dumps(scenes.project(scene, sore_mm).tolist())
    answer = ask(cast.clients.keeper, photo, "save and next", outline=outline)
    assert answer.json()["saved"] == page(following)
    assert photo.measurements.count() == 1


def test_the_page_knows_where_the_window_of_the_card_lies(cast, photo, scene, sore_mm):
    """The sore lies in the window, and so does no corner of the picture."""
    measuring.card_reading(photo)
    text = cast.clients.keeper.get(page(photo)).text
    corners = json.loads(re.search(r'data-window="([^"]+)"', text)[1])
    window = Polygon(corners)
    assert window.contains(Polygon(scenes.project(scene, sore_mm)))
    assert window.area < 0.9 * photo.width * photo.height
    again = ask(cast.clients.keeper, photo, "card").json()
    assert again["window"] == corners
