"""Old photos are brought in, named, dated and scored; with a score they become checks."""

import hashlib
import io
import re
import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone
from PIL import ExifTags, Image

from flockcare.core.dates import PartialDate
from flockcare.feet import services, sorting
from flockcare.feet.models import Check, FootFinding, SortingNote
from flockcare.feet.sorting_page import last_sorted, sort_page
from flockcare.people.models import Revision
from flockcare.photos import cards
from flockcare.photos.models import Measurement, Photo
from tests.feet.conftest import DAY, LONDON
from tests.people.rows import FORM_PAGE, NOT_WRITERS, READ_PAGE, refused, same_queries, seen
from tests.photos.scenes import Scene, render

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clock_of_the_flock")]


def url(cast, name="sort", *args):
    return reverse(f"feet:{name}", args=[cast.flock.pk, *args])


def fresh(photo):
    return Photo.with_deleted.get(pk=photo.pk)


def shown(cast, **asked):
    asked = {"show": "unnamed", "newest_first": False, "number": 1} | asked
    return sort_page(cast.flock, **asked)


def refusal(work) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as refused_:
        work()
    return refused_.value.message_dict


# --- Bringing in


def picture(colour="tan", size=(640, 480), taken="", name="foot.jpg"):
    stream = io.BytesIO()
    exif = Image.Exif()
    if taken:
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = taken
    image = colour if isinstance(colour, Image.Image) else Image.new("RGB", size, colour)
    image.save(stream, "JPEG", quality=92, exif=exif)
    stream.seek(0)
    stream.name = name
    return stream


def card(code) -> Image.Image:
    """The printed card on a brown table, seen from above."""
    table = Image.new("RGB", (1600, 1200), (120, 96, 70))
    drawn = cards.render_card(code, dpi=300)
    table.paste(drawn.convert("RGB"), ((1600 - drawn.width) // 2, (1200 - drawn.height) // 2))
    return table


def send(cast, stream, **said):
    return cast.clients.keeper.post(url(cast, "sort_send"), {"photo": stream, **said})


def test_the_camera_dates_a_photo(cast):
    answer = send(cast, picture(taken="2022:03:04 05:06:07", name="IMG_20230514_173005.jpg"))
    photo = Photo.objects.get()
    assert (answer.status_code, answer.json()) == (201, {"id": str(photo.pk), "new": True})
    assert photo.taken == datetime(2022, 3, 4, 5, 6, 7, tzinfo=LONDON)
    assert (photo.taken_precision, photo.taken_source) == ("moment", "camera")
    assert (photo.bird, photo.foot, photo.keeper) == (None, "", cast.keeper)


def test_then_the_name_then_the_files_time_then_nothing(cast):
    copied = datetime(2024, 8, 1, 9, 30, tzinfo=UTC)
    modified = int(copied.timestamp() * 1000)
    send(cast, picture("red", name="IMG-20230514-WA0003.jpg"), modified=modified)
    send(cast, picture("green", name="hen.jpg"), modified=modified)
    send(cast, picture("blue", name="hen.jpg"), modified="soon")
    told = Photo.objects.order_by("added_at").values_list(
        "taken", "taken_precision", "taken_source"
    )
    assert list(told) == [
        (datetime(2023, 5, 14, tzinfo=LONDON), "day", "file name"),
        (copied, "moment", "file time"),
        (None, "unknown", ""),
    ]


def test_the_same_file_is_kept_once(cast):
    send(cast, picture())
    assert send(cast, picture(name="other.jpg")).json()["new"] is False
    assert Photo.objects.count() == 1


def test_the_browser_can_ask_what_is_here(cast):
    """Against hashlib, which is what a browser's crypto.subtle computes as well."""
    data = picture().read()
    send(cast, picture())
    here, not_here = hashlib.sha256(data).hexdigest(), "0" * 64
    asked = {"sha256": [here, not_here, "no hash"]}
    assert cast.clients.keeper.post(url(cast, "sort_known"), asked).json() == {"known": [here]}
    elsewhere = reverse("feet:sort_known", args=[cast.elsewhere.pk])
    assert cast.clients.stranger.post(elsewhere, asked).json() == {"known": []}


def test_one_bad_file_does_not_stop_the_rest(cast):
    bad = io.BytesIO(b"no picture at all")
    bad.name = "notes.txt"
    files = [picture("red", name="a.jpg"), bad, picture("blue", name="b.jpg"), picture("red")]
    answer = cast.clients.keeper.post(url(cast, "sort_add"), {"photo": files}, follow=True)
    page = answer.content.decode()
    assert "2 photos added" in page
    assert "1 was here already" in page
    assert "“notes.txt” is not a picture we can read" in page
    assert Photo.objects.count() == 2


def test_a_refused_file_says_why(cast):
    bad = io.BytesIO(b"GIF89a and so on")
    bad.name = "hen.gif"
    answer = send(cast, bad)
    assert answer.status_code == 422
    assert answer.json()["error"].startswith("“hen.gif” is a GIF file.")
    assert cast.clients.keeper.post(url(cast, "sort_send")).status_code == 400


@pytest.mark.parametrize("foot", ["", "left", "right"])
def test_a_card_names_bird_and_foot(cast, birds, foot):
    dill = birds["Dill"]
    send(cast, picture(card(f"{dill.pk}-{foot}" if foot else str(dill.pk))))
    photo = Photo.objects.get()
    assert (photo.bird, photo.foot) == (dill, foot)
    assert (photo.sorting.card_bird, photo.sorting.card_foot) == (dill, foot)


def test_a_card_is_read_in_a_photo_taken_by_hand(cast, birds):
    """Tilted, turned, half a metre away, a little out of focus (a computed scene)."""
    code = f"{birds['Mace'].pk}-right"
    scene = Scene(code=code, distance=450, tilt=25, turn=25, defocus=0.3, seed=3)
    send(cast, picture(render(scene)))
    photo = Photo.objects.get()
    assert (photo.bird, photo.foot) == (birds["Mace"], "right")


def test_a_reader_that_fails_does_not_lose_the_photo(cast, monkeypatch):
    def fail(image):
        raise RuntimeError("broken")

    monkeypatch.setattr("flockcare.photos.services.read_card", fail)
    assert send(cast, picture()).status_code == 201


def test_a_card_of_another_flock_or_of_no_bird_names_nobody(cast, birds):
    elsewhere = birds["Dill"]
    elsewhere.flock = cast.elsewhere
    elsewhere.save()
    for code in (str(elsewhere.pk), str(uuid.uuid4()), "HTTPS://HENS.EXAMPLE"):
        send(cast, picture(card(code)))
    assert list(Photo.objects.values_list("bird", flat=True)) == [None] * 3
    assert not SortingNote.objects.exists()


# --- The page


def titles(page):
    return [(section.title, len(section.tiles)) for section in page.sections]


def test_groups_by_time_oldest_or_newest_first(cast, shoebox):
    shoebox(minutes=0)
    shoebox(minutes=10)
    shoebox(minutes=60)
    day = datetime(2024, 1, 2, tzinfo=LONDON)
    shoebox(taken=day, taken_precision="day", taken_source="file name")
    shoebox(taken=day.replace(day=1), taken_precision="month", taken_source="hand")
    shoebox(taken=None, taken_precision="unknown", taken_source="")
    expected = [
        ("14 May 2023, 17:30–17:40", 2),
        ("14 May 2023, 18:30", 1),
        ("January 2024, day not known", 1),
        ("2 Jan 2024, time not known", 1),
    ]
    undated = [("No date known", 1)]
    assert titles(shown(cast)) == expected + undated
    assert titles(shown(cast, newest_first=True)) == expected[::-1] + undated


def test_a_doubtful_date_is_marked(cast, shoebox):
    shoebox(taken_source="file time", minutes=1)
    shoebox(taken_source="camera")
    assert [section.doubt for section in shown(cast).sections] == [
        "",
        "by the file’s time, doubtful",
    ]
    assert "doubtful" in cast.clients.keeper.get(url(cast)).content.decode()


def test_it_says_that_a_score_becomes_a_check(cast, shoebox):
    shoebox()
    for page in (url(cast), url(cast).replace("/sort/", "/sort/one/")):
        assert "A score is saved as a check" in cast.clients.keeper.get(page).text, page


def test_photos_in_a_check_are_sorted(cast, birds, shoebox, give):
    photo = shoebox()
    give(photo, bird=birds["Dill"], foot="left", score=1)
    for show in ("unnamed", "named", "unknown"):
        assert not shown(cast, show=show).sections


def test_many_photos_come_in_pages(cast, shoebox):
    for number in range(300):
        shoebox(minutes=number)
    counts = [
        sum(len(section.tiles) for section in shown(cast, number=number).sections)
        for number in (1, 2, 3, 9)
    ]
    assert counts == [120, 120, 60, 60]
    assert shown(cast, number=2).sections[0].continued


def test_the_page_asks_the_database_as_often_for_500_photos(cast, birds, shoebox, give):
    give(shoebox(), bird=birds["Dill"])
    card_photo = shoebox(bird=birds["Dill"])
    SortingNote.objects.create(photo=card_photo, card_bird=birds["Dill"])
    shoebox(look_hash=1)
    shoebox(look_hash=0)

    def grow():
        for number in range(500):
            shoebox(minutes=number, look_hash=number)

    same_queries(cast.clients.keeper, url(cast), grow=grow)


def test_a_page_with_500_photos_stays_light(cast, shoebox):
    for number in range(500):
        shoebox(minutes=3 * number)
    page = cast.clients.keeper.get(url(cast)).content.decode()
    assert page.count("<img src=") == page.count('loading="lazy"') <= 120
    assert page.count('width="240" height="180"') == page.count("<img src=")
    assert len(page.encode()) < 100_000


def test_who_may(cast, birds, shoebox):
    SortingNote.objects.create(photo=(photo := shoebox()), card_bird=birds["Dill"])
    assert seen(cast, url(cast)) == FORM_PAGE
    assert seen(cast, url(cast, "sort_count")) == READ_PAGE
    for name in ("sort", "sort_add", "sort_send", "sort_known", "sort_alike", "sort_undo"):
        assert refused(cast, url(cast, name)) == NOT_WRITERS
    assert refused(cast, url(cast, "sort_follow", photo.pk)) == NOT_WRITERS


def test_the_way_there_tells_how_many(cast, birds, shoebox, give):
    give(shoebox(), nobody_knows=True)
    shoebox(bird=birds["Dill"])
    assert cast.clients.keeper.get(url(cast, "sort_count")).content.strip() == b""
    shoebox(), shoebox()
    assert "2 not named" in cast.clients.keeper.get(url(cast, "sort_count")).content.decode()
    more = reverse("people:more", args=[cast.flock.pk])
    assert url(cast) in cast.clients.keeper.get(more).content.decode()
    assert url(cast) not in cast.clients.viewer.get(more).content.decode()


# --- Naming and dating


def test_bird_and_foot_for_many_at_once(cast, birds, shoebox):
    photos = [shoebox(minutes=n) for n in range(3)]
    other = shoebox()
    answer = cast.clients.keeper.post(
        url(cast),
        {"photo": [p.pk for p in photos], "bird": birds["Dill"].pk, "foot": "left"},
        follow=True,
    )
    assert [(p.bird, p.foot) for p in map(fresh, photos)] == [(birds["Dill"], "left")] * 3
    assert fresh(other).bird is None
    assert "3 photos: Dill, left foot." in answer.content.decode()
    assert Revision.objects.filter(kind="photos.Photo").count() == 3
    assert not Check.objects.exists()


def test_dates_by_hand(shoebox, give):
    cases = {"2021": "year", "2021-06": "month", "2021-06-05": "day"}
    for text, precision in cases.items():
        photo = shoebox()
        give(photo, date=PartialDate.parse(text))
        dated = fresh(photo)
        assert timezone.localtime(dated.taken).strftime("%Y-%m-%d").startswith(text)
        assert (dated.taken_precision, dated.taken_source) == (precision, "hand")


def test_the_day_that_is_known_already_keeps_its_time(shoebox, give):
    photo = shoebox(taken_source="file time")
    give(photo, date=PartialDate(2023, 5, 14))
    dated = fresh(photo)
    assert (dated.taken, dated.taken_precision, dated.taken_source) == (DAY, "moment", "hand")


def test_nobody_knows_whose(cast, birds, shoebox, give):
    photo = shoebox()
    give(photo, nobody_knows=True)
    assert fresh(photo).bird is None
    assert not shown(cast).sections
    assert len(shown(cast, show="unknown").sections) == 1
    give(photo, bird=birds["Dill"])
    assert not shown(cast, show="unknown").sections
    assert fresh(photo).bird == birds["Dill"]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({}, "Choose one or more photos first."),
        ({"photo": "x"}, "Choose one or more photos first."),
        ({"photo": str(uuid.uuid4()), "foot": "left"}, "Somebody has just sorted these"),
        ({"photo": None}, "Say what these photos show"),
        ({"photo": None, "bird": "x"}, "There is no such bird in this flock."),
        ({"photo": None, "bird": str(uuid.uuid4())}, "There is no such bird in this flock."),
        ({"photo": None, "score": "3"}, "The lesion score is 0, 1 or 2."),
        ({"photo": None, "date": "in May"}, "is not a date"),
        ({"photo": None, "date": "2023-02-30"}, "There is no such date"),
        ({"photo": None, "score": "1", "foot": "left"}, "Say whose foot this is."),
    ],
)
def test_what_cannot_be_says_why_and_keeps_the_choice(cast, shoebox, said, words):
    photo = shoebox()
    said = {key: value or str(photo.pk) for key, value in said.items()}
    answer = cast.clients.keeper.post(url(cast), said)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    if said.get("photo") == str(photo.pk):
        assert f'value="{photo.pk}" checked' in page
    assert fresh(photo).bird is None


def test_photos_of_another_flock_are_left_alone(cast, birds, shoebox, give):
    strange = shoebox(flock=cast.elsewhere)
    give(shoebox(), strange, bird=birds["Dill"])
    assert fresh(strange).bird is None
    bird = birds["Mace"]
    bird.flock = cast.elsewhere
    bird.save()
    own = shoebox()
    said = {"photo": own.pk, "bird": bird.pk}
    assert cast.clients.keeper.post(url(cast), said).status_code == 422


def test_what_another_keeper_named_meanwhile_is_left_alone(cast, birds, shoebox, give):
    mine, theirs = shoebox(), shoebox()
    give(theirs, bird=birds["Mace"])
    answer = cast.clients.owner.post(
        url(cast), {"photo": [mine.pk, theirs.pk], "bird": birds["Dill"].pk}, follow=True
    )
    assert (fresh(mine).bird, fresh(theirs).bird) == (birds["Dill"], birds["Mace"])
    assert "1 had just been sorted by somebody and stayed as it is." in answer.content.decode()
    # Where it stands now, it can be mended.
    cast.clients.owner.post(
        f"{url(cast)}?show=named", {"photo": theirs.pk, "bird": birds["Dill"].pk}
    )
    assert fresh(theirs).bird == birds["Dill"]


def test_a_card_does_not_rename_what_was_named_meanwhile(cast, birds, shoebox, give):
    card_ = card_photo(shoebox, birds["Dill"])
    one, other = shoebox(minutes=1), shoebox(minutes=2)
    give(one, bird=birds["Mace"])
    cast.clients.keeper.post(
        url(cast, "sort_follow", card_.pk), {"answer": "yes", "photo": [one.pk, other.pk]}
    )
    assert (fresh(one).bird, fresh(other).bird) == (birds["Mace"], birds["Dill"])


# --- Photos with a score become checks


def findings(check):
    return sorted(check.findings.values_list("foot", "score"))


def test_a_score_makes_a_check_of_that_day(cast, birds, shoebox, give):
    early, late = shoebox(minutes=0), shoebox(minutes=5)
    deed = give(late, early, bird=birds["Dill"], foot="left", score=1)
    check = Check.objects.get()
    assert (check.bird, check.at, check.time_known) == (birds["Dill"], DAY, True)
    assert (check.keeper, findings(check)) == (cast.keeper, [("left", 1)])
    assert timezone.now() - check.received_at < timedelta(minutes=1)
    assert set(check.photos.all()) == {early, late}
    assert deed.words == "2 photos: Dill, left foot, mild (1). 1 check made."


def test_days_are_the_flocks_own(birds, shoebox, give):
    """23:30 in UTC is past midnight in London in summer."""
    late = datetime(2023, 5, 14, 22, 50, tzinfo=UTC)
    before, after = shoebox(taken=late), shoebox(taken=late + timedelta(minutes=40))
    give(before, after, bird=birds["Dill"], foot="left", score=1)
    days = [timezone.localdate(check.at).day for check in Check.objects.order_by("at")]
    assert days == [14, 15]


def test_a_photo_known_to_the_day_makes_a_check_without_time(birds, shoebox, give):
    photo = shoebox(
        taken=datetime(2023, 5, 14, tzinfo=LONDON),
        taken_precision="day",
        taken_source="file name",
    )
    give(photo, bird=birds["Dill"], foot="right", score=0)
    check = Check.objects.get()
    assert (timezone.localdate(check.at).isoformat(), check.time_known) == ("2023-05-14", False)


def test_both_feet_of_one_day_become_one_check(birds, shoebox, give):
    give(shoebox(), bird=birds["Dill"], foot="left", score=2)
    give(shoebox(minutes=9), bird=birds["Dill"], foot="right", score=0)
    check = Check.objects.get()
    assert findings(check) == [("left", 2), ("right", 0)]
    assert check.photos.count() == 2


def test_feet_said_earlier_are_scored_together(birds, shoebox, give):
    left, right = shoebox(foot="left"), shoebox(foot="right")
    give(left, right, bird=birds["Dill"], score=0)
    assert findings(Check.objects.get()) == [("left", 0), ("right", 0)]


def checked(cast, bird, *, at=DAY, **scores):
    said = [
        FootFinding(foot=foot, score=score, sites=["main"] if score else [])
        for foot, score in scores.items()
    ]
    return services.save_check(
        flock=cast.flock,
        bird=bird,
        keeper=cast.owner,
        check_id=uuid.uuid4(),
        at=at,
        seen=services.Seen(said, signs={"note": "Limps."}),
    )[0]


def test_a_check_that_says_the_same_gets_the_photo(cast, birds, shoebox, give):
    check = checked(cast, birds["Dill"], left=1, right=0)
    give(photo := shoebox(minutes=-300), bird=birds["Dill"], foot="left", score=1)
    check.refresh_from_db()
    assert Check.objects.count() == 1
    assert list(check.photos.all()) == [photo]
    assert findings(check) == [("left", 1), ("right", 0)]
    assert check.findings.get(foot="left").sites == ["main"]
    assert (check.at, check.note, check.keeper) == (DAY, "Limps.", cast.owner)


def test_a_check_that_says_nothing_of_that_foot_learns_it(cast, birds, shoebox, give):
    check = checked(cast, birds["Dill"], right=0)
    give(shoebox(), bird=birds["Dill"], foot="left", score=2)
    assert findings(check) == [("left", 2), ("right", 0)]
    assert Revision.objects.filter(record=check.pk, kind="feet.Check").exists()


def test_a_check_that_says_something_else_is_not_touched(cast, birds, shoebox, give):
    check = checked(cast, birds["Dill"], left=0, right=0)
    photo, other_day = shoebox(), shoebox(minutes=3 * 1440)
    errors = refusal(lambda: give(photo, other_day, bird=birds["Dill"], foot="left", score=1))
    assert list(errors) == ["score"]
    assert errors["score"][0].startswith(
        "Dill was checked on 14 May 2023, and the left foot was clear (0) then."
    )
    assert reverse("feet:check", args=[cast.flock.pk, check.pk]) in errors["score"][0]
    # All or nothing: the other day's photo is as it was, too.
    assert Check.objects.count() == 1
    assert (fresh(photo).bird, fresh(other_day).bird) == (None, None)


def test_other_birds_and_other_days_are_other_checks(cast, birds, shoebox, give):
    checked(cast, birds["Mace"], left=0)
    checked(cast, birds["Dill"], at=DAY + timedelta(days=1), left=0)
    give(shoebox(), bird=birds["Dill"], foot="left", score=1)
    assert Check.objects.count() == 3


def test_a_score_from_before_she_came_is_refused(birds, shoebox, give):
    dill = birds["Dill"]
    dill.joined = "2024-06"
    dill.save()
    early, late = (
        shoebox(taken=datetime(2024, month, day, 12, tzinfo=UTC))
        for month, day in ((5, 31), (6, 1))
    )
    told = {"bird": dill, "foot": "left", "score": 1}
    assert "before the bird came" in refusal(lambda: give(early, **told))["date"][0]
    give(late, **told)
    assert Check.objects.get().photos.get() == late


@pytest.mark.parametrize("precision", ["month", "year", "unknown"])
def test_a_score_needs_the_day(birds, shoebox, give, precision):
    vague = shoebox(taken_precision=precision, taken=None if precision == "unknown" else DAY)
    errors = refusal(lambda: give(shoebox(), vague, bird=birds["Dill"], foot="left", score=1))
    assert list(errors) == ["date"]
    assert "(1 of 2 photos)" in errors["date"][0]
    give(vague, bird=birds["Dill"], foot="left", score=1, date=PartialDate(2023, 5, 14))
    assert Check.objects.get().photos.get() == vague


@pytest.mark.parametrize("source", ["file time", "upload"])
def test_a_doubtful_date_must_be_confirmed_for_a_score(birds, shoebox, give, source):
    photo = shoebox(taken_source=source)
    said = {"bird": birds["Dill"], "foot": "left", "score": 1}
    errors = refusal(lambda: give(photo, **said))
    assert "tick “The dates are right”" in errors["date"][0]
    give(photo, **said, dates_right=True)
    assert (Check.objects.get().at, fresh(photo).taken_source) == (DAY, "hand")


def test_a_score_needs_bird_and_foot(birds, shoebox, give):
    assert set(refusal(lambda: give(shoebox(), score=0))) == {"bird", "foot"}
    assert set(refusal(lambda: give(shoebox(), bird=birds["Dill"], foot="", score=0))) == {"foot"}
    assert set(refusal(lambda: give(shoebox(), nobody_knows=True, foot="left", score=0))) == {
        "bird"
    }


def test_not_after_she_left_nor_in_the_future(birds, shoebox, give):
    dill = birds["Dill"]
    dill.left, dill.left_reason = "2022", "died"
    dill.save()
    errors = refusal(lambda: give(shoebox(), bird=dill, foot="left", score=1))
    assert errors["date"] == ["Dill, 14 May 2023: Dill left the flock before this (2022)."]
    ahead = shoebox(taken=timezone.now() + timedelta(days=2))
    errors = refusal(lambda: give(ahead, bird=birds["Mace"], foot="left", score=1))
    assert "in the future" in errors["date"][0]


def test_unknown_birds_count_nowhere(cast, shoebox, give):
    give(shoebox(), nobody_knows=True)
    give(shoebox(), date=PartialDate(2023))
    assert not Check.objects.exists()
    assert not Photo.objects.exclude(bird=None).exists()


def test_an_old_check_does_not_count_for_todays_round(cast, birds, shoebox, give):
    round_ = services.start_round(flock=cast.flock, keeper=cast.owner, bird_ids=[birds["Dill"].pk])
    give(shoebox(), bird=birds["Dill"], foot="left", score=1)
    round_.refresh_from_db()
    assert round_.ended_at is None
    assert round_.birds.get().check_record is None


# --- Cards in a batch


def suggestions(cast):
    return [(follow.names, [photo.pk for photo in follow.photos]) for follow in shown(cast).follows]


def card_photo(shoebox, bird, foot="", **said):
    photo = shoebox(bird=bird, foot=foot, **said)
    SortingNote.objects.create(photo=photo, card_bird=bird, card_foot=foot)
    return photo


def test_a_card_suggests_and_names_nothing_by_itself(cast, birds, shoebox):
    first = card_photo(shoebox, birds["Dill"], minutes=0)
    two = [shoebox(minutes=1), shoebox(minutes=2)]
    card_photo(shoebox, birds["Mace"], "right", minutes=3)
    one = shoebox(minutes=4)
    shoebox(minutes=4 + 16)  # a gap: another occasion
    assert suggestions(cast) == [
        ("Dill", [photo.pk for photo in two]),
        ("Mace, right foot", [one.pk]),
    ]
    assert {fresh(photo).bird for photo in (*two, one)} == {None}
    page = cast.clients.keeper.get(url(cast)).content.decode()
    assert url(cast, "sort_follow", first.pk) in page


def test_one_tap_confirms(cast, birds, shoebox):
    card_ = card_photo(shoebox, birds["Mace"], "right")
    photos = [shoebox(minutes=1), shoebox(minutes=2)]
    later = shoebox(minutes=3)  # came in after the page was shown
    cast.clients.keeper.post(
        url(cast, "sort_follow", card_.pk), {"answer": "yes", "photo": [p.pk for p in photos]}
    )
    assert [(p.bird, p.foot) for p in map(fresh, photos)] == [(birds["Mace"], "right")] * 2
    assert fresh(later).bird is None
    assert suggestions(cast) == []


def test_no_ends_the_suggestion_and_can_be_undone(cast, birds, shoebox):
    card_ = card_photo(shoebox, birds["Dill"])
    shoebox(minutes=1)
    cast.clients.keeper.post(url(cast, "sort_follow", card_.pk), {"answer": "no"})
    assert suggestions(cast) == []
    undo_last(cast)
    assert len(suggestions(cast)) == 1


def test_an_answered_card_still_ends_what_the_card_before_names(cast, birds, shoebox):
    card_photo(shoebox, birds["Dill"], minutes=0)
    mine = shoebox(minutes=1)
    second = card_photo(shoebox, birds["Mace"], minutes=2)
    shoebox(minutes=3)
    sorting.leave_card(flock=cast.flock, keeper=cast.keeper, card=second)
    assert suggestions(cast) == [("Dill", [mine.pk])]


def test_only_a_photo_of_a_card_can_name_others(cast, birds, shoebox):
    said = {"answer": "yes", "photo": shoebox().pk}
    assert cast.clients.keeper.post(url(cast, "sort_follow", shoebox().pk), said).status_code == 404


# --- Photos that look the same


def alike(cast):
    """Sets of photos, in the order in which their first one came."""
    sets = [[tile.photo for tile in found.tiles] for found in shown(cast).alike]
    sets.sort(key=lambda photos: min(photo.added_at for photo in photos))
    return [{photo.pk for photo in photos} for photos in sets]


def test_nearly_the_same_photos_are_shown_together(cast, birds, shoebox):
    one, other = shoebox(look_hash=0b1111), shoebox(look_hash=0)
    shoebox(look_hash=0b11111 << 40)
    sorted_ = shoebox(look_hash=-1, bird=birds["Dill"])
    again = shoebox(look_hash=-2)
    assert alike(cast) == [{one.pk, other.pk}, {sorted_.pk, again.pk}]


def test_photos_of_two_days_are_never_the_same(cast, shoebox):
    first, copy = shoebox(look_hash=0), shoebox(look_hash=1)
    later = shoebox(look_hash=2, minutes=60 * 24 * 40)
    assert alike(cast) == [{first.pk, copy.pk}]
    undated = shoebox(look_hash=3, taken=None, taken_precision="unknown")
    assert alike(cast) == [{first.pk, copy.pk}]  # of which day it is a copy nobody can say
    later.delete()
    assert alike(cast) == [{first.pk, copy.pk, undated.pk}]
    # The time of a file is that of the copy.
    Photo.objects.filter(pk=copy.pk).update(
        taken=first.taken + timedelta(days=9), taken_source="file time"
    )
    assert alike(cast) == [{first.pk, copy.pk, undated.pk}]


def test_keep_them_all(cast, shoebox):
    one, other = shoebox(look_hash=0), shoebox(look_hash=1)
    cast.clients.keeper.post(url(cast, "sort_alike"), {"photo": [one.pk, other.pk]})
    assert alike(cast) == []
    third = shoebox(look_hash=2)
    assert alike(cast) == [{one.pk, other.pk, third.pk}]


def test_drop_one_and_take_it_back(cast, shoebox):
    one, other = shoebox(look_hash=0), shoebox(look_hash=1)
    cast.clients.keeper.post(url(cast, "sort_alike"), {"drop": other.pk})
    assert list(Photo.objects.all()) == [one]
    assert fresh(other).deleted_at
    undo_last(cast)
    assert Photo.objects.count() == 2


def test_one_tap_drops_all_but_the_one_to_keep_and_is_undone_as_one(cast, shoebox):
    copies = [shoebox(look_hash=n, width=600, height=450) for n in (0, 1)]
    original = shoebox(look_hash=2)
    [found] = shown(cast).alike
    assert (found.keep, found.why, set(found.drop)) == (original, "larger", set(copies))
    page = cast.clients.keeper.get(url(cast)).content.decode()
    assert "Keep this: larger" in page
    said = re.search(r'value="([^"]*)">Drop all others', page)[1]
    cast.clients.keeper.post(url(cast, "sort_alike"), {"drop": said})
    assert list(Photo.objects.all()) == [original]
    undo_last(cast)
    assert Photo.objects.count() == 3


def test_what_has_records_is_kept_and_never_among_those_to_drop(cast, birds, shoebox, give):
    give(in_a_check := shoebox(look_hash=0), bird=birds["Dill"], foot="left", score=1)
    measured = shoebox(look_hash=1)
    Measurement.objects.create(
        flock=cast.flock,
        photo=measured,
        scaled_by="card",
        to_mm=[],
        outline_px=[],
        outline_mm=[],
        area_mm2=1,
        perimeter_mm=1,
        longest_diameter_mm=1,
        relative_area_error=0.1,
    )
    larger = shoebox(look_hash=2, width=4000, height=3000)
    [found] = shown(cast).alike
    assert found.keep in (in_a_check, measured)
    assert (found.why, found.drop) == ("has records already", [larger])


def test_the_copy_with_the_card_is_kept(cast, birds, shoebox):
    shoebox(look_hash=0, width=4000, height=3000)
    with_card = card_photo(shoebox, birds["Dill"], look_hash=1)
    [found] = shown(cast).alike
    assert (found.keep, found.why) == (with_card, "has the card")


def test_a_photo_in_a_check_is_not_dropped_here(cast, birds, shoebox, give):
    give(photo := shoebox(), bird=birds["Dill"], foot="left", score=1)
    answer = cast.clients.keeper.post(url(cast, "sort_alike"), {"drop": photo.pk})
    assert answer.status_code == 422
    assert fresh(photo).deleted_at is None


# --- Undo


def undo_last(cast, client="keeper"):
    last, _ = last_sorted(cast.flock, getattr(cast, client), now=timezone.now())
    return getattr(cast.clients, client).post(
        url(cast, "sort_undo"), {"changes": last.pk if last else ""}, follow=True
    )


def everything():
    """All that sorting touches, as it stands in the database, but for the count of changes."""

    def rows(found, but=()):
        columns = [field.attname for field in found.model._meta.fields]
        return sorted(map(str, found.values_list(*(set(columns) - {"version", *but}))))

    return {
        "photos": rows(Photo.with_deleted),
        "notes": rows(SortingNote.objects),
        "checks": rows(Check.objects),
        "findings": rows(FootFinding.objects, but={"id"}),
        "attached": sorted(Check.photos.through.objects.values_list("check_id", "photo_id")),
    }


DEEDS = {
    "bird and foot": {"foot": "left"},
    "dates": {"date": PartialDate(2021)},
    "a new check": {"foot": "left", "score": 1},
    "a check that said the same": {"foot": "right", "score": 0},
    "a year and nobody": {"bird": None, "nobody_knows": True, "date": PartialDate(2020, 2)},
}


@pytest.mark.parametrize("said", DEEDS.values(), ids=DEEDS)
def test_undo_restores_exactly(cast, birds, shoebox, give, said):
    checked(cast, birds["Dill"], right=0)
    first = shoebox()
    services.change_check(
        check=(check := checked(cast, birds["Dill"], at=DAY + timedelta(days=2), right=0)),
        keeper=cast.owner,
        at=check.at,
        seen=services.Seen(
            [FootFinding(foot="right", score=0)], photos={"right": [shoebox(minutes=2880)]}
        ),
    )
    photos = [first, shoebox(minutes=1440), shoebox(minutes=2880), shoebox(foot="right", minutes=1)]
    before = everything()
    give(*photos, **{"bird": birds["Dill"], **said})
    assert everything() != before
    answer = undo_last(cast)
    assert "Undone: " in answer.content.decode()
    assert everything() == before


def test_a_score_leaves_what_else_the_check_of_that_day_says(cast, birds, shoebox, give):
    check = checked(cast, birds["Dill"])
    seen = FootFinding(
        foot="left", score=2, sites=["main"], scab="black", scab_mm=6, hot=True, clinical_grade=3
    )
    signs = {"gait": 3, "note": "Limps."}
    services.change_check(
        check=check, keeper=cast.owner, at=check.at, seen=services.Seen([seen], signs=signs)
    )
    photo = shoebox()
    before = everything()
    give(photo, bird=birds["Dill"], foot="right", score=1)
    left = Check.objects.get().findings.get(foot="left")
    assert (left.clinical_grade, left.scab_mm, left.hot) == (3, 6, True)
    assert Check.objects.get().findings.get(foot="right").score == 1
    undo_last(cast)
    assert everything() == before


def test_deeds_are_undone_one_after_the_other(cast, birds, shoebox, give):
    photo = shoebox()
    states = [everything()]
    for said in ({"bird": birds["Dill"]}, {"foot": "left"}, {"score": 2}):
        give(photo, **said)
        states.append(everything())
    for state in reversed(states[:-1]):
        undo_last(cast)
        assert everything() == state
    assert undo_last(cast).status_code == 422


def test_what_was_changed_since_is_not_overwritten(cast, birds, shoebox, give):
    give(photo := shoebox(), bird=birds["Dill"], foot="left", score=1)
    check = Check.objects.get()
    services.change_check(
        check=check,
        keeper=cast.owner,
        at=check.at,
        seen=services.Seen([FootFinding(foot="left", score=2)], signs={"note": "Worse."}),
    )
    answer = undo_last(cast)
    assert answer.status_code == 422
    assert "was changed since" in answer.content.decode()
    check.refresh_from_db()
    assert (check.note, fresh(photo).bird) == ("Worse.", birds["Dill"])


def test_each_keeper_undoes_their_own(cast, birds, shoebox, give):
    done = give(shoebox(), bird=birds["Dill"])
    answer = cast.clients.owner.post(url(cast, "sort_undo"), {"changes": done.first.pk})
    assert answer.status_code == 422
    assert Photo.objects.get().bird == birds["Dill"]


def test_an_old_deed_is_not_offered(cast, birds, shoebox, give):
    give(shoebox(), bird=birds["Dill"])
    last, recent = last_sorted(cast.flock, cast.keeper, now=timezone.now() + timedelta(days=2))
    assert last is None
    assert recent == [str(birds["Dill"].pk)]


def test_a_part_of_the_page_is_answered_to_a_script(cast, birds, shoebox):
    photo = shoebox()
    answer = cast.clients.keeper.post(
        url(cast), {"photo": photo.pk, "bird": birds["Dill"].pk}, headers={"HX-Request": "true"}
    )
    page = answer.content.decode()
    assert (answer.status_code, page.lstrip()[:14]) == (200, '<div id="sort"')
    assert "1 photo: Dill." in page


def test_a_photo_that_waits_for_its_form_is_not_to_be_sorted_yet(cast):
    url = reverse("photos:add", args=[cast.flock.pk])
    answer = cast.clients.keeper.post(url, {"photo": picture()})
    photo = Photo.objects.get(pk=answer.json()["id"])
    assert not sorting.unsorted(cast.flock).exists()
    # Nobody has saved the form, and by now it is forgotten.
    Photo.objects.update(added_at=timezone.now() - timedelta(days=1, minutes=1))
    assert sorting.unsorted(cast.flock).get() == photo
