"""The kept report is dropped when, and only when, a record that it rests on changes."""

import datetime as dt
import uuid

import pytest
from django.core.cache import cache
from django.utils import timezone

from flockcare.birds import services as birds
from flockcare.birds.models import Bird, Weighing
from flockcare.care.models import CareStep
from flockcare.feet import services as feet
from flockcare.feet.models import Check, FootFinding
from flockcare.housing import services as housing
from flockcare.housing.models import FeatureState, HousingChange, Stay
from flockcare.pages.leaving import leave_flock
from flockcare.people import history
from flockcare.trends import report_cache
from flockcare.trends.models import WindowChoice
from flockcare.trends.services import choose_window
from tests.care.steps import ago
from tests.trends.yard import CHANGED, FIRST, fill, look

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 1, 10)


@pytest.fixture(autouse=True)
def _empty_cache():
    cache.clear()


@pytest.fixture
def yard(cast):
    rows, houses = fill(cast.flock, birds=3, weeks=30, keeper=cast.keeper)
    return cast, rows, houses


def seen(left, right=0):
    return feet.Seen([FootFinding(foot="left", score=left), FootFinding(foot="right", score=right)])


def edit_a_score(cast, rows, houses):
    """An old check, from clear to sore: as many rows as before."""
    check = Check.objects.filter(bird=rows[2]).order_by("at")[12]
    feet.change_check(check=check, keeper=cast.keeper, at=check.at, seen=seen(2))


def edit_a_day(cast, rows, houses):
    check = Check.objects.filter(bird=rows[0]).order_by("at")[3]
    moved = check.at + dt.timedelta(1)
    feet.change_check(check=check, keeper=cast.keeper, at=moved, seen=seen(0))


def delete_a_check(cast, rows, houses):
    feet.delete_check(check=Check.objects.filter(bird=rows[0]).first(), keeper=cast.keeper)


def delete_one_and_add_one(cast, rows, houses):
    delete_a_check(cast, rows, houses)
    look(cast.flock, rows[0], FIRST + dt.timedelta(3))


def arrive_late(cast, rows, houses):
    feet.save_check(
        flock=cast.flock,
        bird=rows[0],
        keeper=cast.keeper,
        check_id=uuid.uuid4(),
        at=ago(200),
        seen=seen(1),
    )


def weigh(cast, rows, houses):
    birds.weigh(
        weighing=Weighing(flock=cast.flock, bird=rows[0], on=FIRST + dt.timedelta(9), grams=2000)
    )


def take_back_a_weighing(cast, rows, houses):
    birds.delete_weighing(weighing=Weighing.objects.first(), by=cast.keeper)


def move(cast, rows, houses):
    stay = Stay.objects.get(bird=rows[0])
    stay.until = CHANGED
    history.change(stay, by=cast.keeper)
    Stay.objects.create(flock=cast.flock, bird=rows[0], house=houses[1], since=CHANGED)


def correct_a_stay(cast, rows, houses):
    stay = Stay.objects.get(bird=rows[0])
    stay.house = houses[1]
    history.change(stay, by=cast.keeper)


def correct_a_height(cast, rows, houses):
    state = FeatureState.objects.get(since=CHANGED)
    state.height_cm = 80
    housing.correct_state(state=state, by=cast.keeper)


def change_a_house(cast, rows, houses):
    roost = houses[1].feature_set.get()
    housing.change_features(
        house=houses[1],
        on=CHANGED,
        changes={roost: {"height_cm": 50}},
        told=None,
        by=cast.keeper,
        today=TODAY,
    )


def say_what_a_change_was(cast, rows, houses):
    HousingChange.objects.create(
        flock=cast.flock, house=houses[0], on=CHANGED, kind="found", keeper=cast.keeper
    )


def edit_a_breeds_weight(cast, rows, houses):
    breed = rows[0].breed
    breed.adult_grams = 1000
    birds.edit_breed(breed=breed, by=cast.keeper)


def rename_a_bird(cast, rows, houses):
    rows[0].name = "Basil"
    birds.edit_bird(bird=rows[0], breed_name="Sussex", by=cast.keeper)


def a_bird_leaves(cast, rows, houses):
    rows[0].left, rows[0].left_reason = "2025-12", "died"
    leave_flock(bird=rows[0], by=cast.keeper)


def other_time_zone(cast, rows, houses):
    cast.flock.time_zone = "Pacific/Auckland"
    cast.flock.save()


def care(cast, rows, houses):
    CareStep.objects.create(
        flock=cast.flock, bird=rows[0], foot="left", kind="soaked", at=timezone.now()
    )


def choose_a_stretch(cast, rows, houses):
    choice = WindowChoice(flock=cast.flock, house=houses[0], on=CHANGED, window_days=100)
    choose_window(choice=choice, by=cast.keeper)


DEEDS = [
    edit_a_score,
    edit_a_day,
    delete_a_check,
    delete_one_and_add_one,
    arrive_late,
    weigh,
    take_back_a_weighing,
    move,
    correct_a_stay,
    correct_a_height,
    change_a_house,
    say_what_a_change_was,
    edit_a_breeds_weight,
    rename_a_bird,
    a_bird_leaves,
    other_time_zone,
    care,
    choose_a_stretch,
]


# What these change, this small flock's report does not show.
UNSEEN = {care, edit_a_breeds_weight, a_bird_leaves}


@pytest.fixture
def worked_out(monkeypatch):
    """A list that grows each time a report is worked out."""
    done, build = [], report_cache.build

    def counted(*args, **more):
        done.append(1)
        return build(*args, **more)

    monkeypatch.setattr(report_cache, "build", counted)
    return done


@pytest.mark.parametrize("deed", DEEDS, ids=lambda deed: deed.__name__)
def test_it_is_dropped_when_a_record_changes(yard, worked_out, deed):
    cast, rows, houses = yard
    before = report_cache.report_of(cast.flock, TODAY)
    assert repr(report_cache.report_of(cast.flock, TODAY)) == repr(before)
    assert len(worked_out) == 1
    deed(cast, rows, houses)
    after = report_cache.report_of(cast.flock, TODAY)
    assert len(worked_out) == 2
    assert deed in UNSEEN or repr(after) != repr(before)
    report_cache.report_of(cast.flock, TODAY)
    assert len(worked_out) == 2


def test_words_about_a_change_are_compared_word_for_word(yard):
    """They may be joined to others without leaving a trace in the history."""
    cast, _, houses = yard
    told = HousingChange.objects.create(
        flock=cast.flock, house=houses[0], on=CHANGED, kind="height"
    )
    assert len(report_cache.report_of(cast.flock, TODAY).changes) == 1
    HousingChange.objects.filter(pk=told.pk).update(kind="found")
    assert report_cache.report_of(cast.flock, TODAY).changes == ()


def test_it_is_kept_otherwise(yard, worked_out):
    """Another flock's records, and what this page does not rest on."""
    cast, rows, _ = yard
    report_cache.report_of(cast.flock, TODAY)
    look(cast.elsewhere, Bird.objects.create(flock=cast.elsewhere, name="Far"), FIRST)
    feet.start_round(flock=cast.flock, keeper=cast.keeper, bird_ids=[rows[0].pk])
    report_cache.report_of(cast.flock, TODAY)
    assert len(worked_out) == 1


def test_another_day_makes_it_anew(yard):
    """The months go on to this one."""
    cast, *_ = yard
    assert len(report_cache.report_of(cast.flock, TODAY).months) == 13
    assert len(report_cache.report_of(cast.flock, dt.date(2026, 2, 1)).months) == 14


def test_the_figures_of_one_flock_are_not_shown_in_another(yard):
    cast, *_ = yard
    assert report_cache.report_of(cast.flock, TODAY).summary.looks > 0
    assert report_cache.report_of(cast.elsewhere, TODAY).summary.looks == 0
