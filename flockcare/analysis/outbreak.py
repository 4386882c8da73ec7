"""Are there more new cases lately than the time before leads one to expect?

Given the cases of both times together, those of the recent one are binomial under an even rate
(Przyborowski & Wilenski (1940) Biometrika 31:313, from memory): exact however short the time
before, and with a long time before it the Poisson tail. It is for one recent time of a length that
was fixed beforehand: who slides it over the days, or asks of several groups, has more chances.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import betainc

from .onset import best_rates


@dataclass(frozen=True, slots=True)
class Excess:
    """``expected``: cases lately at the rate before. ``p``: how often chance alone gives as many
    or more at an even rate; ``smallest_p`` what it would be had there been no case before."""

    expected: float
    p: float
    smallest_p: float


def excess(cases: int, widths, widths_before, affected_before) -> Excess:
    """``cases`` found at the ends of gaps between checks of ``widths`` days (n,), held against
    earlier gaps (m,) and whether each found a case (m,).

    A gap of w days finds a case with probability 1 - exp(-rate w), so that a case which had long
    to begin is no sign of many. Without time before nothing is expected and p is 1. Raises
    ValueError for a count below zero, gaps that are not above zero, and lists of unlike length.
    """
    widths, before = np.asarray(widths, float), np.asarray(widths_before, float)
    affected = np.asarray(affected_before, bool)
    if cases < 0 or cases != int(cases):
        raise ValueError(f"cases must be a whole number of zero or more, not {cases!r}")
    if before.shape != affected.shape or before.ndim != 1 or widths.ndim != 1:
        raise ValueError("widths_before and affected_before must be of one length")
    if not (all_widths := np.concatenate((widths, before))).size or not (all_widths > 0).all():
        raise ValueError("gaps must be there and above zero")
    found = int(affected.sum())
    # Where every gap before found a case no rate can be told; the days themselves are weighed.
    rate = 0.0
    if 0 < found < affected.size:
        hits = affected.astype(float)
        rate = float(best_rates(before[:, None], 1 - hits, hits)[0][0])
    now, then = _chances(widths, rate).sum(), _chances(before, rate).sum()
    share = now / (now + then)
    return Excess(
        expected=float(found * now / then) if then else 0.0,
        p=_at_least(cases, cases + found, share),
        smallest_p=_at_least(cases, cases, share),
    )


def _chances(widths: np.ndarray, rate: float) -> np.ndarray:
    """The chance of a case in each gap, up to a factor common to all of them."""
    return -np.expm1(-rate * widths) / rate if rate else widths


def _at_least(x: int, n: int, share: float) -> float:
    return float(betainc(x, n - x + 1, share)) if x else 1.0
