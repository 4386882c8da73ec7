import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flockcare.analysis.episodes import Look, episodes
from flockcare.birds.models import Bird
from flockcare.feet.cases import cases_of_bird, cases_of_flock
from flockcare.feet.models import Check, FootFinding

LONDON = ZoneInfo("Europe/London")


def look(bird, at, *, keeper=None, **scores):
    """A check of ``bird`` with the scores of the feet that were looked at."""
    check = Check.objects.create(flock=bird.flock, bird=bird, at=at, keeper=keeper)
    FootFinding.objects.bulk_create(
        FootFinding(check_record=check, foot=foot, score=score) for foot, score in scores.items()
    )
    return check


def noon(*day):
    return dt.datetime(*day, 12, tzinfo=dt.UTC)


def days(*cases):
    return [
        (
            case.foot,
            case.episode.last_clear_before and case.episode.last_clear_before.day,
            case.episode.first_affected.day,
            case.episode.last_affected.day,
            case.episode.first_clear_after and case.episode.first_clear_after.day,
            case.worst,
        )
        for case in cases
    ]


def test_two_cases_and_a_current_one_by_hand(cast, birds):
    dill = birds["Dill"]
    for day, left, right in [
        (1, 0, 1),
        (5, 0, 0),
        (9, 1, 0),
        (12, 2, 0),
        (15, 1, 0),
        (20, 0, 0),
        (24, 0, 0),
        (28, 0, 2),
    ]:
        look(dill, noon(2026, 3, day), keeper=cast.keeper, left=left, right=right)
    look(birds["Mace"], noon(2026, 3, 3), left=1)

    current, left, first = cases_of_bird(dill)

    assert days(current, left, first) == [
        ("right", 24, 28, 28, None, 2),
        ("left", 5, 9, 15, 20, 2),
        ("right", None, 1, 1, 5, 1),
    ]
    assert (current.current, left.current) == (True, False)
    assert (left.least_days, left.most_days) == (6, 15)
    assert (first.episode.prevalent, first.most_days, current.most_days) == (True, None, None)
    assert (left.last.score, left.first.score) == (1, 1)
    assert current.last.by == "Keeper"
    assert left.first.on == dt.date(2026, 3, 9)
    of_flock = cases_of_flock(cast.flock)
    assert {case for case in of_flock if case.bird_id == dill.pk} == {current, left, first}
    assert len(of_flock) == 4


def test_a_day_is_the_day_in_the_flocks_zone(birds):
    # tz database: Europe/London is one hour ahead of UTC from 29 March 2026 on.
    look(birds["Dill"], dt.datetime(2026, 3, 30, 23, 30, tzinfo=dt.UTC), left=1)
    (case,) = cases_of_bird(birds["Dill"])
    assert case.episode.first_affected == dt.date(2026, 3, 31)


def test_a_late_check_changes_the_cases_by_itself(birds):
    dill = birds["Dill"]
    look(dill, noon(2026, 3, 1), left=1)
    look(dill, noon(2026, 3, 11), left=1)
    assert days(*cases_of_bird(dill)) == [("left", None, 1, 11, None, 1)]
    look(dill, noon(2026, 3, 6), left=0)
    assert days(*cases_of_bird(dill)) == [
        ("left", 6, 11, 11, None, 1),
        ("left", None, 1, 1, 6, 1),
    ]


def test_another_flocks_birds_are_left_out(cast, birds):
    stray = Bird.objects.create(flock=cast.elsewhere, name="Stray")
    look(stray, noon(2026, 3, 1), left=2)
    assert cases_of_flock(cast.flock) == []
    assert cases_of_bird(birds["Dill"]) == []


looks = st.lists(
    # Few hours, so that some looks are at one moment.
    st.tuples(st.integers(0, 9), st.sampled_from([0, 8, 23]), st.sampled_from(["left", "right"])),
    max_size=14,
)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(looks, st.data())
def test_turning_points_give_the_cases_that_all_looks_give(birds, looks, data):
    """Also with several looks on one day, or at one moment, that contradict each other."""
    dill = birds["Dill"]
    Check.objects.all().delete()
    seen = {"left": [], "right": []}
    for day, hour, foot in looks:
        score = data.draw(st.sampled_from([0, 0, 0, 1, 2]))
        at = dt.datetime(2026, 3, 22, hour, tzinfo=dt.UTC) + dt.timedelta(day)
        look(dill, at, **{foot: score})
        seen[foot].append(Look(at.astimezone(LONDON).date(), score > 0, float(score)))

    cases = cases_of_bird(dill)

    for foot, all_looks in seen.items():
        found = sorted(
            (case.episode for case in cases if case.foot == foot), key=lambda e: e.first_affected
        )
        assert found == episodes(all_looks)
    assert set(cases_of_flock(dill.flock)) == set(cases)


@pytest.mark.parametrize("rounds", [1, 20, 500])
def test_one_query_however_long_the_record(django_assert_num_queries, birds, rounds):
    first = noon(2016, 1, 1)
    for number in range(rounds):
        look(birds["Dill"], first + dt.timedelta(7 * number), left=number % 5 == 0, right=0)
    with django_assert_num_queries(1):
        cases = cases_of_bird(birds["Dill"])
    assert len(cases) == -(-rounds // 5)
