"""Photos to sort, one at a time: what is chosen already, what saving leads to, the ways back."""

from datetime import datetime, timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from django.urls import reverse
from django.utils import timezone

from flockcare.feet import sorting
from flockcare.feet.models import Check, SortingNote
from flockcare.feet.sorting_one import Stays, faces, one_photo
from flockcare.photos.models import Photo
from tests.feet.conftest import LONDON
from tests.people.rows import FORM_PAGE, NOT_WRITERS, refused, same_queries, seen

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clock_of_the_flock")]


def url(cast, **asked):
    return reverse("feet:sort_one", args=[cast.flock.pk], query=asked)


def shown(cast, at=None, **asked):
    asked = {"show": "unnamed", "newest_first": False, "stays": Stays()} | asked
    at = at and at.pk
    return one_photo(cast.flock, cast.keeper, at=at, now=timezone.now(), **asked)


def save(cast, page, client="keeper", stays=None, **said):
    """What a browser sends from this page, with ``said`` chosen on it."""
    asked = {"show": page.show, "order": "oldest", "photo": page.photo.pk, **(stays or {})}
    hidden = {"photo": page.photo.pk, "under": page.under, "then": page.then or ""}
    return getattr(cast.clients, client).post(url(cast, **asked), hidden | said)


def went_to(answer) -> dict[str, str]:
    """What the address says that a save led to."""
    assert answer.status_code == 302, answer.content.decode()
    query = parse_qs(urlsplit(answer.headers["Location"]).query)
    return {name: values[0] for name, values in query.items()}


def card_photo(shoebox, bird, **said):
    photo = shoebox(bird=bird, **said)
    SortingNote.objects.create(photo=photo, card_bird=bird, card_foot=photo.foot)
    return photo


def test_who_may(cast):
    assert seen(cast, url(cast)) == FORM_PAGE
    assert refused(cast, url(cast)) == NOT_WRITERS


def test_saving_leads_to_the_next_photo_with_the_bird_still_chosen(cast, birds, shoebox):
    first, second = shoebox(), shoebox(minutes=1440)
    page = shown(cast)
    assert (page.photo, page.number, page.total, page.left) == (first, 1, 2, 2)
    assert page.chosen.bird == ""
    dill = str(birds["Dill"].pk)
    to = went_to(save(cast, page, bird=dill, foot="left", score="1"))
    assert (to["photo"], to["bird"]) == (str(second.pk), dill)
    check = Check.objects.get()
    assert (check.bird, check.photos.get()) == (birds["Dill"], first)
    page = cast.clients.keeper.get(url(cast, **to)).content.decode()
    assert "as the photo before" in page
    assert f'value="{dill}"\n  data-name="Dill" data-key="4" checked' in page
    assert 'value="1" checked' not in page  # neither foot nor score is ever said by itself
    assert 'value="left" id="id_foot_0" checked' not in page


def test_the_group_says_more_of_the_bird_than_what_was_saved_last(cast, birds, shoebox, give):
    give(shoebox(minutes=1), bird=birds["Mace"])
    photo = shoebox(minutes=2)
    stays = Stays(bird=str(birds["Dill"].pk))
    chosen = shown(cast, photo, stays=stays).chosen
    assert (chosen.bird, chosen.why) == (str(birds["Mace"].pk), "as the photo before")


def test_a_card_chooses_its_bird_and_those_after_it(cast, birds, shoebox):
    card_photo(shoebox, birds["Mace"], foot="right")
    shoebox(minutes=1)
    with_card = shown(cast)
    assert with_card.chosen.why == "by the card in this photo"
    after = shown(cast, at=Photo.objects.get(bird=None))
    assert (after.number, after.total) == (2, 2)
    for page in (with_card, after):
        assert (page.chosen.bird, page.chosen.foot) == (str(birds["Mace"].pk), "right")
    assert after.chosen.why == "by the card before"


def test_a_card_that_names_no_others_chooses_for_none(cast, birds, shoebox):
    card = card_photo(shoebox, birds["Mace"])
    photo = shoebox(minutes=1)
    sorting.leave_card(flock=cast.flock, keeper=cast.keeper, card=card)
    assert shown(cast, photo).chosen.bird == ""


def test_the_day_given_once_stays_for_photos_without_one(cast, birds, shoebox):
    vague = {"taken": None, "taken_precision": "unknown", "taken_source": ""}
    sure = shoebox()
    first, second = shoebox(**vague), shoebox(**vague)
    said = {"bird": str(birds["Dill"].pk), "foot": "left", "score": "0"}
    to = went_to(save(cast, shown(cast, first), **said, date="2021-06-05"))
    # Not on from where the day puts it, which would be before all others.
    assert (to["photo"], to["day"]) == (str(second.pk), "2021-06-05")
    stays = Stays(day="2021-06-05")
    assert shown(cast, second, stays=stays).chosen.day == "2021-06-05"
    assert shown(cast, sure, stays=stays).chosen.day == ""
    page = cast.clients.keeper.get(url(cast, **to)).content.decode()
    assert 'name="date" value="2021-06-05"' in page


@pytest.mark.parametrize(("month", "day"), [(6, "2021-06-05"), (7, "")])
def test_a_known_month_takes_no_day_of_another(cast, shoebox, month, day):
    taken = datetime(2021, month, 1, tzinfo=LONDON)
    photo = shoebox(taken=taken, taken_precision="month", taken_source="hand")
    assert shown(cast, photo, stays=Stays(day="2021-06-05")).chosen.day == day


def test_what_cannot_be_saved_says_why_at_the_photo_and_keeps_what_was_chosen(cast, birds, shoebox):
    photo = shoebox()
    shoebox(minutes=1)
    answer = save(cast, shown(cast), bird=str(birds["Mace"].pk), score="2")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "A score belongs to one foot. Say which.<" in page
    assert f'name="photo" value="{photo.pk}"' in page
    assert 'name="score" value="2"' in page
    assert page.count(" checked") == 2
    assert Photo.objects.get(pk=photo.pk).bird is None


@pytest.mark.parametrize("name", ["hatched", "joined"])
def test_no_score_before_she_hatched_or_came(cast, birds, shoebox, name):
    setattr(birds["Dill"], name, "2024-06")
    birds["Dill"].save()
    shoebox()
    said = {"bird": str(birds["Dill"].pk), "foot": "left", "score": "0"}
    assert save(cast, shown(cast), **said).status_code == 422
    assert not Check.objects.exists()


def test_what_another_keeper_sorted_meanwhile_is_left_alone_and_shown(cast, birds, shoebox, give):
    photo = shoebox()
    mine = shown(cast)
    give(photo, bird=birds["Mace"], foot="left", score=1)
    answer = save(cast, mine, "owner", bird=str(birds["Dill"].pk), foot="left", score="0")
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Somebody has just sorted these." in page
    assert "<b>Mace, left foot.</b>" in page
    assert Check.objects.get().bird == birds["Mace"]


def test_what_another_keeper_only_named_is_left_alone_too(cast, birds, shoebox, give):
    photo = shoebox()
    mine = shown(cast)
    give(photo, bird=birds["Mace"])
    answer = save(cast, mine, "owner", bird=str(birds["Dill"].pk), foot="left", score="0")
    assert answer.status_code == 422
    assert "on record: Mace" in answer.content.decode()
    assert Photo.objects.get(pk=photo.pk).bird == birds["Mace"]
    assert not Check.objects.exists()


def test_back_leads_to_what_was_sorted_and_undo_to_it_as_it_was(cast, birds, shoebox):
    first, second = shoebox(), shoebox(minutes=1)
    save(cast, shown(cast), bird=str(birds["Dill"].pk), foot="left", score="1")
    page = shown(cast, second)
    assert (page.before, page.number, page.left) == (first.pk, 2, 1)
    before = cast.clients.keeper.get(url(cast, photo=first.pk)).content.decode()
    assert reverse("feet:check", args=[cast.flock.pk, Check.objects.get().pk]) in before
    assert shown(cast, first).after == second.pk
    last = sorting.last_of(cast.flock, cast.keeper).first()
    undo = reverse("feet:sort_undo", args=[cast.flock.pk])
    answer = cast.clients.keeper.post(
        f"{undo}?show=unnamed&photo={second.pk}&large=1", {"changes": last.pk}
    )
    assert went_to(answer)["photo"] == str(first.pk)
    assert not Check.objects.exists()
    assert (shown(cast, first).check, shown(cast).photo) == (None, first)


def test_a_photo_whose_bird_and_foot_were_known_is_found_again_too(cast, birds, shoebox):
    """Saving it changes nothing of the photo itself, only makes a check."""
    card = card_photo(shoebox, birds["Mace"], foot="right")
    save(cast, shown(cast), bird=str(birds["Mace"].pk), foot="right", score="0")
    assert Check.objects.get().photos.get() == card
    assert shown(cast, shoebox(minutes=1)).before == card.pk


def test_nobody_can_tell_is_one_press_whatever_else_is_chosen(cast, birds, shoebox):
    photo, second = shoebox(), shoebox(minutes=1)
    said = {"bird": str(birds["Dill"].pk), "foot": "left", "score": "1", "nobody": "1"}
    to = went_to(save(cast, shown(cast), **said))
    assert to["photo"] == str(second.pk)
    assert Photo.objects.get(pk=photo.pk).sorting.nobody_knows
    assert not Check.objects.exists()
    assert shown(cast, show="unknown").photo == photo


def test_after_the_last_comes_the_first_that_was_skipped_then_the_end(cast, birds, shoebox):
    skipped, last = shoebox(), shoebox(minutes=1)
    said = {"bird": str(birds["Dill"].pk)}
    assert went_to(save(cast, shown(cast, last), **said))["photo"] == str(skipped.pk)
    answer = save(cast, shown(cast), **said)
    page = cast.clients.keeper.get(answer.headers["Location"]).content.decode()
    assert "Nothing left" in page
    assert "Undo" in page


def test_the_list_is_found_again_at_the_photos_place(cast, shoebox):
    photos = [shoebox(minutes=20 * number) for number in range(130)]
    assert shown(cast, photos[125]).list_query == (
        f"show=unnamed&order=oldest&page=2#p-{photos[125].pk}"
    )
    answer = cast.clients.keeper.get(
        reverse("feet:sort", args=[cast.flock.pk], query={"page": 2})
    ).content.decode()
    assert f'id="p-{photos[125].pk}"' in answer
    assert f"{url(cast)}?show=unnamed&amp;order=oldest&amp;photo={photos[125].pk}" in answer


def test_a_bird_keeps_her_key_while_the_same_are_in_use(birds):
    every = list(birds.values())
    keys = [str(bird.pk) for bird in every]
    for recent in (keys, keys[::-1]):
        near, others = faces(every, recent, chosen="")
        assert [(key, bird.name) for key, bird in near] == [(4, "Dill"), (5, "Mace"), (6, "Sorrel")]
        assert others == []


def test_the_chosen_bird_always_has_a_face(cast):
    every = [cast.flock.bird_set.create(flock=cast.flock, name=f"Hen {n}") for n in range(9)]
    near, others = faces(every, [str(bird.pk) for bird in every], chosen=str(every[8].pk))
    assert every[8] in [bird for _, bird in near]
    assert (len(near), len(others)) == (6, 3)


def test_it_asks_the_database_as_often_for_many_photos(cast, birds, shoebox, give):
    give(shoebox(), bird=birds["Dill"], foot="left", score=1)
    shoebox()

    def grow():
        for number in range(60):
            give(shoebox(minutes=number), bird=birds["Mace"])
            shoebox(minutes=number)

    same_queries(cast.clients.keeper, url(cast), grow=grow)


def test_a_photo_of_another_flock_or_none_is_no_place_to_begin(cast, shoebox):
    mine, strange = shoebox(), shoebox(flock=cast.elsewhere)
    for said in (strange.pk, "x", ""):
        page = cast.clients.keeper.get(url(cast, photo=said, bird="x", day="soon"))
        assert f'name="photo" value="{mine.pk}"' in page.content.decode()


def test_a_script_gets_the_part_that_changes_and_the_address(cast, birds, shoebox):
    shoebox()
    second = shoebox(minutes=timedelta(hours=9) // timedelta(minutes=1))
    page = shown(cast)
    hidden = {"photo": page.photo.pk, "under": page.under, "then": page.then}
    answer = cast.clients.keeper.post(
        url(cast, photo=page.photo.pk),
        {**hidden, "bird": str(birds["Dill"].pk)},
        headers={"HX-Request": "true"},
    )
    assert answer.content.decode().lstrip().startswith('<div id="one"')
    assert f"photo={second.pk}" in answer.headers["HX-Replace-Url"]
