"""How long all figures of one large flock take, and against general-purpose libraries.

    python tests/bench/analysis.py            print the table
    python tests/bench/analysis.py --write    and keep it beside this file

60 birds, two feet each, weekly rounds for ten years (about 62,000 foot looks). Everything runs
in this one process, each figure the median of several runs in seconds of processor time, so that
other work on the machine counts little. The ratios can be compared, the seconds depend on the
machine. Set OMP_NUM_THREADS=1 for one core.
"""

from __future__ import annotations

import argparse
import sys
import time
import warnings
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import statsmodels.api as sm
from lifelines import KaplanMeierFitter

from flockcare.analysis import change, comparison, healing, limits, onset, permutation, rates
from flockcare.analysis.episodes import (
    Look,
    episodes,
    episodes_from_arrays,
    risk_pairs,
    risk_pairs_from_arrays,
)

TABLE = Path(__file__).with_suffix(".txt")
BIRDS, WEEKS, FIRST_DAY = 60, 520, 735_000
CHANGES = (735_400, 736_820, 737_900)
WITHOUT_SIMULATION, WITH_SIMULATION = 0.3, 2.0


def flock() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Foot, day and affected of every look; the rate halves at the second change."""
    rng = np.random.default_rng(11)
    feet = 2 * BIRDS
    factor = np.repeat(rng.gamma(2.0, 0.5, BIRDS), 2)
    days = FIRST_DAY + 7 * np.arange(WEEKS)
    affected = np.zeros((feet, WEEKS), bool)
    until = np.zeros(feet)
    for week, day in enumerate(days):
        risk = -np.expm1(-7 * factor * (0.002 if day <= CHANGES[1] else 0.001))
        falls = (until <= day) & (rng.random(feet) < risk)
        until[falls] = day + rng.gamma(4, 12, int(falls.sum()))
        affected[:, week] = until > day
    return np.repeat(np.arange(feet), WEEKS), np.tile(days, feet), affected.ravel()


def followed(foot, day, affected):
    """Days to healing, whether healed, and the foot, of the episodes whose start was seen."""
    found = episodes_from_arrays(foot, day, affected)
    return *healing.follow_up(found), found.unit[found.incident]


def all_figures(foot, day, affected, simulations: int = 0) -> None:
    """Everything that the analysis has to say about one flock and three changes."""
    days, healed, unit = followed(foot, day, affected)
    curve = healing.healing_curve(days, healed)
    heavy = unit % 4 < 2
    healing.log_rank(days[heavy], healed[heavy], days[~heavy], healed[~heavy])
    pairs = risk_pairs_from_arrays(foot, day, affected, min(limits.GAP_LIMIT_DAYS, curve.median))
    birds = pairs.unit // 2
    onset.fit_rates(pairs).rate()
    years = np.arange(FIRST_DAY + 365, FIRST_DAY + 7 * WEEKS, 365)
    onset.fit_rates(pairs, years)
    for at in CHANGES:
        comparison.compare_arrays(birds, pairs.left, pairs.right, pairs.affected, at, curve)
    classes = birds % 3
    rates.pooled_ratio(strata(pairs, classes, CHANGES[1]))
    change.match_changes(pairs, CHANGES)
    change.scan_pairs(pairs, simulations)
    if simulations:
        healing.log_rank_by_bird(days, healed, heavy, unit // 2, simulations)
        permutation.scan_p_value(birds, pairs.left, pairs.right, pairs.affected, curve, simulations)


def strata(pairs, classes, at):
    """Cases and days after and before, by class; a case counts where its pair ends."""
    late = pairs.right > at
    for name in range(3):
        mine = classes == name
        yield tuple(
            value
            for side in (late, ~late)
            for value in (
                int((pairs.affected & side & mine).sum()),
                float((pairs.right - pairs.left)[side & mine].sum()),
            )
        )


def cloglog_model(width, hit):
    link = sm.families.links.CLogLog()
    design = np.ones((width.size, 1))
    model = sm.GLM(hit, design, family=sm.families.Binomial(link), offset=np.log(width))
    return model.fit()


def median_time(task, runs: int = 7) -> float:
    task()
    spent = []
    for _ in range(runs):
        start = time.process_time()
        task()
        spent.append(time.process_time() - start)
    return float(np.median(spent))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--write", action="store_true", help="keep the table beside this file")
    options = parser.parse_args()
    warnings.filterwarnings("ignore")
    foot, day, affected = flock()
    pairs = risk_pairs_from_arrays(foot, day, affected)
    width, hit = (pairs.right - pairs.left).astype(float), pairs.affected.astype(float)
    days, healed, _ = followed(foot, day, affected)
    looks = object_looks(foot, day, affected)

    plain = median_time(lambda: all_figures(foot, day, affected))
    simulated = median_time(lambda: all_figures(foot, day, affected, 1999), runs=3)
    fit = median_time(lambda: onset.fit_rates(pairs))
    model = median_time(lambda: cloglog_model(width, hit))
    curve = median_time(lambda: healing.healing_curve(days, healed))
    other = median_time(lambda: KaplanMeierFitter().fit(days, healed))
    scan = median_time(lambda: change.scan_pairs(pairs, 1999), runs=3)
    objects = median_time(lambda: [(episodes(f), risk_pairs(f)) for f in looks], runs=3)
    lines = [
        f"{foot.size} foot looks, {hit.size} pairs, {int(hit.sum())} cases, {days.size} followed",
        "seconds and milliseconds of processor time, one thread",
        "",
        f"all figures, no simulated p        {plain:8.3f} s   (at most {WITHOUT_SIMULATION})",
        f"all figures, 1,999 simulations     {simulated:8.3f} s   (at most {WITH_SIMULATION})",
        f"  of this the scan alone           {scan:8.3f} s",
        f"looks as objects, one list a foot  {objects:8.3f} s   (episodes and pairs)",
        "",
        f"one-period fit                     {fit * 1000:8.2f} ms",
        f"statsmodels GLM cloglog, same data {model * 1000:8.2f} ms  {model / fit:5.1f} x ours",
        f"healing curve                      {curve * 1000:8.2f} ms",
        f"lifelines curve, same data         {other * 1000:8.2f} ms  {other / curve:5.1f} x ours",
    ]
    print("\n".join(lines))
    if options.write:
        TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return 0 if plain <= WITHOUT_SIMULATION and simulated <= WITH_SIMULATION else 1


def object_looks(foot, day, affected) -> list[list[Look]]:
    import datetime as dt

    out: list[list[Look]] = [[] for _ in range(2 * BIRDS)]
    for f, d, a in zip(foot.tolist(), day.tolist(), affected.tolist(), strict=True):
        out[f].append(Look(dt.date.fromordinal(d), a))
    return out


if __name__ == "__main__":
    sys.exit(main())
