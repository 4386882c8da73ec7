"""The series of a foot: order, dates, the verdict, laying one photo over another, the page."""

import math
import re
import uuid
from datetime import date, datetime, timedelta
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone
from shapely.geometry import Polygon

from flockcare.care.models import CareStep
from flockcare.feet.models import Check, FootFinding
from flockcare.photos import series, words
from flockcare.photos.measuring import Scale as Scaled
from flockcare.photos.measuring import measure
from flockcare.photos.models import DateSource, Measurement, Photo, Precision, Scaling
from flockcare.photos.scale import from_known_length, read_card
from tests.people.rows import READ_PAGE, same_queries, seen
from tests.photos import scenes


@pytest.fixture(autouse=True)
def _utc():
    with timezone.override("UTC"):
        yield


def at(day: str):
    return datetime.fromisoformat(day).replace(tzinfo=timezone.get_fixed_timezone(0))


def photo(flock, bird, day=None, precision=Precision.MOMENT, foot="left", size=(1200, 900), **more):
    return Photo.objects.create(
        flock=flock,
        bird=bird,
        foot=foot,
        taken=day and at(day),
        taken_precision=precision if day else Precision.UNKNOWN,
        width=size[0],
        height=size[1],
        stored_bytes=9,
        sha256=uuid.uuid4().hex * 2,
        look_hash=0,
        **more,
    )


def measured(photo, radius_mm=5.0, error=0.1, sides=72):
    """A round sore in a photo of 10 pixels per mm; the polygon has the disc's own area."""
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    outline = radius_mm * np.column_stack([np.cos(angle), np.sin(angle)])
    return Measurement.objects.create(
        flock=photo.flock,
        photo=photo,
        scaled_by=Scaling.CARD,
        to_mm=[[0.1, 0, -40], [0, 0.1, -40], [0, 0, 1]],
        outline_px=((outline + 40) * 10).tolist(),
        outline_mm=outline.tolist(),
        area_mm2=math.pi * radius_mm**2,
        perimeter_mm=2 * math.pi * radius_mm,
        longest_diameter_mm=2 * radius_mm,
        relative_area_error=error,
    )


def page(flock, bird, foot="left", **query) -> str:
    url = reverse("series", args=[flock.pk, bird.pk, foot])
    return url + ("?" + "&".join(f"{key}={value}" for key, value in query.items()) if query else "")


# --- Order and dates


def test_oldest_first_and_undated_last_without_deleted_ones_and_the_other_foot(cast, birds):
    dill, flock = birds["Dill"], cast.flock
    undated = photo(flock, dill)
    newer, older = photo(flock, dill, "2026-05-14"), photo(flock, dill, "2026-05-01")
    photo(flock, dill, "2026-05-02", deleted_at=timezone.now())
    photo(flock, dill, "2026-05-03", foot="right")
    photo(flock, birds["Mace"], "2026-05-04")
    assert [shot.photo for shot in series.shots_of(dill, "left")] == [older, newer, undated]


@pytest.mark.parametrize(
    ("day", "precision", "source", "words", "days"),
    [
        ("2026-05-14T16:20", Precision.MOMENT, DateSource.CAMERA, "14 May 2026", 1),
        ("2026-05-14", Precision.DAY, DateSource.FILE_TIME, "14 May 2026 (doubtful)", 1),
        ("2026-05-14", Precision.DAY, DateSource.UPLOAD, "14 May 2026 (when it was sent)", 1),
        ("2026-02-01", Precision.MONTH, DateSource.HAND, "February 2026, day not known", 28),
        ("2024-01-01", Precision.YEAR, DateSource.HAND, "2024, day not known", 366),
        (None, Precision.UNKNOWN, DateSource.NONE, "date not known", None),
    ],
)
def test_uncertain_dates_say_so(cast, birds, day, precision, source, words, days):
    shot = series.Shot(photo(cast.flock, birds["Dill"], day, precision, taken_source=source), None)
    assert shot.when == words
    span = shot.days
    assert (span and (span[1] - span[0]).days + 1) == days


def test_the_newest_measurement_of_a_photo_counts(cast, birds):
    one = photo(cast.flock, birds["Dill"], "2026-05-14")
    measured(one, 5)
    newest = measured(one, 4)
    assert [shot.measurement for shot in series.shots_of(birds["Dill"], "left")] == [newest]


def test_which_two_are_compared(cast, birds):
    dill = birds["Dill"]
    photos = [photo(cast.flock, dill, f"2026-05-{day:02}") for day in range(1, 6)]
    for number in (0, 2, 3):
        measured(photos[number])
    shots = series.shots_of(dill, "left")
    a, b, c, d, e = shots
    assert series.choose(shots, "", "") == [c, d]  # the newest two that are measured
    assert series.choose(shots, e.key, b.key) == [b, e]  # in time order, however they are asked for
    assert series.choose(shots, "", d.key) == [c, d]
    assert series.choose(shots, "", a.key) == [a, c]
    assert series.choose(shots, "nonsense", "") == [c, d]
    assert series.choose(shots[:1], "", "") == [a]
    assert series.choose(shots[:1], a.key, a.key) == [a]
    assert series.choose([], "", "") == []


def test_photos_without_a_date_are_not_compared_unasked(cast, birds):
    dill = birds["Dill"]
    older, newer = (photo(cast.flock, dill, day) for day in ("2026-05-01", "2026-05-14"))
    undated = photo(cast.flock, dill)
    shots = series.shots_of(dill, "left")
    assert [shot.photo for shot in series.choose(shots, "", "")] == [older, newer]
    answer = cast.clients.owner.get(page(cast.flock, dill))
    assert [row["shot"].photo for row in answer.context["rows"]] == [newer, older, undated]


# --- Change


def sized(area, perimeter=10.0, error=0.0):
    return Measurement(area_mm2=area, perimeter_mm=perimeter, relative_area_error=error)


@pytest.mark.parametrize(
    ("before", "after", "errors", "verdict"),
    [
        # √((0.03 · 100)² + (0.04 · 100)²) = 5 mm²
        (100, 104.9, (0.03, 4 / 104.9), series.NO_CHANGE),
        (100, 105.1, (0.03, 4 / 105.1), series.LARGER),
        (100, 95.1, (0.03, 4 / 95.1), series.NO_CHANGE),
        (100, 94.9, (0.03, 4 / 94.9), series.SMALLER),
        (100, 100, (0.0, 0.0), series.NO_CHANGE),
        (100, 200, (0.9, 0.6), series.NO_CHANGE),
    ],
)
def test_the_verdict_names_only_what_is_beyond_both_errors(before, after, errors, verdict):
    found = series.change(sized(before, error=errors[0]), sized(after, error=errors[1]), 7)
    assert found.verdict == verdict
    assert verdict in ("larger", "smaller", "no change beyond the measurement error")


def test_the_verdict_is_rarely_wrong_where_nothing_changed():
    """Two measurements of one sore, off by normal errors whose 95 % bounds are stated.

    The difference of two has the standard deviation √(s₁² + s₂²), so that the rule calls 5 % of
    them a change (1.96 standard deviations).
    """
    random = np.random.default_rng(1)
    called = 0
    for _ in range(4000):
        one, other = 100 * (1 + random.normal(0, (0.10, 0.06)) / 1.96)
        verdict = series.change(sized(one, error=0.1), sized(other, error=0.06), 7).verdict
        called += verdict != series.NO_CHANGE
    assert 0.035 < called / 4000 < 0.065


@pytest.mark.parametrize(
    ("before", "after", "advance"),
    [
        # Uniform inset of convex shapes: area lost over mean perimeter is the inset itself.
        (math.pi * 100, math.pi * 64, 2.0),  # disc, r 10 → 8 mm
        (200, 96, 2.0),  # rectangle 20 × 10 → 16 × 6 mm
        (150, 96, 1.0),  # triangle 15-20-25 inset by 1: 12-16-20
    ],
)
def test_margin_advance_per_week(before, after, advance):
    around = {
        math.pi * 100: 20 * math.pi,
        math.pi * 64: 16 * math.pi,
        200: 60,
        150: 60,
        96: 44 if before == 200 else 48,
    }
    found = series.change(sized(before, around[before]), sized(after, around[after]), 14)
    assert found.advance_mm == pytest.approx(advance)
    assert found.advance_per_week == pytest.approx(advance / 2)


def test_percent_and_pace_of_a_published_ulcer():
    """Zimny et al. (2002) J Diabetes Complications 16:327: 61.2 → 3.2 mm² in 70 days.

    As equal discs the radius goes from 4.41 to 1.01 mm, and the margin advances by its difference.
    """
    r0, r1 = (math.sqrt(area / math.pi) for area in (61.2, 3.2))
    found = series.change(sized(61.2, 2 * math.pi * r0, 0.1), sized(3.2, 2 * math.pi * r1, 0.1), 70)
    assert found.verdict == series.SMALLER
    assert found.percent == pytest.approx(-94.77, abs=0.01)
    assert found.advance_mm == pytest.approx(4.41 - 1.01, abs=0.01)
    assert found.advance_per_week == pytest.approx(0.34, abs=0.005)


def test_no_pace_without_days(cast, birds):
    dill = birds["Dill"]
    day, month = (
        photo(cast.flock, dill, "2026-05-14"),
        photo(cast.flock, dill, "2026-06-01", Precision.MONTH),
    )
    later = photo(cast.flock, dill, "2026-06-04")
    day, month, later = (series.Shot(each, None) for each in (day, month, later))
    assert series.days_between(day, later) == 21
    assert series.days_between(day, month) is None
    assert series.change(sized(9), sized(4), None).advance_per_week is None
    assert series.change(sized(9), sized(4), 0).advance_per_week is None


# --- Laying one over the other


def seen_in(cast, bird, scene, outline_mm, **shown):
    """A computed photo of the card, measured by it."""
    kept = photo(cast.flock, bird, "2026-05-14", size=scene.size, **shown)
    scale = Scaled(read_card(scenes.render(scene)), Scaling.CARD)
    outline = scenes.project(scene, outline_mm)
    return series.Shot(kept, measure(photo=kept, keeper=None, scale=scale, outline=outline))


def laid(shot, to_mm):
    """The outline where the page puts it, in mm about the middle of the pane."""
    a, b, c, d, e, f = to_mm
    turn = series.to_shown(shot.photo)
    shown = np.array(shot.measurement.outline_px) @ turn[:, :2].T + turn[:, 2]
    return Polygon(shown @ np.array([(a, b), (c, d)]) + (e, f))


def overlap(one, other):
    return one.intersection(other).area / one.union(other).area


def test_one_sore_in_two_photos_comes_to_lie_on_itself(cast, birds):
    """The same outline on the card, seen from near and far, turned by 35° and tilted otherwise."""
    sore = scenes.ellipse(9, 4)
    near = seen_in(cast, birds["Dill"], scenes.Scene(tilt=12, turn=10, distance=170), sore)
    far = seen_in(
        cast, birds["Dill"], scenes.Scene(tilt=20, tilt_towards=200, turn=45, distance=260), sore
    )
    pair = series.pair(near, far)
    first, second = (laid(shot, to_mm) for shot, to_mm in zip((near, far), pair.to_mm, strict=True))
    assert overlap(first, second) > 0.95
    assert first.area == pytest.approx(Polygon(sore).area, rel=0.05)
    assert math.dist((0, 0), first.centroid.coords[0]) < 0.5
    assert pair.span_mm >= 2 * near.measurement.longest_diameter_mm
    # The first one stays as it was taken: its own turn of 10° is still in it.
    card = cv2.minAreaRect(np.float32(first.exterior.coords))
    flat = cv2.minAreaRect(np.float32(sore))
    assert abs((card[2] - flat[2] + 45) % 90 - 45) == pytest.approx(10, abs=4)


def test_a_keepers_turn_and_crop_do_not_move_the_measured_outline(cast, birds):
    sore = scenes.ellipse(9, 4)
    scene = scenes.Scene(tilt=15, turn=10)
    plain = seen_in(cast, birds["Dill"], scene, sore)
    for turns in range(4):
        edited = seen_in(
            cast, birds["Dill"], scene, sore, quarter_turns=turns, crop=[300, 200, 1300, 1000]
        )
        to_mm = series.pair(plain, edited).to_mm
        assert overlap(laid(plain, to_mm[0]), laid(edited, to_mm[1])) > 0.98, turns


def test_a_known_length_gives_scale_but_no_direction(cast, birds):
    kept = photo(cast.flock, birds["Dill"], "2026-05-14")
    view = from_known_length((0, 0), (300, 400), 50.0)
    square = [(600, 400), (700, 400), (700, 500), (600, 500)]
    found = measure(
        photo=kept, keeper=None, scale=Scaled(view, Scaling.LENGTH, 50.0), outline=square
    )
    to_mm = series.pair(*[series.Shot(kept, found)] * 2).to_mm[0]
    assert to_mm == pytest.approx((0.1, 0, 0, 0.1, -65.05, -45.05), abs=0.001)


@pytest.mark.parametrize(
    ("turns", "place"),
    # A crop of 400 × 200 px from (100, 50): its corners after so many quarter turns clockwise.
    [(0, [(0, 0), (400, 200)]), (1, [(200, 0), (0, 400)]),
     (2, [(400, 200), (0, 0)]), (3, [(0, 400), (200, 0)])],
)  # fmt: skip
def test_places_in_what_is_shown(turns, place):
    kept = Photo(width=1000, height=800, crop=[100, 50, 500, 250], quarter_turns=turns)
    turn = series.to_shown(kept)
    corners = np.array([(99.5, 49.5), (499.5, 249.5)])
    assert corners @ turn[:, :2].T + turn[:, 2] == pytest.approx(np.array(place))
    assert kept.shown == ((400, 200), (200, 400))[turns % 2]


def test_a_whole_series_lies_at_one_scale_and_one_way(cast, birds):
    """Three photos of one sore, from near and far and turned: each map brings it onto the others.

    The card's turn in the first of them, 10°, is kept for all.
    """
    sore = scenes.ellipse(9, 4)
    shots = [
        seen_in(cast, birds["Dill"], scenes.Scene(tilt=12, turn=turn, distance=distance), sore)
        for turn, distance in ((10, 170), (45, 260), (-30, 220))
    ]
    bare = series.Shot(photo(cast.flock, birds["Dill"], "2026-05-15"), None)
    span, maps = series.aligned([*shots, bare])
    assert set(maps) == {shot.key for shot in shots}
    first, *others = (laid(shot, maps[shot.key]) for shot in shots)
    for other in others:
        assert overlap(first, other) > 0.95
    assert series.LEAST_SPAN_MM <= span <= series.MOST_SPAN_MM
    assert series.aligned([bare]) == (0.0, {})


def test_care_stands_between_the_photos_it_was_given_between(cast, birds):
    dill = birds["Dill"]
    days = ("2026-05-01", "2026-05-08", "2026-05-15")
    shots = [series.Shot(photo(cast.flock, dill, day), None) for day in days]
    month = photo(cast.flock, dill, "2026-05-01", Precision.MONTH)
    shots.insert(2, series.Shot(month, None))
    care = [
        (date(2026, 4, 30), "rinsed"),
        (date(2026, 5, 2), "soaked"),
        (date(2026, 5, 4), "soaked"),
        (date(2026, 5, 8), "dressing on"),
        (date(2026, 5, 9), "dressing off"),
        (date(2026, 5, 16), "vet"),
    ]
    told = series.care_before(shots, care)
    assert told.get(shots[0].key, "") == ""
    assert told[shots[1].key] == "soaked 2 times, dressing on"
    assert shots[2].key not in told  # its day is not known
    assert told[shots[3].key] == "dressing off"


# --- The page


def test_who_may_look(cast, birds):
    photo(cast.flock, birds["Dill"], "2026-05-14")
    assert seen(cast, page(cast.flock, birds["Dill"])) == READ_PAGE
    assert cast.clients.owner.get(page(cast.flock, birds["Dill"], "middle")).status_code == 404


def test_an_empty_series_teaches(cast, birds):
    text = cast.clients.owner.get(page(cast.flock, birds["Dill"])).content.decode()
    assert "no photo of this foot yet" in text and "printed card" in text


def test_the_page_says_verdict_percent_and_pace(cast, birds):
    for day, radius in (("2026-05-01", 10), ("2026-05-15", 8)):
        measured(photo(cast.flock, birds["Dill"], day), radius, error=0.05)
    text = " ".join(cast.clients.viewer.get(page(cast.flock, birds["Dill"])).text.split())
    assert "<strong>Between these two: smaller</strong>" in text
    assert "314 ± 16 mm²" in text and "201 ± 10 mm²" in text
    assert "−36%" in text and "It shrank by about 2.0 mm across a week (14 days)" in text
    # √(15.7² + 10.1²)
    assert "here 18.6 mm², and they differ by 113.1 mm²" in text


def test_the_page_rounds_the_percent_of_a_sore_that_grew_much(cast, birds):
    for day, radius in (("2026-05-01", 1), ("2026-05-15", 2.1)):
        measured(photo(cast.flock, birds["Dill"], day), radius, error=0.05)
    assert "Area +340%." in " ".join(
        cast.clients.viewer.get(page(cast.flock, birds["Dill"])).text.split()
    )


def test_the_page_calls_no_change_what_lies_within_the_error(cast, birds):
    for day, radius in (("2026-05-01", 5.0), ("2026-05-15", 5.1)):
        measured(photo(cast.flock, birds["Dill"], day), radius)
    text = cast.clients.viewer.get(page(cast.flock, birds["Dill"])).content.decode()
    assert "<strong>Between these two: no change beyond the measurement error</strong>" in text


def test_without_measurements_both_are_shown_unscaled(cast, birds):
    first, second = (photo(cast.flock, birds["Dill"], f"2026-05-{day}") for day in ("01", "15"))
    answer = cast.clients.keeper.get(page(cast.flock, birds["Dill"]))
    text = answer.content.decode()
    assert "each has its own scale" in text and "data-to-mm" not in text and "data-span" not in text
    assert text.count('<div class="pane">') == 2
    for each in (first, second):
        assert reverse("photos:measure", args=[cast.flock.pk, each.pk]) in text
    one_over = cast.clients.keeper.get(page(cast.flock, birds["Dill"], view="over"))
    text = one_over.content.decode()
    assert text.count('<div class="pane">') == 1 and 'role="slider"' in text


def test_images_have_sizes_before_they_come(cast, birds):
    for day in range(1, 9):
        photo(cast.flock, birds["Dill"], f"2026-05-0{day}", size=(3000, 4000))
    text = cast.clients.viewer.get(page(cast.flock, birds["Dill"])).content.decode()
    images = [tag.split(">")[0] for tag in re.split(r"<img\s", text)[1:]]
    assert len(images) == 10
    assert all('width="' in tag and 'height="' in tag and 'alt="' in tag for tag in images)
    assert sum('loading="lazy"' in tag for tag in images) == 8
    # A standing photo of 1600 × 1200 is 1200 wide at its largest.
    assert "1200w" in images[0] and "600w" in images[0] and "180w" in images[0]


def test_the_chart_is_well_formed_and_each_mark_leads_to_its_photo(cast, birds):
    dill = birds["Dill"]
    days = ("2026-04-01", "2026-04-20", "2026-05-14")
    for day, radius in zip(days, (8, 6, 5), strict=True):
        measured(photo(cast.flock, dill, day), radius)
    measured(photo(cast.flock, dill, "2026-03-01", Precision.MONTH), 9)
    photo(cast.flock, dill, "2026-04-25")
    answer = cast.clients.viewer.get(page(cast.flock, dill))
    root = ElementTree.fromstring(answer.context["chart"])  # noqa: S314
    links = list(root.iter("{http://www.w3.org/2000/svg}a"))
    titles = [link[0].text for link in links]
    assert titles == [
        "March 2026, day not known: 254 ± 25 mm²",
        "1 Apr 2026: 201 ± 20 mm²",
        "20 Apr 2026: 113 ± 11 mm²",
        "14 May 2026: 79 ± 8 mm²",
    ]
    assert all(cast.clients.viewer.get(page(cast.flock, dill) + link.get("href").split("#")[0])
               .status_code == 200 for link in links)  # fmt: skip
    places = [float(link.find("{*}circle").get("cx").rstrip("%")) for link in links]
    first, second, last = places[1:]
    # 19 and 24 days apart, so at the same share of the way.
    assert (second - first) / (last - first) == pytest.approx(19 / 43, abs=0.001)
    heights = [float(link.find("{*}circle").get("cy")) for link in links]
    assert heights == sorted(heights)  # smaller stands lower
    assert links[0].find("{*}circle").get("class") == "ring"
    assert len(links[0].findall("{*}line")) == 2


def test_the_strip_says_date_score_area_and_care_of_each(cast, birds):
    dill, flock = birds["Dill"], cast.flock
    _, second = (photo(flock, dill, f"2026-05-{day}T12:00") for day in ("01", "15"))
    measured(second, 5)
    check = Check.objects.create(flock=flock, bird=dill, at=at("2026-05-15T12:00"))
    check.photos.add(second)
    FootFinding.objects.create(check_record=check, foot="left", score=2)
    FootFinding.objects.create(check_record=check, foot="right", score=0)
    for foot, kind in (("left", "soaked"), ("right", "rinsed")):
        CareStep.objects.create(
            flock=flock, bird=dill, foot=foot, kind=kind, at=at("2026-05-10T12:00")
        )
    answer = cast.clients.viewer.get(page(flock, dill))
    strip = answer.content.decode().split('<ol class="strip"')[1].split("</ol>")[0]
    one, other = strip.split("<li>")[1:]
    assert "1 May 2026" in one and "swollen" not in one and "data-care" not in one
    assert "15 May 2026" in other and "● swollen" in other and "79 ± 8 mm²" in other
    assert 'data-care="soaked"' in other
    assert "data-to-mm" in other and "data-to-mm" not in one


def test_the_choice_is_marked_by_letters_in_time_order(cast, birds):
    for day in ("01", "08", "15"):
        photo(cast.flock, birds["Dill"], f"2026-05-{day}")
    first, _, third = series.shots_of(birds["Dill"], "left")
    url = page(cast.flock, birds["Dill"], a=third.key, b=first.key)
    context = cast.clients.viewer.get(url).context
    assert [frame["letter"] for frame in context["frames"]] == ["A", None, "B"]
    # The one tapped last is the one that steps go on from.
    assert context["now"].key == first.key and context["partner"].key == third.key


@pytest.mark.parametrize(
    ("sizes", "shape"),
    [
        ([(1200, 900), (800, 600)], "lying"),
        ([(900, 1200), (600, 800)], "standing"),
        ([(900, 1200), (1200, 900)], "square"),
    ],
)
def test_unmeasured_photos_stand_in_a_frame_of_their_shape(cast, birds, sizes, shape):
    for day, size in zip(("01", "08"), sizes, strict=True):
        photo(cast.flock, birds["Dill"], f"2026-05-{day}", size=size)
    answer = cast.clients.viewer.get(page(cast.flock, birds["Dill"]))
    assert f'<div class="compared view-side {shape}">' in answer.content.decode()


def test_one_photo_alone_and_its_marker_on_the_curve(cast, birds):
    for day, radius in (("01", 8), ("08", 6), ("15", 5)):
        measured(photo(cast.flock, birds["Dill"], f"2026-05-{day}"), radius)
    _, second, _ = series.shots_of(birds["Dill"], "left")
    answer = cast.clients.viewer.get(
        page(cast.flock, birds["Dill"], a=second.key, b=second.key, view="one")
    )
    text = answer.content.decode()
    assert text.count('<div class="pane">') == 1 and "Between these two" not in text
    assert [frame["letter"] for frame in answer.context["frames"]] == [None, "", None]
    root = ElementTree.fromstring(answer.context["chart"])  # noqa: S314
    marker = next(line for line in root.iterfind(".//{*}line") if line.get("class") == "now")
    mark = next(link for link in root.iterfind(".//{*}a") if link.get("data-key") == second.key)
    assert marker.get("x1") == mark.find("{*}circle").get("cx")


def test_care_is_marked_below_the_curve(cast, birds):
    dill = birds["Dill"]
    for day in ("2026-05-01", "2026-05-15"):
        measured(photo(cast.flock, dill, day))
    for day in ("2026-04-01", "2026-05-08", "2026-05-08"):
        CareStep.objects.create(
            flock=cast.flock, bird=dill, foot="left", kind="soaked", at=at(f"{day}T12:00")
        )
    answer = cast.clients.viewer.get(page(cast.flock, dill))
    root = ElementTree.fromstring(answer.context["chart"])  # noqa: S314
    marks = [line for line in root.iterfind(".//{*}line") if line.get("class") == "care"]
    assert [mark.find("{*}title").text for mark in marks] == ["8 May 2026: soaked"]


def test_no_more_than_twelve_queries(cast, birds, django_assert_max_num_queries):
    for day in range(1, 20):
        measured(photo(cast.flock, birds["Dill"], f"2026-05-{day:02}"))
    cast.clients.owner.get(page(cast.flock, birds["Dill"]))  # how all birds stand is kept
    with django_assert_max_num_queries(12):
        cast.clients.owner.get(page(cast.flock, birds["Dill"]))


def test_queries_are_the_same_for_one_and_for_many(cast, birds):
    dill = birds["Dill"]
    for day in ("2025-05-01", "2025-05-02"):
        measured(photo(cast.flock, dill, day))

    def grow():
        for day in range(1, 20):
            measured(photo(cast.flock, dill, f"2026-05-{day:02}"))

    same_queries(cast.clients.owner, page(cast.flock, dill), grow=grow)


@pytest.mark.parametrize("view", ["one", "side", "over", "fade"])
def test_two_hundred_measured_photos_are_a_light_page(cast, birds, view):
    dill, start = birds["Dill"], at("2022-01-01")
    photos = [
        photo(cast.flock, dill, (start + timedelta(days=7 * week)).date().isoformat())
        for week in range(200)
    ]
    for number, each in enumerate(photos):
        measured(each, 3 + number % 9)
    answer = cast.clients.owner.get(page(cast.flock, dill, view=view))
    assert answer.content.count(b'loading="lazy"') == 200
    assert len(answer.content) <= 150_000


def test_the_bound_of_a_length_is_half_that_of_the_area(cast, birds):
    """By hand: area A(1 ± 0.1) means side √A(1 ± 0.05) to first order; 5 % of 10 mm is 0.5 mm."""
    one = measured(photo(cast.flock, birds["Dill"], "2026-05-14"), radius_mm=5.0, error=0.1)
    assert one.diameter_error_mm == pytest.approx(0.5)
    assert one.area_error_mm2 == pytest.approx(0.1 * math.pi * 25)
    assert words.diameter(one) == "10.0 ± 0.5 mm"
