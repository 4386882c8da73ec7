"""Who lived where: overlaps refused, many moved at once, and what a day of moving counts for."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from flockcare.housing import services
from flockcare.housing.models import Stay
from flockcare.housing.residents import counts_on, houses_on, residents_on
from flockcare.people.models import Revision
from tests.housing.rows import house, stay

MAY, JUNE, JULY = (dt.date(2026, month, 10) for month in (5, 6, 7))
TODAY = dt.date(2026, 8, 1)
DAY = dt.timedelta(1)


@pytest.fixture
def places(cast):
    return house(cast.flock, "Barn"), house(cast.flock, "Shed")


def move(birds, into, on, by):
    return services.move_birds(birds=birds, house=into, on=on, by=by, today=TODAY)


def spans(bird):
    stays = Stay.objects.filter(bird=bird).select_related("house")
    return [(one.house.name, one.since, one.until) for one in stays]


def test_many_birds_move_at_once_and_the_old_stay_ends_on_that_day(places, birds, cast):
    barn, shed = places
    dill, mace, sorrel = (birds[name] for name in ("Dill", "Mace", "Sorrel"))
    stay(dill, barn)
    stay(mace, barn, MAY)
    stay(sorrel, shed, MAY)
    assert move([dill, mace, sorrel], shed, JUNE, cast.keeper) == 2
    assert spans(dill) == [("Barn", None, JUNE), ("Shed", JUNE, None)]
    assert spans(mace) == [("Barn", MAY, JUNE), ("Shed", JUNE, None)]
    assert spans(sorrel) == [("Shed", MAY, None)]
    assert Revision.objects.filter(kind="housing.Stay").count() == 2


def test_the_day_of_a_move_counts_for_the_new_house(places, birds, cast):
    barn, shed = places
    stay(birds["Dill"], barn)
    move([birds["Dill"]], shed, JUNE, cast.keeper)
    assert residents_on(barn, JUNE - DAY) == [birds["Dill"]]
    assert residents_on(barn, JUNE) == []
    assert residents_on(shed, JUNE) == [birds["Dill"]]
    assert houses_on(cast.flock, JUNE) == {birds["Dill"].pk: shed.pk}
    assert counts_on(cast.flock, JUNE - DAY) == {barn.pk: 1}


def test_a_bird_without_a_house_begins_on_the_day(places, birds, cast):
    assert move([birds["Dill"]], places[0], JUNE, cast.keeper) == 1
    assert spans(birds["Dill"]) == [("Barn", JUNE, None)]


def test_moved_twice_on_a_day_she_lives_where_she_came_last(places, birds, cast):
    barn, shed = places
    stay(birds["Dill"], barn, MAY)
    move([birds["Dill"]], shed, JUNE, cast.keeper)
    move([birds["Dill"]], barn, JUNE, cast.keeper)
    assert spans(birds["Dill"]) == [("Barn", MAY, JUNE), ("Barn", JUNE, None)]


def test_who_moved_again_since_stops_the_whole_move(places, birds, cast):
    barn, shed = places
    stay(birds["Dill"], barn, MAY, JULY)
    stay(birds["Dill"], shed, JULY)
    with pytest.raises(ValidationError, match="Dill has moved again since, to Shed on 10 Jul 2026"):
        move([birds["Mace"], birds["Dill"]], shed, JUNE, cast.keeper)
    assert spans(birds["Mace"]) == []


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"hatched": "2026-06-11"}, "Dill had not hatched on 10 Jun 2026"),
        ({"left": "2026-06-09", "left_reason": "died"}, "Dill had left the flock before"),
    ],
)
def test_nobody_moves_before_she_hatched_or_after_she_left(places, birds, cast, fields, words):
    for name, value in fields.items():
        setattr(birds["Dill"], name, value)
    with pytest.raises(ValidationError, match=words):
        move([birds["Dill"]], places[0], JUNE, cast.keeper)


def test_a_move_to_come_is_refused(places, birds, cast):
    with pytest.raises(ValidationError, match="in the future"):
        move([birds["Dill"]], places[0], TODAY + DAY, cast.keeper)


def test_two_houses_at_once_are_refused_in_words(places, birds, cast):
    barn, shed = places
    stay(birds["Dill"], barn, MAY, JULY)
    later = stay(birds["Dill"], shed, JULY)
    later.since = JUNE
    with pytest.raises(
        ValidationError, match="She lived in Barn at that time: from 10 May 2026 until 10 Jul 2026"
    ):
        services.correct_stay(stay=later, by=cast.keeper)
    later.since, later.until = JULY, MAY
    with pytest.raises(ValidationError, match="cannot leave the house before she moved in"):
        services.correct_stay(stay=later, by=cast.keeper)


day = st.integers(0, 9).map(lambda number: MAY + number * DAY)


@st.composite
def stays(draw):
    since, until = draw(st.none() | day), draw(st.none() | day)
    if since and until and until < since:
        since, until = until, since
    return Stay(since=since, until=until)


@given(stays(), stays())
def test_stays_overlap_when_both_hold_on_some_day(one, other):
    """The days of a stay are counted one by one; the last belongs to what comes next."""

    def held(stay):
        first, last = stay.since or MAY - 5 * DAY, stay.until or MAY + 20 * DAY
        return {first + number * DAY for number in range((last - first).days)}

    assert services.overlap(one, other) == services.overlap(other, one)
    # A stay that ended on the day it began holds on no whole day.
    if held(one) and held(other):
        assert services.overlap(one, other) == bool(held(one) & held(other))


def test_leaving_the_flock_ends_what_goes_on(places, birds, cast):
    barn, shed = places
    stay(birds["Dill"], barn, None, MAY)
    stay(birds["Dill"], shed, MAY)
    services.end_stays(bird=birds["Dill"], on=JUNE, by=cast.keeper)
    assert spans(birds["Dill"]) == [("Barn", None, MAY), ("Shed", MAY, JUNE)]


def test_who_left_lives_nowhere_even_if_her_stay_goes_on(places, birds, cast):
    stay(birds["Dill"], places[0])
    birds["Dill"].left, birds["Dill"].left_reason = "2026-06", "died"
    birds["Dill"].save()
    assert residents_on(places[0], dt.date(2026, 6, 30)) == [birds["Dill"]]
    assert residents_on(places[0], dt.date(2026, 7, 1)) == []
    assert counts_on(cast.flock, dt.date(2026, 7, 1)) == {}
