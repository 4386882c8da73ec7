"""Cases, months, groups and repeats of small invented flocks, worked by hand."""

import datetime as dt

import numpy as np
import pytest

from flockcare.trends import groups
from flockcare.trends.answers import build
from flockcare.trends.report import plain
from flockcare.trends.watch import Watch
from tests.trends.flocks import DAY_0, birds_of, flock, looks_of, simulated

TODAY = dt.date(2027, 1, 1)


def report(records, today=TODAY):
    return build(records, flock="Test", today=today)


def test_a_case_is_shared_out_over_the_days_in_which_it_may_have_begun():
    # Clear on 21 January (day 20), sore on 10 February (day 40): 20 days, of which 22 to 31
    # January are ten and 1 to 10 February ten.
    records = flock({(0, 0): [(0, 0), (20, 0), (40, 1)]})
    january, february, march = report(records, dt.date(2025, 3, 5)).months
    assert (january.cases, february.cases, march.cases) == (0.5, 0.5, 0)
    assert (january.found, february.found) == (0, 1)
    # 20 days clear, then half of the gap, taken evenly: 20 + 5, and 5.
    assert (january.foot_days, february.foot_days) == (25, 5)


def test_a_month_without_looks_has_no_time_watched():
    # Looks in January and in May: the gap of 120 days between counts as watching nothing.
    records = flock({(0, 0): [(0, 0), (14, 0), (134, 0), (148, 0)]})
    months = report(records, dt.date(2025, 6, 1)).months
    assert [month.foot_days for month in months] == [14, 0, 0, 0, 14, 0]
    assert [f"{month.first:%b}" for month in months] == ["Jan", "Feb", "Mar", "Apr", "May", "Jun"]


def test_months_add_up_to_all_that_was_watched():
    found = report(simulated(seed=3))
    assert sum(month.cases for month in found.months) == pytest.approx(found.summary.cases)
    watched = sum(month.foot_days for month in found.months)
    assert watched == pytest.approx(found.summary.foot_days, abs=0.1)
    assert sum(month.found for month in found.months) == found.summary.cases
    assert sum(case.counted for case in found.cases) == found.summary.cases


def test_a_foot_sore_at_first_sight_is_no_new_case():
    records = flock({(0, 0): "1100", (0, 1): "0010"})
    found = report(records)
    assert (found.summary.cases, found.summary.prevalent) == (1, 1)
    assert any("nobody knows since when" in sentence for sentence in found.summary.sentences)


def test_a_healed_foot_can_fall_ill_anew():
    assert report(flock({(0, 0): "0100100"})).summary.cases == 2


def test_no_looks_at_all():
    found = report(flock({(0, 0): "0"}))
    assert found.summary.cases == 0
    from flockcare.trends.records import Looks, Records

    none = np.zeros(0, np.int64)
    empty = report(Records([], Looks(none, none, none, none, [], none)))
    assert empty.headline == ("No foot has been checked yet.",)
    assert empty.steps[0].code == "look"
    plain(empty)


def test_every_sentence_avoids_what_records_cannot_know():
    from tests.trends.test_words import NEVER

    for seed, ratio in ((1, 0.1), (2, 1.0), (3, 6.0)):
        text = str(plain(report(simulated(seed=seed, ratio=ratio, houses=2, changed=[0]))))
        assert not NEVER.search(text)


def test_both_feet_at_once():
    # Left sore on days 7 and 14, right on days 14 and 21: they overlap. Later left alone.
    records = flock({(0, 0): "01100010", (0, 1): "00110000"})
    found = report(records).repeats
    assert (found.both_feet, found.all_cases) == (2, 3)


def test_birds_with_repeated_cases_and_the_rest():
    histories = {(0, 0): "010010010010"} | {(n, 0): "000000000000" for n in range(1, 6)}
    histories[1, 0] = "000000010000"
    found = report(flock(histories)).repeats
    assert (found.repeated, found.repeated_cases, found.cases) == (1, 4, 5)
    assert [(bird.name, bird.cases) for bird in found.birds] == [("Hen 00", 4), ("Hen 01", 1)]
    # Without her: five feet through 11 weeks, less half a week and the week in which one was sore.
    assert found.foot_days_without == 5 * 77 - 7 - 3.5
    assert found.cases_without == 1


# Groups


def test_a_small_group_is_one_birds_story():
    histories = {(n, foot): "0" * 20 for n in range(6) for foot in (0, 1)}
    histories[0, 0] = "01000100001000001000"
    birds = birds_of(6, breed=["Brahma", *["Sussex"] * 5])
    (brahma, sussex) = next(
        g for g in report(flock(histories, birds=birds)).groupings if g.key == "breed"
    ).rows
    assert brahma.refusal.code == "too_few_birds"
    assert "her story" in brahma.words
    assert sussex.refusal is None
    assert sussex.words.startswith("None found in 665 days of watching.")


def test_weight_class_by_the_last_weighing_before_the_look():
    # 1.4 kg is a bantam's weight, 2.5 kg a medium hen's (bounds of birds.breeds).
    birds = birds_of(1, weight_class=["heavy"], weighed=[((DAY_0 + 10, 1400), (DAY_0 + 20, 2500))])
    watch = Watch.of(flock({(0, 0): [(0, 0), (12, 0), (24, 0), (36, 0)]}, birds=birds))
    found = groups.by_weight_class(watch)
    assert [found.names[code] for code in found.code] == ["heavy", "bantam", "medium"]


def test_weight_explains_what_looks_like_the_house():
    """Ten heavy hens in one house and ten light in the other, the heavy falling ill oftener; two of
    each live in the other house. By hand: within a weight class the houses do not differ."""
    heavy, light = "010010010010010010010", "000000010000000000000"
    histories, homes, classes = {}, [], []
    for n in range(24):
        is_heavy = n < 12
        histories[n, 0] = heavy if is_heavy else light
        homes.append(int(n % 12 < 2) if is_heavy else int(n % 12 >= 2))
        classes.append("heavy" if is_heavy else "light")
    records = flock(
        histories, houses=("Ark", "Barn"), homes=homes, birds=birds_of(24, weight_class=classes)
    )
    house = next(g for g in report(records).groupings if g.key == "house")
    row = next(row for row in house.rows if row.ratio)
    assert row.ratio.high < 1 or row.ratio.low > 1
    assert row.adjusted.value == pytest.approx(1.0)
    assert row.adjusted.low < 1 < row.adjusted.high


def test_seasons_by_the_middle_of_the_gap():
    watch = Watch.of(flock({(0, 0): [(0, 0), (40, 0), (75, 0), (100, 0)]}))
    # Middles: 21 January, 27 February, 29 March.
    assert [groups.SEASONS[code] for code in groups.by_season(watch).code] == [
        "winter",
        "winter",
        "spring",
    ]


def test_energy_is_weight_times_drop():
    # 2 kg × 9.80665 m/s² × 0.6 m = 11.77 J, standard gravity of 1901.
    from flockcare.trends.records import DropRow

    records = flock(
        {(0, 0): "0000"}, birds=birds_of(1, adult_grams=[2000]), drops=[DropRow(0, DAY_0, 60.0)]
    )
    found = groups.by_energy(Watch.of(records))
    assert {found.names[code] for code in found.code} == {"10 to 20 J"}
    unknown = groups.by_energy(Watch.of(flock({(0, 0): "0000"}, birds=birds_of(1))))
    assert (unknown.code == -1).all()


def test_two_looks_on_one_day_that_disagree_are_told():
    records = flock({(0, 0): [(0, 0), (7, 0), (7, 1), (14, 0)]})
    assert report(records).summary.both_ways == 1


def test_looks_of_reads_text():
    looks = looks_of({(0, 1): "0.1"})
    assert looks.day.tolist() == [DAY_0, DAY_0 + 14] and looks.score.tolist() == [0, 1]


def test_a_growing_bird_and_a_cock_have_no_adult_weight():
    from flockcare.trends.records import DropRow

    # Grown from day 14 on; 3 kg then, unknown before; what she weighed herself counts always.
    birds = birds_of(
        2,
        adult_grams=[3000, 3000],
        weight_class=["heavy", "heavy"],
        grown_from=[DAY_0 + 14, None],
        weighed=[(), ((DAY_0 + 7, 1400),)],
    )
    records = flock({(0, 0): "0000", (1, 0): "0000"}, birds=birds, drops=[DropRow(0, DAY_0, 60.0)])
    watch = Watch.of(records)
    grams = groups._grams(watch)
    assert np.isnan(grams[:2]).all() and grams[2:].tolist() == [3000, 3000, 1400, 1400]
    classes = groups.by_weight_class(watch)
    named = [classes.names[code] if code >= 0 else "" for code in classes.code]
    assert named == ["", "", "heavy", "heavy", "bantam", "bantam"]
