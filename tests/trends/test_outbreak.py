"""Several birds of a house at once: when Trends speaks of it, and when it must not."""

import datetime as dt

import pytest
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.situation import NEW_WITHIN
from flockcare.housing.models import Feature, FeatureState, House, Stay
from flockcare.trends.answers import build
from flockcare.trends.outbreak import outbreaks
from flockcare.trends.records import ALWAYS, STILL, StayRow
from flockcare.trends.report import plain
from flockcare.trends.watch import Watch
from tests.trends.flocks import DAY_0, birds_of, flock
from tests.trends.test_answer_rows import visible
from tests.trends.yard import look

WEEKS = 52
LAST = 7 * (WEEKS - 1)
HOMES = [bird % 2 for bird in range(16)]


def histories(new=(), *, feet=(0,), weeks=WEEKS, gap=0, days=(), before=(0,), more=0):
    """16 hens on weekly rounds, with a case of two weeks in four of the eight birds of each house,
    in the feet ``before``; those ``new`` have one found at the last round. No round in the ``gap``
    weeks before it, ``more`` rounds after it; ``days`` (bird, day, score) are checks besides."""
    found = {}
    for bird in range(16):
        for foot in (0, 1):
            ill = (5 + 3 * (bird // 2), 6 + 3 * (bird // 2)) if bird < 8 and foot in before else ()
            rows = [
                (7 * week, int(week in ill))
                for week in range(weeks)
                if not weeks - 1 - gap <= week < weeks - 1
            ]
            sore = int(bird in new and foot in feet)
            rows[-1:] = [(rows[-1][0] + 7 * week, sore) for week in range(more + 1)]
            rows += [(day, score if foot == 0 else 0) for one, day, score in days if one == bird]
            found[bird, foot] = sorted(rows)
    return found


def told(records, after=0, last=LAST):
    return outbreaks(Watch.of(records), dt.date.fromordinal(DAY_0 + last + after))


def of(new=(), **more):
    return flock(histories(new, **more), houses=("Cart Shed", "Orchard"), homes=HOMES)


def test_three_birds_of_one_house_where_one_in_three_months_is_usual():
    (found,) = told(of((8, 10, 12)))
    assert (found.house, found.birds, found.told) == ("Cart Shed", 3, True)
    assert found.sentence == (
        "3 birds with a new case in Cart Shed since 10 Dec; usually none. Check the litter first."
    )
    # 4 cases at 48 of the rounds before, against the three rounds of these days.
    assert found.expected == pytest.approx(4 * 3 / 48, rel=0.05)
    assert found.p < 0.01
    report = build(of((8, 10, 12)), flock="", today=dt.date.fromordinal(DAY_0 + LAST))
    assert report.headline[0] == found.sentence
    names = [report.cases[number].name for number in found.numbers]
    assert names == ["Hen 08", "Hen 10", "Hen 12"]
    (row,) = plain(report)["outbreaks"]
    assert (row["house"], row["birds"], row["since"]) == ("Cart Shed", 3, "2025-12-10")


@pytest.mark.parametrize(
    "new",
    [
        (),
        (8, 10),
        # Two in one house and two in the other.
        (8, 10, 9, 11),
    ],
)
def test_fewer_are_not_spoken_of(new):
    assert told(of(new)) == ()


def test_both_feet_of_a_bird_are_one_bird():
    assert told(of((8, 10), feet=(0, 1))) == ()
    (found,) = told(of((8, 10, 12), feet=(0, 1)))
    assert found.birds == 3


def test_both_feet_at_once_were_one_before_as_well():
    (found,) = told(of((8, 10, 12), before=(0, 1)))
    assert found.expected == pytest.approx(4 * 3 / 48, rel=0.05)


def test_two_are_no_outbreak_where_there_never_was_a_case():
    assert told(of((8, 10), before=())) == ()
    (found,) = told(of((8, 10, 12), before=()))
    assert found.expected == 0


def test_what_is_usual_comes_from_the_year_before():
    (found,) = told(of((8, 10, 12), weeks=100), last=7 * 99)
    assert found.expected == 0


def test_it_is_forgotten_after_two_weeks():
    assert told(of((8, 10, 12)), after=14)
    assert told(of((8, 10, 12)), after=15) == ()


def test_what_a_round_finds_after_a_long_gap_may_have_begun_long_ago():
    assert told(of((8, 10, 12), gap=1))
    # Seven weeks: within the gap limit, but three birds are no more than seven weeks may bring.
    assert told(of((8, 10, 12), gap=6)) == ()
    # Ten weeks: nobody knows when these began, and be it the whole house; a round later neither.
    assert told(of(range(0, 16, 2), gap=9)) == ()
    assert told(of(range(0, 16, 2), gap=9, more=1), after=7) == ()
    # Nor does it matter whether a round found them.
    limping = [(bird, LAST + 70, 1) for bird in (8, 10, 12)]
    assert told(of(days=limping, before=()), after=70) == ()


def test_a_clear_check_between_rounds_does_not_make_the_gap_short():
    """It was made because she limped; all others were not checked for eleven weeks."""
    clear = [(bird, LAST - 20, 0) for bird in (8, 10, 12)]
    assert told(of((8, 10, 12), gap=10, days=clear)) == ()


def test_a_bird_that_was_lost_meanwhile_counts():
    limping = [(8, LAST + 5, 1), (10, LAST + 5, 1), (12, LAST + 5, 1)]
    left = [DAY_0 + LAST + 5 if bird == 12 else None for bird in range(16)]
    birds = birds_of(16, left_on=left, present=[one is None for one in left])
    lost = flock(histories(days=limping), houses=("Ark", "Barn"), homes=HOMES, birds=birds)
    (found,) = told(lost, after=6)
    assert found.birds == 3


def test_at_the_first_round_nothing_is_new():
    assert told(of(range(16), weeks=1), last=0) == ()


def test_with_too_little_time_before_the_count_stands_alone():
    """By then the advice for each of four goes by the three others."""
    assert told(of((8, 10, 12), weeks=4), last=21) == ()
    (found,) = told(of((8, 10, 12, 14), weeks=4), last=21)
    assert not found.told
    assert found.sentence == "4 birds with a new case in Cart Shed since 8 Jan."


def test_what_is_found_between_rounds_counts_at_once():
    limping = [(8, LAST + 5, 1), (10, LAST + 5, 1), (12, LAST + 6, 1)]
    assert told(of(days=limping[:2]), after=6) == ()
    (found,) = told(of(days=limping), after=6)
    assert found.birds == 3 and found.told


def test_days_since_the_last_round_are_counted_as_days_in_which_cases_can_be_found():
    """Else whoever checks limping birds at once would be told of an outbreak sooner."""
    limping = [(8, LAST + 6, 1), (10, LAST + 6, 1), (12, LAST + 6, 1)]
    (found,) = told(of(days=limping), after=6)
    # Two rounds of these days, each of a week, and six days since, of the 49 weeks before.
    assert found.expected == pytest.approx(4 * (14 + 6) / (7 * 49), rel=0.02)


def test_a_bird_that_came_from_elsewhere_is_no_case_of_the_house():
    records = of((8, 10, 12))
    stays = [stay for stay in records.stays if stay.bird != 12]
    moved = DAY_0 + LAST - 3
    stays += [StayRow(12, 1, ALWAYS, moved), StayRow(12, 0, moved, STILL)]
    assert told(flock(histories((8, 10, 12)), houses=("Ark", "Barn"), stays=stays)) == ()


def test_where_no_house_is_known_the_flock_is_one():
    (found,) = told(flock(histories((8, 9, 10, 11)), houses=(), stays=[]))
    assert (found.house, found.birds) == ("", 4)
    assert found.sentence.startswith("4 birds with a new case since 10 Dec; usually about one.")


# The pages


def yard(cast, weeks, new, *, ended=0):
    """Eight hens in a house, on weekly rounds up to ``ended`` days ago; the last found ``new``."""
    cache.clear()
    house = House.objects.create(flock=cast.flock, name="Cart Shed")
    roost = Feature.objects.create(flock=cast.flock, house=house, name="Roost", kind="roost")
    FeatureState.objects.create(flock=cast.flock, feature=roost, since="2025-01-01", height_cm=60)
    last = timezone.localdate() - dt.timedelta(ended)
    for number in range(8):
        bird = Bird.objects.create(flock=cast.flock, name=f"Hen {number}")
        Stay.objects.create(flock=cast.flock, bird=bird, house=house)
        for week in range(weeks):
            sore = number < new and week == weeks - 1
            look(cast.flock, bird, last - dt.timedelta(7 * (weeks - 1 - week)), int(sore))
    return house


def shown(cast, name, *args):
    url = reverse(name, args=[cast.flock.pk, *args])
    return cast.clients.owner.get(url).content.decode()


@pytest.mark.django_db
def test_it_stands_first_on_trends_and_leads_to_its_birds(cast):
    yard(cast, 30, 4)
    text = shown(cast, "trends:page")
    line = text.index("4 birds with a new case in Cart Shed since")
    assert line < text.index("On record")
    house = cast.flock.house_set.get()
    cases = reverse("trends:cases", args=[cast.flock.pk])
    assert f"{cases}?of=outbreak%3A{house.pk.hex}" in text
    listed = cast.clients.owner.get(cases, {"of": f"outbreak:{house.pk.hex}"}).content.decode()
    assert "New cases in Cart Shed since" in listed
    assert all(f"Hen {number}" in listed for number in range(4)) and "Hen 5" not in listed
    assert "Chance alone gives as many" in listed


@pytest.mark.django_db
def test_with_too_little_on_record_there_is_room_for_the_count(cast):
    yard(cast, 3, 4)
    words = visible(cast)
    assert "4 birds with a new case" in " ".join(words) and len(words) <= 60


@pytest.mark.django_db
def test_the_house_says_so_as_long_as_it_is_news(cast, monkeypatch):
    house = yard(cast, 30, 4)
    said = "4 birds with a new case in Cart Shed since"
    assert said not in shown(cast, "housing:house", house.pk), "nothing is worked out there"
    shown(cast, "trends:page")
    other = House.objects.create(flock=cast.flock, name="Orchard")
    assert said not in shown(cast, "housing:house", other.pk)
    later = timezone.localdate() + NEW_WITHIN
    for today, there in ((later, True), (later + dt.timedelta(1), False)):
        monkeypatch.setattr(timezone, "localdate", lambda *given, today=today: today)
        assert (said in shown(cast, "housing:house", house.pk)) is there
