"""A house over time: its photos in order of days, and the slider over what changed."""

import datetime as dt
import io
import uuid
from itertools import pairwise

import pytest
from django.urls import reverse
from PIL import Image

from flockcare.housing import film, scrubber
from flockcare.housing.changes import Change, history
from flockcare.housing.models import Event, House, HousingChange, Wetness
from flockcare.housing.states import HouseRecord, record_of
from flockcare.photos.models import Photo, Precision
from flockcare.trends import answer_rows, words
from tests.housing.rows import feature, house, state

MAY, JUNE, JULY = dt.date(2026, 5, 10), dt.date(2026, 6, 10), dt.date(2026, 7, 1)
DAY = dt.timedelta(1)


@pytest.fixture
def shed(cast):
    shed = house(cast.flock, floor_length_cm=200, floor_width_cm=150)
    bar = feature(shed, "Top bar")
    state(bar, MAY, height_cm=140, length_cm=200)
    state(bar, JUNE, height_cm=60, length_cm=200)
    return shed


def url(name, of, query=""):
    return reverse(f"housing:{name}", args=[of.flock_id, of.pk]) + query


def photo(flock, number, taken=None):
    return Photo.objects.create(
        flock=flock,
        width=9,
        height=9,
        stored_bytes=9,
        sha256=f"{number:064}",
        look_hash=0,
        taken=taken,
        taken_precision=Precision.MOMENT if taken else Precision.UNKNOWN,
    )


def told(of, on, *photos, **said):
    record = HousingChange.objects.create(flock=of.flock, house=of, on=on, **said)
    record.photos.add(*photos)
    return record


def context(client, address):
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.context


# Photos


def test_photos_stand_by_the_day_they_were_put_to(cast, shed):
    noon = dt.datetime(2026, 6, 10, 12, tzinfo=dt.UTC)
    late, early, wet, plain, planned = (
        photo(cast.flock, number, taken)
        # Of the day of the plain one the camera knew nothing right.
        for number, taken in enumerate([noon, noon - dt.timedelta(hours=2), None, noon, None])
    )
    told(shed, JUNE, late, early, note="Lowered for Mace. By Ada.")
    told(shed, MAY - DAY, plain)
    told(shed, None, planned, planned=True)
    spell = Event.objects.create(flock=cast.flock, on=JUNE + DAY, kind="wet spell")
    spell.photos.add(wet, late)
    other = house(cast.flock, "Barn")
    told(other, JUNE, photo(cast.flock, 9))
    shots = context(cast.clients.viewer, url("photos", shed))["shots"]
    assert [shot.photo for shot in shots] == [plain, early, late, wet]
    assert [shot.when for shot in shots] == [
        *("9 May 2026", "10 Jun 2026", "10 Jun 2026", "11 Jun 2026")
    ]
    assert [shot.told for shot in shots] == [
        "",
        "Top bar 140 → 60 cm. Lowered for Mace",
        "Top bar 140 → 60 cm. Lowered for Mace. Wet spell",
        "Wet spell",
    ]


def test_two_photos_are_compared_by_their_keys(cast, shed):
    for number in range(3):
        told(shed, MAY + number * DAY, photo(cast.flock, number))
    first, _, last = (
        shot.key for shot in context(cast.clients.owner, url("photos", shed))["shots"]
    )
    found = context(cast.clients.owner, url("photos", shed, f"?a={last}&b={first}"))
    assert [pane["shot"].key for pane in found["panes"]] == [first, last]
    assert [pane["shot"].on for pane in found["panes"]] == [MAY, MAY + 2 * DAY]


def upload(colour, taken=None):
    file, picture = io.BytesIO(), Image.new("RGB", (40, 30), colour)
    exif = picture.getexif()
    if taken:
        exif.get_ifd(0x8769)[0x9003] = taken
    picture.save(file, "JPEG", exif=exif)
    file.seek(0)
    file.name = "house.jpg"
    return file


def test_photos_are_added_to_the_day_given_or_to_their_own(cast, shed):
    page = url("photos", shed)
    told(shed, JUNE, note="Lowered.")
    for on, file in (
        (JUNE, upload("red", "2026:07:01 12:00:00")),
        ("", upload("blue", "2026:07:01 12:00:00")),
    ):
        assert cast.clients.keeper.post(page, {"on": on, "photos": file}).status_code == 302
    kept = HousingChange.objects.filter(house=shed).order_by("on")
    assert [(one.on, one.note, one.photos.count()) for one in kept] == [
        (JUNE, "Lowered.", 1),
        (JULY, "", 1),
    ]
    assert set(Photo.objects.values_list("of_house", flat=True)) == {True}
    # A photo alone is no change of the house.
    newest = history(record_of(shed), kept, units=cast.flock.units)[0]
    assert newest.on == JULY and not newest.made and not newest.asks


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({}, "Choose a photo first."),
        ({"on": "2999-01-01", "photos": "red"}, "This day is in the future."),
    ],
)
def test_why_a_photo_is_not_added_is_said(cast, shed, sent, words):
    if "photos" in sent:
        sent = sent | {"photos": upload(sent["photos"])}
    answer = cast.clients.keeper.post(url("photos", shed), sent)
    assert answer.status_code == 422 and words in answer.content.decode()
    assert not HousingChange.objects.exists()
    # What was sent already need not be chosen again.
    assert answer.content.decode().count('name="kept"') == Photo.objects.count()


# The slider


def bare(begins=MAY):
    """A record without a database: only its days matter here."""
    record = HouseRecord(House(name="Shed"), [], {})
    state = type("State", (), {"since": begins})
    return HouseRecord(record.house, [], {1: [state]} if begins else {})


def test_stops_are_the_days_on_record_and_today():
    changes = [Change(JUNE, changed=["Top bar lowered"]), Change(MAY, begins=True, noted=["Bar"])]
    happened = [Event(on=JUNE, kind="bedding"), Event(on=MAY - DAY, kind="predator")]
    stops = scrubber.stops_of(bare(), changes, happened, JULY)
    # What happened before anything was described leads to no drawing.
    assert [(stop.on, stop.words, stop.changed) for stop in stops] == [
        (MAY, "10 May 2026, the record begins", True),
        (JUNE, "10 Jun 2026, Top bar lowered, bedding renewed", True),
        (JULY, "today", False),
    ]
    assert [stop.x for stop in stops] == [0, 50, 100]
    assert scrubber.stops_of(bare(None), changes, happened, JULY) == []


def test_no_year_is_written_over_another():
    days = [dt.date(2020 + number // 2, 1 + number % 2, 1) for number in range(12)]
    stops = scrubber.stops_of(bare(days[0]), [Change(day) for day in days], [], days[-1])
    years = [stop for stop in stops if stop.year]
    assert years[0].year == "2020"
    assert all(after.x - before.x >= 13 for before, after in pairwise(years))


@pytest.mark.parametrize(
    ("step", "day"), [("0", MAY), ("1", JUNE), ("7", JULY), ("-3", MAY), ("x", None), ("", None)]
)
def test_a_step_is_a_day(step, day):
    stops = scrubber.stops_of(bare(), [Change(MAY), Change(JUNE)], [], JULY)
    assert scrubber.day_at(stops, step) == day


def test_the_drawing_of_a_stop_is_the_house_of_its_day(cast, shed):
    record = record_of(shed)
    today = context(cast.clients.viewer, url("house", shed))
    assert today["day"] == today["stops"][-1].on and today["step"] == 2
    for number, stop in enumerate(today["stops"]):
        found = context(cast.clients.viewer, url("house", shed, f"?step={number}"))
        assert found["day"] == stop.on and found["layout"] == record.on(stop.on)
        height = f"{record.on(stop.on)[0][1].height_cm:g} cm"
        assert all(height in drawing for drawing in found["drawings"])
    between = context(cast.clients.viewer, url("house", shed, f"?on={JUNE - DAY}"))
    assert between["step"] == 0 and between["layout"] == record.on(JUNE - DAY)
    assert (between["earlier_stop"], between["later_stop"]) == (MAY, JUNE)
    assert between["held"].on == MAY


def test_the_address_says_the_day_and_not_the_number(cast, shed):
    answer = cast.clients.viewer.get(url("house", shed, "?step=1"), headers={"HX-Request": "true"})
    assert answer["HX-Replace-Url"] == url("house", shed, f"?on={JUNE}")
    answer = cast.clients.viewer.get(url("house", shed, "?step=2"), headers={"HX-Request": "true"})
    assert answer["HX-Replace-Url"] == url("house", shed)


def test_what_happened_near_and_how_wet_it_was(cast, shed):
    for on, kind, until in [
        (JUNE - 15 * DAY, "predator", None),
        (JUNE - 14 * DAY, "bedding", None),
        (JUNE - 20 * DAY, "wet spell", JUNE),
        (JUNE - 30 * DAY, "housing order", JUNE - DAY),
    ]:
        Event.objects.create(flock=cast.flock, house=shed, on=on, until=until, kind=kind)
    for on, level in [(JUNE - 5 * DAY, "wet"), (JUNE + 4 * DAY, "damp"), (JUNE + 6 * DAY, "dry")]:
        Wetness.objects.create(flock=cast.flock, house=shed, on=on, level=level)
    found = context(cast.clients.viewer, url("house", shed, f"?on={JUNE}"))
    assert [event.kind for event in found["near"]] == ["bedding", "wet spell"]
    assert found["wet"].level == "damp"
    far = context(cast.clients.viewer, url("house", shed, f"?on={MAY}"))
    assert far["wet"] is None


def test_a_day_with_photos_alone_hides_no_change(cast, shed):
    told(shed, JULY, photo(cast.flock, 1))
    assert context(cast.clients.viewer, url("house", shed))["held"].on == JUNE
    assert context(cast.clients.viewer, url("house", shed, f"?on={JULY}"))["held"].on == JULY


def row(of, on, called):
    return answer_rows.AnswerRow(
        number=1,
        called=called,
        place=of.name,
        when="June",
        houses=(of.name,),
        house=of.pk,
        on=on,
        mark=words.FEWER,
        sentence="Fewer cases followed.",
        figure=None,
        told=True,
        fresh=False,
    )


def test_the_answer_of_the_change_stands_at_its_day(cast, shed, monkeypatch):
    other = House(flock=cast.flock, name="Barn", pk=uuid.uuid4())
    rows = [row(shed, JUNE, "Bar lowered"), row(shed, MAY, "Bar put up"), row(other, JUNE, "Barn")]
    kept = answer_rows.Kept(JULY, rows)
    monkeypatch.setattr(answer_rows, "kept", lambda flock: kept if flock == cast.flock else None)
    names = ["Bar lowered", "Bar put up", "Barn</a>"]

    def answers(query):
        page = cast.clients.viewer.get(url("house", shed, query)).content.decode()
        return [name for name in names if name in page]

    assert answers(f"?on={JUNE}") == ["Bar lowered"]
    # The change of June still holds on the day after.
    assert answers(f"?on={JUNE + DAY}") == ["Bar lowered"]
    assert answers(f"?on={MAY}") == ["Bar put up"]
    assert answers("") == ["Bar lowered", "Bar put up"]
    kept = None
    assert answers(f"?on={JUNE}") == []


def test_the_day_of_a_photo_is_its_cameras_where_it_is_known():
    taken = dt.datetime(2026, 6, 10, 12, tzinfo=dt.UTC)
    for precision, day in ((Precision.DAY, JUNE), (Precision.MONTH, JULY), ("unknown", JULY)):
        assert film.day_of(Photo(taken=taken, taken_precision=precision), JULY) == day


def test_nothing_is_measured_in_a_photo_of_a_house(cast):
    one = photo(cast.flock, 1)
    page = reverse("photos:photo", args=[cast.flock.pk, one.pk])
    assert "Measure the sore" in cast.clients.owner.get(page).content.decode()
    Photo.objects.filter(pk=one.pk).update(of_house=True)
    shown = cast.clients.owner.get(page).content.decode()
    assert "<h1>Photo of a house</h1>" in " ".join(shown.split()).replace("<h1> ", "<h1>")
    assert "sore" not in shown and "not named yet" not in shown
