"""Logging a check: what is saved, what is refused and that nothing typed is lost."""

import io
import re
import uuid
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from flockcare.birds.models import Bird
from flockcare.feet.models import Check
from flockcare.people.models import Revision
from flockcare.photos.models import DateSource, Photo
from tests.care.steps import ago

pytestmark = pytest.mark.django_db


def picture(colour="tan", name="foot.jpg"):
    stream = io.BytesIO()
    Image.new("RGB", (640, 480), colour).save(stream, "JPEG")
    stream.seek(0)
    stream.name = name
    return stream


def check_url(cast, bird, name="check_bird"):
    return reverse(name, args=[cast.flock.pk, bird.pk])


def form(**said):
    """What the form sends: a new key, the time now, and what is said."""
    moment = timezone.localtime(timezone.now()).strftime("%Y-%m-%dT%H:%M")
    return {"check_id": str(uuid.uuid4()), "at": moment, **said}


SORE_LEFT = {
    "left-score": "1",
    "left-sites": ["main", "toe III"],
    "left-scab": "brown",
    "left-scab_mm": "6.5",
    "left-swelling": "moderate",
    "right-score": "0",
}


def test_both_feet_clear_is_one_tap(cast, birds):
    answer = cast.clients.keeper.post(
        check_url(cast, birds["Dill"]), form(verdict="both clear"), follow=True
    )
    check = Check.objects.get()
    assert sorted(check.findings.values_list("foot", "score")) == [("left", 0), ("right", 0)]
    assert (check.keeper, check.bird) == (cast.keeper, birds["Dill"])
    assert "both feet clear" in answer.content.decode()


def test_of_a_bird_that_left_the_moment_of_the_check_is_asked_for(cast, birds):
    Bird.objects.filter(pk=birds["Dill"].pk).update(
        left=str(timezone.localdate()), left_reason="died"
    )
    url = check_url(cast, birds["Dill"])
    page = cast.clients.keeper.get(url)
    assert "Left the flock" in page.text
    assert page.context["form"]["at"].value() is None
    answer = cast.clients.keeper.post(url, form(verdict="both clear", at=""))
    assert answer.status_code == 422
    assert "Dill has left the flock. When was this check?" in answer.text
    later = timezone.localtime() - timedelta(minutes=5)
    said = form(verdict="both clear", at=later.strftime("%Y-%m-%dT%H:%M"))
    cast.clients.keeper.post(url, said)
    assert Check.objects.count() == 1


def test_no_check_after_the_day_a_bird_left(cast, birds):
    Bird.objects.filter(pk=birds["Dill"].pk).update(left="2024-02", left_reason="died")
    answer = cast.clients.keeper.post(check_url(cast, birds["Dill"]), form(verdict="both clear"))
    assert answer.status_code == 422
    assert "Dill left the flock before this (2024-02)." in answer.context["form"].errors["at"][0]
    assert not Check.objects.exists()


def test_a_finding_keeps_everything(cast, birds):
    said = form(**SORE_LEFT, gait="2", manner="dull", eating="no", note="Limps a little.")
    cast.clients.keeper.post(check_url(cast, birds["Dill"]), said)
    check = Check.objects.get()
    left, right = check.findings.order_by("foot")
    assert (left.score, left.sites, left.scab) == (1, ["main", "toe III"], "brown")
    assert (float(left.scab_mm), left.swelling) == (6.5, "moderate")
    assert (right.score, right.sites) == (0, [])
    assert (check.gait, check.manner, check.eating, check.note) == (
        2,
        "dull",
        "no",
        "Limps a little.",
    )
    assert str(check.pk) == said["check_id"]


def test_otherwise_well_is_one_tap_and_gives_way_to_what_is_said(cast, birds):
    url = check_url(cast, birds["Dill"])
    cast.clients.keeper.post(url, form(**SORE_LEFT, well="on"))
    cast.clients.keeper.post(url, form(**SORE_LEFT, well="on", eating="no"))
    cast.clients.keeper.post(url, form(**SORE_LEFT))
    signs = Check.objects.order_by("received_at").values_list(
        "manner", "eating", "droppings", "belly"
    )
    assert list(signs) == [
        ("bright", "yes", "normal", "normal"),
        ("bright", "no", "normal", "normal"),
        ("", "", "", ""),
    ]


def test_clinical_grade_and_body_condition_are_optional_and_kept(cast, birds):
    """Grades I to V: BSAVA (2008), made for raptors. Condition 0 to 3: Gregory and Robins (1998),
    from memory."""
    said = {"left-clinical_grade": "3", "body_condition": "0"}
    cast.clients.keeper.post(check_url(cast, birds["Dill"]), form(**SORE_LEFT, **said))
    check = Check.objects.get()
    assert check.body_condition == 0
    grades = dict(check.findings.values_list("foot", "clinical_grade"))
    assert grades == {"left": 3, "right": None}
    page = " ".join(cast.clients.viewer.get(check_url(cast, check, "feet:check")).text.split())
    assert "made for raptors" in page and "0 very thin" in page
    scales = cast.clients.viewer.get(f"/f/{cast.flock.pk}/scales/").content.decode()
    assert "no clinical grade has been validated for hens" in scales


def test_a_clear_foot_has_no_grade(cast, birds):
    said = form(**{"left-score": "0", "left-clinical_grade": "2"})
    answer = cast.clients.keeper.post(check_url(cast, birds["Dill"]), said)
    assert answer.status_code == 422 and "A clear foot has no sore place" in answer.content.decode()


def test_one_foot_may_be_left_out(cast, birds):
    cast.clients.keeper.post(check_url(cast, birds["Dill"]), form(**{"right-score": "0"}))
    assert list(Check.objects.get().findings.values_list("foot", "score")) == [("right", 0)]


def test_a_second_tap_makes_no_second_check(cast, birds):
    said = form(verdict="both clear")
    for _ in range(2):
        answer = cast.clients.keeper.post(check_url(cast, birds["Dill"]), said)
        assert answer.status_code == 302
    assert Check.objects.count() == 1


def test_the_same_key_with_other_words_is_refused_with_a_way_on(cast, birds):
    said = form(verdict="both clear")
    url = check_url(cast, birds["Dill"])
    cast.clients.keeper.post(url, said)
    answer = cast.clients.keeper.post(url, {**said, "verdict": "", **SORE_LEFT})
    assert answer.status_code == 422
    assert "saved already" in answer.content.decode()
    assert Check.objects.get().findings.filter(score__gt=0).count() == 0


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({}, "Say how at least one foot is"),
        ({"right-score": "7"}, "The lesion score is 0, 1 or 2."),
        ({"left-scab": "brown"}, "Say how this foot is"),
        ({"left-score": "0", "left-sites": ["main"]}, "A clear foot has no sore place"),
        ({"left-score": "1", "left-swelling": "from above"}, "is a score of 2"),
        ({"left-score": "1", "left-scab_mm": "5"}, "Say whether the scab is brown or black."),
        ({"left-score": "1", "left-scab": "brown", "left-scab_mm": "90"}, "not wider than 60 mm"),
        ({"left-score": "1", "left-sites": ["elbow"]}, "elbow"),
        ({"verdict": "both clear", "left-sites": ["main"]}, "both feet cannot be clear"),
        ({"right-score": "0", "gait": "9"}, "The gait score is 0 to 5."),
        ({"right-score": "0", "at": "some day"}, "Give the day and the time"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_typed_is_lost(cast, birds, said, words):
    answer = cast.clients.keeper.post(
        check_url(cast, birds["Dill"]),
        form(note="Typed with a cold thumb.", **{**said})
        if "at" not in said
        else {**form(note="Typed with a cold thumb."), **said},
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert "Typed with a cold thumb." in page
    assert not Check.objects.exists()


def test_both_clear_names_what_is_still_marked_and_clears_it_in_one_tap(cast, birds):
    """Also what the page folds away, such as a swelling of a foot without a score."""
    url = check_url(cast, birds["Dill"])
    marks = {
        **{"left-score": "1", "left-proposed": "1", "left-scab": "none", "left-hot": "no"},
        **{"right-swelling": "moderate", "right-sites": ["toe III"], "note": "Wet."},
    }
    said = form(verdict="both clear", **marks)
    page = cast.clients.keeper.post(url, said).text
    assert "the left foot is marked: mild; " in page
    assert "the right foot is marked: toe III (middle), swelling." in page
    assert 'name="left-proposed" value="1"' in page
    assert 'name="verdict"\n  value="clear after all"' in page and not Check.objects.exists()
    cast.clients.keeper.post(url, {**said, "verdict": "clear after all"})
    check = Check.objects.get()
    assert check.note == "Wet." and check.summary() == "both feet clear"
    assert list(check.findings.values_list("score", "sites")) == [(0, []), (0, [])]


def test_marks_taken_back_do_not_close_a_case_unasked(cast, birds):
    url = check_url(cast, birds["Dill"])
    cast.clients.keeper.post(url, form(**SORE_LEFT))
    # One question at a time: the mark first.
    answer = cast.clients.keeper.post(url, form(verdict="both clear", **{"right-sites": ["main"]}))
    assert "the right foot is marked: main pad" in answer.text
    assert re.search(r'class="card healed"[^>]* hidden>', answer.text)
    answer = cast.clients.keeper.post(
        url, form(**{"verdict": "clear after all", "right-sites": ["main"]})
    )
    assert "Left foot\nhealed?" in answer.text and Check.objects.count() == 1


def test_a_check_in_the_future_is_refused(cast, birds):
    later = timezone.localtime(timezone.now() + timedelta(days=2)).strftime("%Y-%m-%dT%H:%M")
    answer = cast.clients.keeper.post(
        check_url(cast, birds["Dill"]), {**form(verdict="both clear"), "at": later}
    )
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "This is in the future" in page
    assert "autofocus" in re.search(r'<input[^>]*name="at"[^>]*>', page)[0]


def test_the_first_wrong_choice_has_the_focus(cast, birds):
    wrong = {**form(), "left-score": "0", "left-sites": ["main"], "right-score": "9"}
    page = cast.clients.keeper.post(check_url(cast, birds["Dill"]), wrong).content.decode()
    focused = re.findall(r'name="([^"]+)"[^>]* autofocus', page)
    assert focused[0] == "left-score"
    assert len(re.findall(r'name="left-score"[^>]* autofocus', page)) == 1


def test_a_check_after_she_left_is_refused(cast, birds):
    Bird.objects.filter(pk=birds["Dill"].pk).update(left="2024-05", left_reason="died")
    answer = cast.clients.keeper.post(check_url(cast, birds["Dill"]), form(verdict="both clear"))
    assert "left the flock before this" in answer.content.decode()


def test_photos_come_with_the_form(cast, birds):
    said = form(**SORE_LEFT)
    cast.clients.keeper.post(
        check_url(cast, birds["Dill"]), {**said, "left-photos": [picture("tan"), picture("pink")]}
    )
    photos = Check.objects.get().photos.all()
    assert {(photo.bird, photo.foot) for photo in photos} == {(birds["Dill"], "left")}
    assert len(photos) == 2
    page = cast.clients.keeper.get(
        reverse("feet:check", args=[cast.flock.pk, Check.objects.get().pk])
    )
    box = page.text.partition("Left foot:")[2].partition("</section>")[0]
    assert box.count("<img") == page.text.count("<img") == 2, "in the box of their foot"


def test_a_refused_photo_loses_neither_the_others_nor_the_words(cast, birds):
    url = check_url(cast, birds["Dill"])
    damaged = io.BytesIO(b"\xff\xd8\xff\xe0 not much of a picture")
    damaged.name = "broken.jpg"
    said = form(**SORE_LEFT, note="Both kept.")
    answer = cast.clients.keeper.post(url, {**said, "left-photos": [picture(), damaged]})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "broken.jpg" in page
    assert "Both kept." in page
    photo = Photo.objects.get()
    assert f'value="{photo.pk}"' in page
    cast.clients.keeper.post(url, {**said, "left-kept_photo": str(photo.pk)})
    assert list(Check.objects.get().photos.all()) == [photo]


def test_a_photo_sent_early_is_kept_with_the_check(cast, birds):
    answer = cast.clients.keeper.post(
        reverse("photos:add", args=[cast.flock.pk]), {"photo": picture()}
    )
    assert answer.status_code == 201
    said = form(**SORE_LEFT, **{"left-kept_photo": answer.json()["id"]})
    cast.clients.keeper.post(check_url(cast, birds["Dill"]), said)
    photo = Photo.objects.get()
    assert (photo.bird, photo.foot) == (birds["Dill"], "left")


@pytest.mark.parametrize(
    ("days_ago", "source"), [(9, DateSource.HAND), (0, DateSource.UPLOAD)], ids=["late", "today"]
)
def test_a_photo_without_a_date_is_of_the_day_of_its_check(cast, birds, days_ago, source):
    at = ago(days_ago)
    said = form(**SORE_LEFT, at=timezone.localtime(at).strftime("%Y-%m-%dT%H:%M"))
    url = check_url(cast, birds["Dill"])
    cast.clients.keeper.post(url, {**said, "left-photos": [picture()]})
    photo = Check.objects.get().photos.get()
    assert timezone.localdate(photo.taken) == timezone.localdate(at)
    assert photo.taken_source == source


def test_a_photo_of_another_bird_or_flock_is_not_taken_over(cast, birds):
    add = reverse("photos:add", args=[cast.flock.pk])
    of_mace = cast.clients.keeper.post(add, {"photo": picture("tan")}).json()["id"]
    Photo.objects.filter(pk=of_mace).update(bird=birds["Mace"])
    strange = cast.clients.stranger.post(
        reverse("photos:add", args=[cast.elsewhere.pk]), {"photo": picture("pink")}
    ).json()["id"]
    said = form(**SORE_LEFT, **{"left-kept_photo": [of_mace, strange]})
    cast.clients.keeper.post(check_url(cast, birds["Dill"]), said)
    assert not Check.objects.get().photos.exists()
    sent_again = cast.clients.keeper.post(
        check_url(cast, birds["Dill"]),
        {**form(**SORE_LEFT), "left-photos": [picture("tan")]},
        follow=True,
    )
    assert "already on record: <a" in sent_again.text and "Mace, " in sent_again.text
    assert Check.objects.count() == 2
    assert Photo.objects.get(pk=of_mace).bird == birds["Mace"]


def test_mending_a_check_keeps_what_it_said(cast, birds):
    url = check_url(cast, birds["Dill"])
    said = form(**SORE_LEFT, note="First words")
    cast.clients.keeper.post(url, said)
    check = Check.objects.get()
    edit = reverse("feet:check_edit", args=[cast.flock.pk, check.pk])
    page = cast.clients.owner.get(edit).content.decode()
    assert "First words" in page
    assert 'value="6.5"' in page
    cast.clients.owner.post(edit, {**said, "left-score": "2", "left-swelling": "from above"})
    assert check.findings.get(foot="left").score == 2
    revision = Revision.objects.get()
    assert (revision.by, revision.record) == (cast.owner, check.pk)
    assert revision.before["findings"][0][1] == 1


def test_the_last_photo_can_be_taken_off_a_check(cast, birds):
    said = form(**SORE_LEFT)
    cast.clients.keeper.post(check_url(cast, birds["Dill"]), {**said, "left-photos": [picture()]})
    check = Check.objects.get()
    edit = reverse("feet:check_edit", args=[cast.flock.pk, check.pk])
    assert f'value="{check.photos.get().pk}"' in cast.clients.keeper.get(edit).content.decode()
    cast.clients.keeper.post(edit, said)
    assert not check.photos.exists()
    assert Photo.objects.get().bird == birds["Dill"]


def test_taking_a_check_back_keeps_its_words_and_photos(cast, birds):
    said = form(**SORE_LEFT)
    cast.clients.keeper.post(check_url(cast, birds["Dill"]), {**said, "left-photos": [picture()]})
    check = Check.objects.get()
    cast.clients.keeper.post(reverse("feet:check_delete", args=[cast.flock.pk, check.pk]))
    assert not Check.objects.exists()
    assert Photo.objects.get().bird == birds["Dill"]
    assert Revision.objects.get().action == "delete"


@pytest.mark.parametrize("photos", [False, True])
def test_taking_back_speaks_of_photos_only_where_there_are_some(cast, birds, photos):
    more = {"left-photos": [picture()]} if photos else {}
    cast.clients.keeper.post(check_url(cast, birds["Dill"]), {**form(**SORE_LEFT), **more})
    url = reverse("feet:check_delete", args=[cast.flock.pk, Check.objects.get().pk])
    page = cast.clients.keeper.post(url, follow=True).content.decode()
    assert "The check of Dill is deleted." in page
    assert ("photos are still there" in page) == photos


def test_who_was_never_looked_at_is_said_to_be_so_once(cast, birds):
    page = cast.clients.keeper.get(reverse("today", args=[cast.flock.pk])).content.decode()
    assert page.lower().count("never checked") == 3
    assert "green 7</span>" in page and "no check yet" not in page


def test_viewers_and_strangers(cast, birds):
    url = check_url(cast, birds["Dill"])
    for client, status in ((cast.clients.viewer, 403), (cast.clients.stranger, 404)):
        assert client.get(url).status_code == status
        assert client.post(url, form(verdict="both clear")).status_code == status
    assert not Check.objects.exists()


def test_the_form_costs_the_same_for_any_history(cast, birds, django_assert_max_num_queries):
    url = check_url(cast, birds["Dill"])
    cast.clients.keeper.get(url)
    for _ in range(20):
        cast.clients.keeper.post(url, form(verdict="both clear"))
    cast.clients.keeper.get(url)  # How the birds stand is worked out once after a change.
    with django_assert_max_num_queries(7):
        cast.clients.keeper.get(url)


def test_a_clear_check_is_saved_without_working_out_the_flock(
    cast, birds, django_assert_max_num_queries
):
    url = check_url(cast, birds["Dill"])
    cast.clients.keeper.post(url, form(verdict="both clear"))
    with django_assert_max_num_queries(12):
        assert cast.clients.keeper.post(url, form(verdict="both clear")).status_code == 302
