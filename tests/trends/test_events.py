"""What happened, as possible causes: judged as a change, as a spell, or only named."""

import datetime as dt

import numpy as np
import pytest

from flockcare.housing.models import Event, FeatureState, HousingChange, Wetness
from flockcare.people.models import Revision
from flockcare.trends import changes, groups, records, thresholds
from flockcare.trends.answers import build
from flockcare.trends.records import ALWAYS, STILL, WETNESS, EventRow, StayRow, WetnessRow, lasting
from flockcare.trends.report_cache import fingerprint
from flockcare.trends.watch import UNKNOWN, Watch
from tests.trends.flocks import DAY_0, flock, simulated
from tests.trends.yard import CHANGED, fill

TODAY = dt.date(2027, 1, 5)
APART = thresholds.REPEATED_DAYS


def row(day, kind="feed", house=None, until=None, what=""):
    return EventRow(house, DAY_0 + day, DAY_0 + (until or day), kind, what or kind.capitalize())


@pytest.mark.parametrize(
    ("events", "judged"),
    [
        ([row(100)], [True]),
        ([row(100, kind="predator")], [False]),
        ([row(100, kind="wet spell")], [False]),
        ([row(100), row(100 + APART)], [False, False]),
        ([row(100), row(101 + APART)], [True, True]),
        ([row(100, house=0), row(101, house=1)], [True, True]),
        ([row(100, house=0), row(101)], [False, False]),
        ([row(100), row(101, kind="bedding")], [True, True]),
    ],
)
def test_what_stays_so_is_judged_unless_it_is_a_habit(events, judged):
    told, made = lasting(events, houses=2)
    assert [event.judged for event in told] == judged
    touched = [2 if event.house is None else 1 for event in told if event.judged]
    assert len(made) == sum(touched)


def test_what_the_whole_flock_met_touched_the_houses_lived_in_that_day():
    stays = [StayRow(0, 0, ALWAYS, DAY_0 + 90), StayRow(0, 2, DAY_0 + 90, STILL)]
    stays.append(StayRow(1, 1, DAY_0 + 50, STILL))
    for day, touched in ((49, [0]), (50, [0, 1]), (90, [1, 2])):
        _, made = lasting([row(day)], 4, stays)
        assert [change.house for change in made] == touched
    _, made = lasting([row(49)], 4, stays[1:])
    assert [change.house for change in made] == [0, 1, 2, 3], "where nobody is known to have lived"


def with_events(*events, **more):
    found = simulated(birds=12, houses=2, days=720, **more)
    told, made = lasting(list(events), houses=2)
    found.changes[:] = [*found.changes, *made]
    found.events[:] = told
    return found


def test_a_feed_of_both_houses_is_one_change_more_and_counts_in_all_of_them():
    # Before the change of 365 days, far enough to be told apart.
    feed = row(200, what="Feed changed")
    alone = changes.answers(Watch.of(with_events(ratio=0.2, rate=0.004)))
    both = changes.answers(Watch.of(with_events(feed, ratio=0.2, rate=0.004)))
    assert (both[0].what, both[0].houses) == (("Feed changed",), ("House 0", "House 1"))
    assert len(both) == len(alone) + 1
    assert both[-1].compared == alone[-1].compared + 1
    assert both[-1].adjusted_p >= alone[-1].adjusted_p


def test_spells_and_habits_are_named_where_they_touch_the_time_compared():
    found = with_events(
        *(row(day, "bedding", what="Bedding renewed") for day in (100, 160, 220)),
        row(300, "wet spell", until=340, what="Wet spell"),
        row(350, "predator", house=1, what="Predator"),
        changed=[0],
    )
    answer = changes.answers(Watch.of(found))[0]
    assert answer.houses == ("House 0",)
    (named,) = [one for one in answer.else_changed if one.startswith("what happened then")]
    assert "Bedding renewed (3 times)" in named
    assert "Wet spell (28 Oct 2025 to 7 Dec 2025)" in named
    assert "Predator" not in named, "it was in the other house"
    assert not any(
        "what happened" in one
        for one in changes.answers(Watch.of(with_events(changed=[0])))[0].else_changed
    )


def test_the_report_lists_events_with_the_change_they_are_judged_as():
    found = with_events(
        row(200, what="Feed changed"), row(300, "wet spell", until=340, what="Wet spell")
    )
    report = build(found, flock="", today=TODAY)
    feed, spell = report.events
    assert report.changes[feed.change - 1].what == ("Feed changed",)
    assert (spell.change, spell.until) == (None, dt.date.fromordinal(DAY_0 + 340))
    assert feed.until is None and feed.house == ""


# How wet it was, and spells


def test_a_gap_between_checks_has_the_reading_nearest_to_its_middle():
    """By hand: checks every 14 days, so the middles are on days 7, 21, 35, 49."""
    far = thresholds.WETNESS_DAYS
    found = flock({(0, 0): [(day, 0) for day in (0, 14, 28, 42, 56)]})
    say = [(7 - far, "wet"), (20, "dry"), (23, "damp"), (35 + far, "wet"), (49 + far, "dry")]
    found.wetness[:] = [WetnessRow(0, DAY_0 + day, WETNESS.index(level)) for day, level in say]
    sorted_ = groups.by_wetness(Watch.of(found))
    assert [WETNESS[code] for code in sorted_.code] == ["wet", "dry", "wet", "wet"]
    found.wetness[:] = found.wetness[:1]
    code = groups.by_wetness(Watch.of(found)).code
    assert code.tolist() == [WETNESS.index("wet"), UNKNOWN, UNKNOWN, UNKNOWN]


def test_a_spell_is_compared_with_other_times_and_one_not_over_lasts_until_now():
    found = flock({(0, 0): [(day, 0) for day in (0, 14, 28, 42, 56)]})
    found.events[:] = [
        row(21, "wet spell", until=34),
        EventRow(0, DAY_0 + 40, STILL, "wet spell", ""),
    ]
    sorted_ = groups.by_spell(Watch.of(found))
    assert [sorted_.names[code] for code in sorted_.code] == [
        *("at other times", "wet spell", "at other times", "wet spell")
    ]


def wet_flock(is_wet, rate, seed=0):
    """Two houses; ``is_wet(house, day)`` once a week, ``rate(house, day)`` of each foot."""
    random = np.random.default_rng(seed)
    histories, wetness = {}, []
    for bird in range(24):
        for foot in (0, 1):
            ill, seen = 0, []
            for day in range(700):
                if ill <= day and random.random() < rate(bird % 2, day):
                    ill = day + 30
                if day % 7 == 0:
                    seen.append((day, int(ill > day)))
            histories[bird, foot] = seen
    for house in (0, 1):
        for day in range(3, 700, 7):
            level = WETNESS.index("wet" if is_wet(house, day) else "dry")
            wetness.append(WetnessRow(house, DAY_0 + day, level))
    found = flock(histories, houses=("Ark", "Barn"), homes=[n % 2 for n in range(24)])
    found.wetness[:] = wetness
    return found


def wet_half(ratio):
    """Each is wet in turn for four weeks, with ``ratio`` times as many cases."""

    def is_wet(house, day):
        return (day // 28 + house) % 2 == 1

    return wet_flock(is_wet, lambda house, day: 0.003 * (ratio if is_wet(house, day) else 1))


@pytest.mark.parametrize(("ratio", "told"), [(1, False), (3, True)])
def test_wet_weeks_are_told_of_when_more_cases_begin_in_them(ratio, told):
    found = groups.groupings(Watch.of(wet_half(ratio)))
    (wetness,) = [one for one in found if one.key == "wetness"]
    compared = next(one for one in wetness.rows if one.ratio)
    assert (compared.adjusted_p <= 0.05) == told
    value = compared.ratio.value if compared.name == "wet" else 1 / compared.ratio.value
    assert ratio / 1.5 < value < ratio * 1.5
    assert not {"wetness", "spell"} & {one.key for one in groups.groupings(Watch.of(simulated()))}


def test_wet_weeks_are_not_blamed_for_the_winter_in_which_most_of_them_lie():
    """Nearly all of winter is wet and little of the rest; six times as many cases in winter, wet
    or dry."""
    chance = np.random.default_rng(4).random((2, 100))

    def winter(day):
        return (DAY_0 + day - dt.date(2024, 12, 1).toordinal()) % 365 < 90

    def is_wet(house, day):
        return chance[house, day // 7] < (0.8 if winter(day) else 0.2)

    watch = Watch.of(wet_flock(is_wet, lambda house, day: 0.009 if winter(day) else 0.0015))
    wet = watch.pairs.affected[groups.by_wetness(watch).code == WETNESS.index("wet")].mean()
    dry = watch.pairs.affected[groups.by_wetness(watch).code == WETNESS.index("dry")].mean()
    assert wet > 2 * dry
    (wetness,) = [one for one in groups.groupings(watch) if one.key == "wetness"]
    (compared,) = [one.fits for one in wetness.rows if one.fits]
    assert compared.low <= 1 <= compared.high
    assert 0.6 < compared.value < 1.6


# From the database


@pytest.mark.django_db
def test_what_is_read_of_events_and_wetness(cast):
    _, (ark, barn) = fill(cast.flock, birds=2, weeks=3)
    on = CHANGED + dt.timedelta(100)
    for kind, more in (("feed", {}), ("other", {"what": "New cat", "house": barn})):
        Event.objects.create(flock=cast.flock, on=on, kind=kind, **more)
    Event.objects.create(flock=cast.flock, on=on, kind="wet spell", house=ark)
    Wetness.objects.create(flock=cast.flock, house=barn, on=on, level="damp")
    found = records.read(cast.flock, [])
    day = on.toordinal()
    assert sorted(found.events, key=lambda one: one.kind) == [
        EventRow(None, day, day, "feed", "Feed changed", judged=True),
        EventRow(1, day, day, "other", "New cat"),
        EventRow(0, day, STILL, "wet spell", "Wet spell"),
    ]
    assert found.wetness == [WetnessRow(1, day, 1)]
    assert [(one.house, one.changed) for one in found.changes if one.day == day] == [
        (0, ("Feed changed",)),
        (1, ("Feed changed",)),
    ]


@pytest.mark.django_db
def test_a_house_found_drier_is_asked_about_and_not_compared(cast):
    _, (ark, _) = fill(cast.flock, birds=2, weeks=3)
    state = FeatureState.objects.filter(feature__house=ark).first()
    for day, damp in ((200, "wet"), (260, "dry")):
        on = CHANGED + dt.timedelta(day)
        FeatureState.objects.create(
            flock=cast.flock, feature=state.feature, since=on, height_cm=60, damp=damp
        )
    on = CHANGED + dt.timedelta(260)
    found = records.read(cast.flock, [])
    assert found.undecided == [(0, on.toordinal())]
    step = {one.code: one for one in build(found, flock="", today=TODAY).steps}["why"]
    assert step.sentence.startswith("Ark was found drier on")
    said = HousingChange.objects.create(flock=cast.flock, house=ark, on=on, kind="drainage")
    found = records.read(cast.flock, [said])
    assert found.undecided == [] and on.toordinal() in [one.day for one in found.changes]
    Event.objects.create(flock=cast.flock, house=ark, on=on, kind="bedding")
    found = records.read(cast.flock, [])
    assert found.undecided == []
    days = [one.changed for one in found.changes if one.day == on.toordinal()]
    assert days == [("Roost dampness wet → dry",), ("Bedding renewed",)]


@pytest.mark.django_db
def test_a_report_is_made_anew_when_something_happened(cast):
    _, (ark, _) = fill(cast.flock, birds=1, weeks=2)
    marks = [fingerprint(cast.flock, [], TODAY)]
    event = Event.objects.create(flock=cast.flock, on=CHANGED, kind="feed")
    marks.append(fingerprint(cast.flock, [], TODAY))
    Wetness.objects.create(flock=cast.flock, house=ark, on=CHANGED, level="wet")
    marks.append(fingerprint(cast.flock, [], TODAY))
    Revision.objects.create(
        flock=cast.flock, kind="housing.Event", record=event.pk, action="change", before={}
    )
    marks.append(fingerprint(cast.flock, [], TODAY))
    assert len(set(marks)) == 4
