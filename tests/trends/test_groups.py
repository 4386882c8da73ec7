"""Groups: the same birds under two names, one house against one, and ranges that fit the test."""

import datetime as dt
import math
from types import SimpleNamespace

import numpy as np
import pytest

from flockcare.trends import groups
from flockcare.trends.answers import build
from flockcare.trends.records import DropRow
from flockcare.trends.watch import Watch
from tests.trends.flocks import DAY_0, birds_of, flock

OFTEN, SELDOM = "0100" * 12, "0" * 24 + "1" + "0" * 23


def two_houses(**more):
    """Twelve birds in each; those of the Ark fall ill far oftener, and drop 140 cm to 40."""
    histories = {(n, f): OFTEN if n % 2 else SELDOM for n in range(24) for f in (0, 1)}
    drops = [DropRow(0, DAY_0, 40.0), DropRow(1, DAY_0, 140.0)]
    birds = birds_of(24, adult_grams=[2000] * 24)
    homes = [n % 2 for n in range(24)]
    return flock(histories, houses=("Ark", "Barn"), homes=homes, drops=drops, birds=birds, **more)


def test_the_same_birds_under_three_names_are_one_answer():
    found = build(two_houses(), flock="", today=dt.date(2026, 1, 1)).groupings
    assert "house" in [one.key for one in found]
    assert not {"drop", "energy"} & {one.key for one in found}
    house = next(one for one in found if one.key == "house")
    assert house.alike == ("Highest usual drop", "Landing energy")
    assert house.sentences[-1] == (
        "House, highest usual drop and landing energy are the same birds here and cannot be told "
        "apart."
    )


def test_nearly_the_same_is_the_same_and_half_is_not():
    watch = Watch.of(two_houses())
    house = groups.by_house(watch)
    code = house.code.copy()
    code[:5] = 1 - code[:5]
    assert groups._alike(watch, house, groups.Sorted("x", ("a", "b"), code))
    code[: code.size // 2] = 0
    assert not groups._alike(watch, house, groups.Sorted("x", ("a", "b"), code))
    # All in one group, or most of it not known: nothing to be alike.
    assert not groups._alike(watch, house, groups.Sorted("x", ("a", "b"), code * 0))
    code = house.code.copy()
    code[: code.size // 2] = -1
    assert not groups._alike(watch, house, groups.Sorted("x", ("a", "b"), code))


def test_one_house_against_one_has_a_range_and_no_p():
    house = next(g for g in groups.groupings(Watch.of(two_houses())) if g.key == "house")
    row = next(row for row in house.rows if row.ratio)
    assert row.one_house_each and math.isnan(row.p) and math.isnan(row.adjusted_p)
    assert "one house against another has no test" in house.sentences[0]
    assert "by chance" not in house.sentences[0]


def mixed(seed):
    """Breeds and ages dealt out in one house; nothing differs but by chance."""
    random = np.random.default_rng(seed)
    histories = {
        (n, f): "".join("1" if random.random() < 0.04 else "0" for _ in range(60))
        for n in range(24)
        for f in (0, 1)
    }
    breeds = [("Ayam", "Brahma", "Cochin")[n % 3] for n in range(24)]
    classes = [("light", "heavy", "medium", "bantam")[n % 4] for n in range(24)]
    return flock(histories, birds=birds_of(24, breed=breeds, weight_class=classes))


@pytest.mark.parametrize("seed", range(6))
def test_a_range_leaves_out_the_same_only_where_the_test_says_so(seed):
    rows = [row for one in groups.groupings(Watch.of(mixed(seed))) for row in one.rows if row.fits]
    assert rows
    for row in rows:
        assert (row.fits.low <= 1 <= row.fits.high) == (row.adjusted_p > 0.05)
        assert row.fits.low <= row.ratio.low and row.fits.high >= row.ratio.high


def test_the_reason_for_not_adjusting_is_the_true_one():
    histories, breeds, classes = {}, [], []
    for n in range(40):
        breeds.append("Ayam" if n < 20 else "Brahma")
        classes.append(groups.CLASSES[n % 5])
        histories[n, 0] = OFTEN if n < 20 else SELDOM
    birds = birds_of(40, breed=breeds, weight_class=classes)
    found = groups.groupings(Watch.of(flock(histories, birds=birds)))
    breed = next(one for one in found if one.key == "breed")
    assert "Not adjusted for weight: 5 groups are too many to pool." in breed.sentences[0]


def test_the_ranges_within_weight_classes_allow_for_all_comparisons_too(monkeypatch):
    watch = Watch.of(mixed(0))

    def ranges():
        rows = [row for one in groups.groupings(watch) for row in one.rows]
        return {row.key: row.adjusted for row in rows if row.adjusted}

    held = ranges()
    monkeypatch.setattr(groups, "_at_level", lambda ratio, birds, steps: ratio)
    plain = ranges()
    assert held.keys() == plain.keys() and held
    for key, figure in held.items():
        assert figure.low < plain[key].low and figure.high > plain[key].high


def test_groups_are_compared_before_and_after_a_told_change_apart():
    """Two breeds with the same rate, a tenth of it after the change: most of the Ayams were
    watched before it, most of the Brahmas after."""
    random, weeks, change = np.random.default_rng(1), 160, 80
    histories = {}
    for n in range(40):
        watched = range(0, 110) if n % 2 else range(60, weeks)
        for f in (0, 1):
            signs = ["."] * weeks
            for week in watched:
                signs[week] = "1" if random.random() < (0.1 if week < change else 0.01) else "0"
            histories[n, f] = "".join(signs)
    birds = birds_of(40, breed=["Ayam" if n % 2 else "Brahma" for n in range(40)])
    watch = Watch.of(flock(histories, birds=birds, changes=[(0, 7 * change)]))
    told = SimpleNamespace(houses=("Ark",), days=(dt.date.fromordinal(DAY_0 + 7 * change),))

    def compared(*changes):
        found = next(one for one in groups.groupings(watch, changes) if one.key == "breed")
        return next(row.fits for row in found.rows if row.fits)

    assert not compared().low <= 1 <= compared().high
    apart = compared(told)
    assert apart.low <= 1 <= apart.high
    assert apart.high / apart.low < 3


def test_a_height_is_not_blamed_for_the_house_in_which_it_stands():
    """Cases come four times as often in the Ark, however high; most high landers live there."""
    random, homes, heavy = np.random.default_rng(2), [n % 2 for n in range(60)], []
    histories = {}
    for n in range(60):
        heavy.append(n % 10 != 0 if homes[n] else n % 10 == 0)
        for f in (0, 1):
            rate = 0.08 if homes[n] else 0.02
            histories[n, f] = "".join("01"[random.random() < rate] for _ in range(100))
    birds = birds_of(60, adult_grams=[3500 if each else 1500 for each in heavy])
    drops = [DropRow(0, DAY_0, 60.0), DropRow(1, DAY_0, 60.0)]
    watch = Watch.of(
        flock(histories, houses=("Barn", "Ark"), homes=homes, birds=birds, drops=drops)
    )
    energy = next(one for one in groups.groupings(watch) if one.key == "energy")
    (compared,) = [row.fits for row in energy.rows if row.fits]
    assert compared.low <= 1 <= compared.high
    sides = [watch.pairs.affected[groups.by_energy(watch).code == code].mean() for code in (0, 2)]
    assert max(sides) > 2 * min(sides)
