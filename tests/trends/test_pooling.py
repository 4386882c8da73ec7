"""Pooling summaries: the figures against outside ones, and what is not let in."""

import json
import math

import pytest
from django.core.management import CommandError, call_command
from scipy.stats import binomtest

from flockcare.trends import pooling, summary
from tests.analysis.test_rates import DOCTORS


def flock(number: int, *strata, kind="bedding", **more) -> dict:
    """``strata``: (cases after, foot-days after, cases before, foot-days before[, across])."""
    return {
        "format": "flockcare summary",
        "version": 1,
        "flock": f"{number:032x}",
        "birds": "10-19",
        "changes": [change(*strata, kind=kind, **more)],
    }


def change(*strata, kind="bedding", others=0, rounds=(14, 14), spread=1.0) -> dict:
    return {
        "kind": kind,
        "quarter": "2025-Q4",
        "period_days": 365,
        "other_changes": others,
        "rounds_before_days": rounds[0],
        "rounds_after_days": rounds[1],
        "spread": spread,
        "strata": [
            {
                "weight": "light+medium",
                "cases_before": x0,
                "cases_across": across[0] if across else 0,
                "cases_after": x1,
                "foot_days_before": t0,
                "foot_days_after": t1,
            }
            for x1, t1, x0, t0, *across in strata
        ],
    }


@pytest.fixture
def put(tmp_path):
    """Writes summaries (or texts) and gives their paths."""

    def write(*said):
        paths = []
        for each in said:
            path = tmp_path / f"{len(list(tmp_path.iterdir()))}.json"
            path.write_text(each if isinstance(each, str) else summary.as_text(each))
            paths.append(path)
        return paths

    return write


def pooled(paths):
    summaries, refused = pooling.read_all(paths)
    assert not refused
    return pooling.pool(summaries)


def words(paths) -> str:
    summaries, _ = pooling.read_all(paths)
    return "\n".join(pooling.spoken(summaries, pooling.pool(summaries)))


# Figures


def test_one_flock_is_the_conditional_binomial(put):
    (got,) = pooled(put(flock(1, (5, 2559, 27, 1658))))
    outside = binomtest(5, 32, 2559 / (2559 + 1658)).proportion_ci(0.95, "exact")
    low, high = (share / (1 - share) * 1658 / 2559 for share in outside)
    assert (got.all_before.low, got.all_before.high) == pytest.approx((low, high), rel=1e-8)
    assert got.all_before == got.all_after


def test_british_doctors_as_flocks(put):
    """Doll & Hill (1966), as in Rothman (from memory): five age classes as five flocks.

    Published: pooled ratio 1.42 (1.15 to 1.76), homogeneity 10.41 on 4, p = 0.034.
    """
    paths = put(*(flock(number, row) for number, row in enumerate(DOCTORS)))
    (got,) = pooled(paths)
    assert got.all_before.ratio == pytest.approx(1.42, abs=0.01)
    assert (got.all_before.low, got.all_before.high) == pytest.approx((1.15, 1.76), abs=0.02)
    assert got.between.homogeneity_chi2 == pytest.approx(10.41, abs=0.005)
    assert got.between.homogeneity_p == pytest.approx(0.034, abs=5e-4)
    said = words(paths)
    assert "differ by more than chance (chi² = 10.41 on 4, p = 0.034)" in said
    assert "not a random sample" in said


def test_classes_of_a_flock_do_not_count_as_flocks(put):
    paths = put(flock(1, DOCTORS[0], DOCTORS[4]), flock(2, *DOCTORS[1:4]))
    (got,) = pooled(paths)
    assert got.all_before.ratio == pytest.approx(1.42, abs=0.01)
    # By hand, the two flocks' sums: 134/57724 against 33/20252, and 496/84523 against 68/18968.
    first, second = (134 / 57724) / (33 / 20252), (496 / 84523) / (68 / 18968)
    weights = [1 / (1 / 134 + 1 / 33), 1 / (1 / 496 + 1 / 68)]
    gap = math.log(first / second) ** 2 / sum(1 / one for one in weights)
    assert got.between.homogeneity_chi2 == pytest.approx(gap, rel=0.02)
    assert "on 1, p" in words(paths)


def test_cases_across_are_put_on_either_side(put):
    (got,) = pooled(put(flock(1, (4, 1000, 9, 1000, 3)), flock(2, (3, 1000, 6, 1000))))
    assert got.all_before.ratio == pytest.approx(7 / 18)
    assert got.all_after.ratio == pytest.approx(10 / 15)
    assert got.p == got.all_after.p > got.all_before.p
    said = words(put(flock(1, (4, 1000, 9, 1000, 3)), flock(2, (3, 1000, 6, 1000))))
    assert "3 on either side of the change" in said and "with those put after" in said


def test_too_many_across_or_too_few_cases_give_no_figure(put):
    assert "too far apart" in words(put(flock(1, (4, 1000, 3, 1000, 8))))
    assert "Too few cases" in words(put(flock(1, (1, 1000, 3, 1000))))
    assert "Rate after over before" not in words(put(flock(1, (4, 1000, 3, 1000, 8))))


def test_one_change_of_a_kind_counts_for_a_flock(put):
    """The same days may be in both: the one watched longest, whatever came of it."""
    one = flock(1, (0, 400, 20, 500))
    one["changes"].append(change((7, 2000, 8, 1900)))
    one["changes"].append(change((6, 2000, 6, 1900), kind="height"))
    kinds = {each.kind: each for each in pooled(put(one))}
    assert list(kinds) == ["height", "bedding"]
    assert kinds["bedding"].changes[0].strata[0].cases_before == 8
    assert kinds["bedding"].left_aside == 1
    assert "1 further change" in words(put(one))


def test_doubts_are_said(put):
    said = words(put(flock(1, (4, 1000, 9, 1000), others=2, rounds=(30, 7), spread=2.5)))
    assert "In 1 of 1 something else was changed" in said
    assert "In 1 of 1 rounds became closer" in said
    assert "2.5 times as much" in said
    said = words(put(flock(1, (4, 1000, 9, 1000), rounds=(None, None), spread=None)))
    assert "In 1 of 1" not in said and "times as much" not in said


def test_several_kinds_are_allowed_for(put):
    paths = put(flock(1, (4, 1000, 15, 1000)), flock(2, (6, 1000, 8, 1000), kind="step"))
    ps = {one.kind: one.p for one in pooled(paths)}
    assert f"p = {ps['bedding']:.3f}, {2 * ps['bedding']:.3f} allowing for 2 kinds" in words(paths)


def test_no_case_on_one_side(put):
    (got,) = pooled(put(flock(1, (0, 1000, 9, 1000)), flock(2, (0, 500, 3, 500))))
    assert (got.all_before.ratio, got.all_before.low) == (0, 0)
    assert "0.00 (0.00 to " in words(put(flock(1, (0, 1000, 9, 1000))))
    assert "without limit (" in words(put(flock(1, (9, 1000, 0, 1000))))
    assert math.isnan(got.between.homogeneity_p)


# What is not let in

GOOD = flock(1, (5, 2559, 27, 1658), (3, 900, 4, 1000, 1))
LINES = summary.as_text(GOOD).splitlines()


def test_a_file_with_one_line_broken_is_refused(put):
    broken = 0
    for number, line in enumerate(LINES):
        other = line.translate(str.maketrans("12345bdefghk[{}]", "23456cfghijlxxxx"))
        for spoilt in ([], [line[: len(line) // 2]], [other]):
            text = "\n".join([*LINES[:number], *spoilt, *LINES[number + 1 :]])
            if json_of(text) == json_of("\n".join(LINES)):
                continue
            (path,) = put(text)
            summaries, (refused,) = pooling.read_all([path])
            assert not summaries, text
            assert refused.startswith(f"{path}: left out, ") and "\n" not in refused
            broken += 1
    assert broken > 2 * len(LINES)


def json_of(text: str):
    try:
        return json.loads(text)
    except ValueError:
        return text


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("", "not a summary"),
        ("[1, 2]", "not a summary of a flock"),
        ("[" * 100_000, "not a summary"),
        (" " * 1_000_001, "too large"),
        ({**GOOD, "format": "something"}, "not a summary of a flock"),
        ({**GOOD, "version": 2}, "another version"),
        ({**GOOD, "version": "1"}, "another version"),
        ({**GOOD, "flock": "Thistle Yard"}, "damaged"),
        ({**GOOD, "flock": None}, "damaged"),
        ({**GOOD, "birds": "12"}, "damaged"),
        ({**GOOD, "changes": {}}, "damaged"),
        ({**GOOD, "changes": ["x"]}, "damaged"),
        (flock(1, (-1, 10, 2, 10)), "damaged"),
        (flock(1, (1.5, 10, 2, 10)), "damaged"),
        (flock(1, (True, 10, 2, 10)), "damaged"),
        (flock(1, (10**30, 10, 2, 10)), "damaged"),
        (flock(1, (1, math.nan, 2, 10)), "damaged"),
        (flock(1, (1, 10, 2, 10), kind="magic"), "damaged"),
        (flock(1, (1, 10, 2, 10), spread="much"), "damaged"),
        ({name: GOOD[name] for name in GOOD if name != "changes"}, "damaged"),
    ],
)
def test_what_is_no_good_summary_is_refused_in_one_line(put, said, why):
    (path,) = put(said)
    summaries, (refused,) = pooling.read_all([path])
    assert not summaries
    assert why in refused and "\n" not in refused


def test_doubles_are_refused(put):
    other = flock(2, (1, 900, 4, 1000))
    paths = put(GOOD, other, {**other, "flock": GOOD["flock"]}, {**GOOD, "flock": "f" * 32})
    summaries, refused = pooling.read_all(paths)
    assert [one.flock for one in summaries] == [GOOD["flock"], other["flock"]]
    assert f"the same flock as {paths[0]}" in refused[0]
    assert f"the same figures as {paths[0]}" in refused[1]


def test_the_command_goes_on_without_what_it_refuses(put, tmp_path, capsys):
    good, bad = put(GOOD, "nonsense")
    call_command("pool", good, bad, tmp_path / "none.json")
    said = capsys.readouterr()
    assert "Bedding, 1 flock: 31 cases" in said.out
    assert said.err.count("\n") == 2 and "No such file" in said.err
    with pytest.raises(CommandError, match="No file can be used"):
        call_command("pool", bad)
