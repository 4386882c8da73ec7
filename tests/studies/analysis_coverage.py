"""Do the 95 % intervals of the before/after comparison hold the truth 95 times in 100?

    python tests/studies/analysis_coverage.py            every cell, about a quarter of an hour
    python tests/studies/analysis_coverage.py --short    a few cells, under a minute, for CI
    python tests/studies/analysis_coverage.py --write    every cell, and keep the table

Ends with status 1 where the headline method covers less than it must.

The flock of the simulation: each foot falls ill at a constant rate per day while healthy, heals
after a gamma-distributed time (shape 4, median 45 days unless said), and may fall ill again.
Birds differ by a gamma-distributed factor of variance `frailty`; a share `together` of the rate
strikes both feet of a bird on one day. All feet are looked at on rounds, every so many days
before the change (day 365 of 730) and after it. What is recorded is only what a look would
show, so sores that come and go between two rounds are lost, as in life.
The ratio that is to be covered is that of the rates of each bird after and before.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from flockcare.analysis import limits
from flockcare.analysis.clusters import clustered_ratio, effective_by_bird
from flockcare.analysis.comparison import compare_arrays
from flockcare.analysis.episodes import episodes_from_arrays, risk_pairs_from_arrays
from flockcare.analysis.healing import follow_up, healing_curve
from flockcare.analysis.onset import fit_rates, period_widths
from flockcare.analysis.rates import rate_ratio

DAYS, CHANGE = 730, 365
TABLE = Path(__file__).with_suffix(".txt")
REQUIRED = 0.93

NOTES = (
    "",
    "headline   each bird against herself, healing allowed for, the wider of the limits of the",
    "           profile likelihood and of the spread over birds (comparison.compare_arrays)",
    "bootstrap  birds drawn anew (499 times), Mantel-Haenszel over birds",
    "pooled     one rate before and one after for the whole flock, profile likelihood",
    "midpoint   cases in the middle of their gap, limits from the spread over birds",
    "detected   cases on the day they were found, exact conditional limits",
    "",
    "The pooled interval was to be the headline. It does not reach 93 % once birds differ, feet",
    "fall ill together or the gaps between rounds change, and gets worse with more data, for",
    "three reasons: two feet of one bird are no two cases (too short); a bird that is often ill",
    "spends less time at risk, by how much depends on rate and gaps (the ratio drifts); long gaps",
    "lose sores that come and go (the ratio drifts). The headline answers each in turn.",
    "The bootstrap falls short as well, below 91 % in many cells with 20 birds, and it makes no",
    "allowance for lost sores. With 10 birds and a handful of cases the headline is refused mostly",
    "and otherwise very wide; that is what such records are worth.",
)


@dataclass(frozen=True)
class Cell:
    """One kind of flock and keeping of records."""

    birds: int
    rate: float
    before: int = 14
    after: int = 14
    ratio: float = 1.0
    frailty: float = 0.0
    together: float = 0.0
    heal: float = 45.0

    def label(self) -> str:
        return (
            f"{self.birds:3d} {self.rate:7.4f} {self.before:3d}>{self.after:<3d}"
            f"{self.ratio:5.2f} {self.frailty:4.1f} {self.together:4.1f} {self.heal:4.0f}"
        )


@dataclass
class Tally:
    """How often one method's interval held the true ratio."""

    held: list[bool] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)

    def add(self, value: float, low: float, high: float, true: float) -> None:
        self.held.append(low <= true <= high)
        self.values.append(value)
        self.widths.append(high / low if low > 0 else math.inf)

    def coverage(self) -> float:
        return float(np.mean(self.held)) if self.held else math.nan

    def text(self) -> str:
        if not self.held:
            return f"{'':>16}"
        width = np.median(self.widths)
        return f"{100 * self.coverage():5.1f} {np.median(self.values):5.2f} {width:4.1f}"


def cells(short: bool) -> list[Cell]:
    both = {"frailty": 1.5, "together": 0.5}
    if short:
        return [
            Cell(10, 0.001, **both),
            Cell(20, 0.001, 30, 7, **both),
            Cell(60, 0.002, 7, 30, 3.0, **both),
        ]
    found = []
    for birds in (10, 20, 60):
        for rate in (0.0003, 0.001, 0.004):
            found.append(Cell(birds, rate))
            found.append(Cell(birds, rate, frailty=1.5))
            found.append(Cell(birds, rate, **both))
            found.append(Cell(birds, rate, 30, 7, **both))
            found.append(Cell(birds, rate, 7, 30, **both))
        found.append(Cell(birds, 0.002, 60, 7, **both))
        found.append(Cell(birds, 0.001, 30, 7, 3.0, **both))
        found.append(Cell(birds, 0.001, 7, 30, 3.0, **both))
        found.append(Cell(birds, 0.003, 30, 7, 1 / 3, **both))
        found.append(Cell(birds, 0.003, 7, 30, 1 / 3, **both))
        found.append(Cell(birds, 0.001, 30, 7, heal=120.0, frailty=1.5, together=1.0))
    return found


def simulate(cell: Cell, runs: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Days of the rounds (C,), and whether each foot was affected (C, runs, birds, 2)."""
    shape = (runs, cell.birds, 1)
    factor = rng.gamma(1 / cell.frailty, cell.frailty, shape) if cell.frailty else np.ones(shape)
    rounds = list(range(0, CHANGE + 1, cell.before))
    rounds += list(range(rounds[-1] + cell.after, DAYS + 1, cell.after))
    due = set(rounds)
    ill_until = np.zeros((runs, cell.birds, 2), np.int32)
    looks = [ill_until > 0]
    scale = cell.heal / 3.672  # the median of a gamma law of shape 4 and scale 1
    for day in range(1, DAYS + 1):
        rate = cell.rate * factor * (cell.ratio if day > CHANGE else 1.0)
        falls = rng.random(ill_until.shape) < -np.expm1(-rate * (1 - cell.together))
        if cell.together:
            falls |= rng.random(shape) < -np.expm1(-rate * cell.together)
        falls &= ill_until <= day
        lasts = np.ceil(rng.gamma(4, scale, int(falls.sum()))).astype(np.int32)
        ill_until[falls] = day + lasts
        if day in due:
            looks.append(ill_until > day)
    return np.array(rounds), np.array(looks)


def judge(cell: Cell, rounds: np.ndarray, looks: np.ndarray, tallies: dict[str, Tally]) -> str:
    """Put one flock's records through every method; the headline's method comes back."""
    feet = looks.shape[1] * 2
    foot = np.repeat(np.arange(feet), rounds.size)
    day, affected = np.tile(rounds, feet), looks.reshape(rounds.size, feet).T.ravel()
    curve = healing_curve(*follow_up(episodes_from_arrays(foot, day, affected)))
    limit = limits.GAP_LIMIT_DAYS
    if curve.median_refusal is None:
        limit = min(limit, curve.median)
    pairs = risk_pairs_from_arrays(foot, day, affected, limit)
    bird = pairs.unit // 2
    answer = compare_arrays(bird, pairs.left, pairs.right, pairs.affected, CHANGE, curve)
    if answer.refusal is None:
        tallies["headline"].add(
            answer.estimate.value, answer.estimate.low, answer.estimate.high, cell.ratio
        )
    fit = fit_rates(pairs, [CHANGE])
    pooled = fit.ratio()
    if all(math.isfinite(bound) and bound > 0 for bound in (pooled.low, pooled.high)):
        others(cell, bird, pairs, fit, tallies)
    return answer.method


def others(cell: Cell, bird: np.ndarray, pairs, fit, tallies: dict[str, Tally]) -> None:
    """The simpler methods, wherever there are five cases and some on both sides."""
    if pairs.affected.sum() < limits.MIN_CASES_FOR_RATIO:
        return
    pooled = fit.ratio()
    tallies["pooled"].add(pooled.value, pooled.low, pooled.high, cell.ratio)
    if cell.birds >= 15 and np.unique(bird[pairs.affected]).size >= 8:
        tallies["bootstrap"].add(*bootstrap(bird, pairs, fit, cell.birds), cell.ratio)
    for name, at in (("detected", pairs.right), ("midpoint", (pairs.left + pairs.right) / 2)):
        late = pairs.affected & (at > CHANGE)
        early = pairs.affected & (at <= CHANGE)
        end = np.where(pairs.affected, at, pairs.right)
        t0 = np.clip(np.minimum(end, CHANGE) - pairs.left, 0, None)
        t1 = end - pairs.left - t0
        if not (late.any() and early.any()):
            continue
        if name == "detected":
            got = rate_ratio(int(late.sum()), t1.sum(), int(early.sum()), t0.sum())
            tallies[name].add(got.ratio, got.low, got.high, cell.ratio)
        else:
            sums = (np.bincount(bird, x, cell.birds) for x in (late, t1, early, t0))
            got = clustered_ratio(*sums)
            tallies[name].add(got.value, got.low, got.high, cell.ratio)


def bootstrap(bird: np.ndarray, pairs, fit, birds: int) -> tuple[float, float, float]:
    """Ratio and percentile limits by drawing whole birds anew (Efron & Tibshirani 1993).

    A sample without a case on one side stays in as 0 or infinity; where more than 5 % are such,
    that limit is given up.
    """
    widths = period_widths(pairs.left, pairs.right, np.array([float(CHANGE)]))
    after, t1, before, t0 = (
        np.r_[part, np.zeros(birds - part.size)]
        for part in effective_by_bird(bird, widths, pairs.affected, fit)
    )
    total = np.where(t1 + t0 > 0, t1 + t0, 1)
    top, bottom = after * t0 / total, before * t1 / total
    draws = np.random.default_rng(0).multinomial(birds, np.full(birds, 1 / birds), 499)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratios = (draws @ top) / (draws @ bottom)
    ratios = ratios[~np.isnan(ratios)]
    low, high = np.quantile(ratios, (0.025, 0.975), method="inverted_cdf")
    low = 0.0 if (ratios == 0).mean() > 0.05 else low
    high = math.inf if np.isinf(ratios).mean() > 0.05 else high
    return float(top.sum() / bottom.sum()), float(low), float(high)


METHODS = ("headline", "bootstrap", "pooled", "midpoint", "detected")


def run_cell(cell: Cell, runs: int, seed: int) -> tuple[str, float, int]:
    """The cell's line of the table, the headline's coverage, and how often it answered."""
    rounds, looks = simulate(cell, runs, np.random.default_rng(seed))
    tallies = {name: Tally() for name in METHODS}
    chosen = [judge(cell, rounds, looks[:, run], tallies) for run in range(runs)]
    share = [100 * chosen.count(name) / runs for name in ("refused", "one_sided")]
    columns = "  ".join(tallies[name].text() for name in METHODS)
    line = f"{cell.label()}  {share[0]:4.0f} {share[1]:4.0f}  {columns}"
    return line, tallies["headline"].coverage(), len(tallies["headline"].held)


def judged_cell(cell: Cell, runs: int, seed: int, again: bool) -> tuple[str, bool]:
    """The cell's line, and whether the headline holds what it must.

    With so few flocks a true 95 % falls below 93 % in one cell of twelve by luck alone. Such a
    cell is run anew, with other flocks and four times as many, and that run is what counts.
    """
    line, covered, given = run_cell(cell, runs, seed)
    if given < 0.1 * runs:
        return line + "  refuses", True
    if covered >= REQUIRED:
        return line, True
    if not again:
        return line, covered >= REQUIRED - 2 * math.sqrt(REQUIRED * (1 - REQUIRED) / given)
    first = 100 * covered
    line, covered, _ = run_cell(cell, 4 * runs, seed + 500)
    verdict = "" if covered >= REQUIRED else " BELOW"
    return f"{line}  x4, first {first:.1f}{verdict}", covered >= REQUIRED


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--short", action="store_true", help="a few cells only, for CI")
    parser.add_argument("--write", action="store_true", help="keep the table beside this file")
    parser.add_argument("--runs", type=int, help="flocks per cell (default 250, short 150)")
    options = parser.parse_args()
    runs = options.runs or (150 if options.short else 250)
    error = 100 * math.sqrt(0.95 * 0.05 / runs)
    lines = [
        f"{runs} flocks per cell; Monte-Carlo error of a coverage near 95 %: ±{error:.1f} points",
        "(more where many are refused). Per method: coverage of the 95 % interval in %, median",
        "ratio, median width (upper over lower limit). A refused answer counts for neither.",
        'A cell below 93 % was run anew with four times the flocks ("x4"), and that run stands.',
        *NOTES,
        "",
        f"{'':44}refu one-  " + "  ".join(f"{name:>16}" for name in METHODS),
        "birds  rate  rounds ratio frail both heal   sed% sided%",
    ]
    print("\n".join(lines))
    failures = 0
    for number, cell in enumerate(cells(options.short)):
        line, fine = judged_cell(cell, runs, 1000 + number, again=not options.short)
        lines.append(line)
        failures += not fine
        print(line, flush=True)
    if options.write:
        TABLE.write_text("\n".join(line.rstrip() for line in lines) + "\n", encoding="utf-8")
    return 1 if failures else 0


if __name__ == "__main__":
    started = time.monotonic()
    status = main()
    print(f"{time.monotonic() - started:.0f} s")
    sys.exit(status)
