"""Which change is named where several lie close together, and what stands beside it."""

import datetime as dt
from dataclasses import replace

import pytest

from flockcare.trends import changes
from flockcare.trends.answers import build
from flockcare.trends.records import ChangeRow
from flockcare.trends.watch import Watch
from tests.trends.flocks import DAY_0, flock, simulated

TODAY = dt.date(2027, 1, 1)


def close(seed, second=425, **more):
    """Cases fall to a fifth on day 365; something else is done later and does nothing."""
    records = simulated(seed=seed, birds=24, rate=0.003, ratio=0.2, **more)
    records.changes[:] = [
        ChangeRow(0, DAY_0 + 365, ("Yard drained",), ""),
        ChangeRow(0, DAY_0 + second, ("New bar",), ""),
    ]
    return records


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_change_two_months_after_the_one_that_helped_is_never_credited_alone(seed):
    said = build(close(seed), flock="", today=TODAY).headline
    about = [line for line in said if "New cases" in line and "after" in line]
    assert about and all("Yard drained" in line for line in about)


def test_both_are_named_where_they_cannot_be_told_apart():
    found = build(close(2), flock="", today=TODAY)
    one, other = found.changes
    nowhere = replace(found.scan, told=False)
    assert changes.rivals(one, found.changes, nowhere) == [other]
    from flockcare.trends import words

    assert words.moved_after(one, [other]).endswith(
        "“Yard drained (House 0, 1 Jan 2026)” or “New bar (House 0, 2 Mar 2026)”; these cannot be "
        "told apart."
    )


def test_the_time_at_which_the_rate_changed_tells_two_changes_apart():
    found = build(close(2), flock="", today=TODAY)
    one, other = found.changes
    around = replace(found.scan, told=True, first=dt.date(2025, 12, 20), last=dt.date(2026, 1, 5))
    assert changes.rivals(one, found.changes, around) == []
    assert changes.rivals(other, found.changes, around) == [one]


def test_changes_half_a_year_apart_are_named_apart():
    found = build(close(2, second=365 + 182), flock="", today=TODAY)
    assert changes.rivals(found.changes[0], found.changes, found.scan) == []


def test_no_change_is_called_clear_where_the_rate_changed_at_another_time():
    records = simulated(seed=5, birds=40, rate=0.004, ratio=0.1)
    found = build(records, flock="", today=TODAY)
    (change,) = found.changes
    assert change.state == "clear" and found.scan.told
    away = replace(found.scan, first=dt.date(2025, 6, 22), last=dt.date(2025, 8, 11))
    (weighed,) = changes.weighed(found.changes, away)
    assert weighed.state == "some_sign"
    assert weighed.sentences[-1] == (
        "The rate itself changed around 22 Jun – 11 Aug 2025, not around this change."
    )
    assert not any("clearly" in sentence for sentence in weighed.sentences)
    assert changes.weighed(found.changes, replace(away, told=False)) == found.changes


def test_all_that_was_done_together_is_named_first():
    records = simulated(seed=5, birds=40, rate=0.004, ratio=0.1)
    records.changes[:] = [
        ChangeRow(0, DAY_0 + 365, ("Roost lower",), ""),
        ChangeRow(0, DAY_0 + 380, ("Feeder moved",), ""),
    ]
    assert "“Roost lower; Feeder moved (" in build(records, flock="", today=TODAY).headline[1]


def test_the_unchanged_house_counts_only_until_it_is_changed_itself():
    """Checked weekly for 100 weeks; the Ark changes on day 350, the Barn on days 140 and 490."""
    histories = {(n, f): "0" * 100 for n in range(12) for f in (0, 1)}
    records = flock(histories, houses=("Ark", "Barn"), homes=[n % 2 for n in range(12)])
    records.changes[:] = [ChangeRow(h, DAY_0 + d, ("x",), "") for h, d in ((0, 350), (1, 490))]
    records.changes.append(ChangeRow(1, DAY_0 + 140, ("x",), ""))
    _, answer, _ = changes.answers(Watch.of(records))
    feet = 12
    beside = answer.beside.found
    assert (beside.days_before, beside.days_after) == (feet * 210, feet * 140)
    assert answer.found.days_after == feet * 343
