"""How long to wait until a change of a given size could be told at the present rate.

The log of a ratio of two rates has about the variance spread × (1/n0 + 1/n1), n0 and n1 being the
cases before and after (common normal approximation for Poisson counts, from memory); it must be
so small that the ratio sought lies (t for 5 % in two tails) + (t for the power) errors from 1.
"""

from __future__ import annotations

import math

from scipy.stats import t as student


def cases_needed_after(
    cases_before: float, ratio: float, power: float, spread: float = 1.0, birds: int = 1_000
) -> float:
    """Cases after the change with which a true ``ratio`` is told with probability ``power``.

    ``spread``: of cases over birds, where chance alone gives 1; ``birds`` with cases, for the t
    distribution. Infinite where the cases before are too few whatever comes after.
    Raises ValueError for a ratio not above zero or equal to 1, and a power not between 0.5 and 1.
    """
    if not ratio > 0 or ratio == 1:
        raise ValueError(f"ratio must be above zero and not 1, not {ratio!r}")
    if not 0.5 < power < 1:
        raise ValueError(f"power must lie between 0.5 and 1, not {power!r}")
    freedom = max(birds - 1, 1)
    reach = student.ppf(0.975, freedom) + student.ppf(power, freedom)
    room = (math.log(ratio) / reach) ** 2 / max(spread, 1.0)
    left = room - 1 / cases_before if cases_before > 0 else -1.0
    return 1 / left if left > 0 else math.inf


def chance_told(
    cases_before: float, cases_after: float, ratio: float, spread: float = 1.0, birds: int = 1_000
) -> float:
    """The chance with which a true ``ratio`` is told on so many (expected) cases on either side.

    ``spread`` and ``birds`` as for `cases_needed_after`. 0 where a side has no case. Raises
    ValueError for a ratio not above zero or equal to 1.
    """
    if not ratio > 0 or ratio == 1:
        raise ValueError(f"ratio must be above zero and not 1, not {ratio!r}")
    if not (cases_before > 0 and cases_after > 0):
        return 0.0
    freedom = max(birds - 1, 1)
    error = math.sqrt(max(spread, 1.0) * (1 / cases_before + 1 / cases_after))
    reach = abs(math.log(ratio)) / error - student.ppf(0.975, freedom)
    return float(student.cdf(reach, freedom))


def days_to_wait(
    *,
    cases_before: float,
    rate: float,
    days_after: float,
    days_gained_per_day: float,
    ratio: float,
    power: float,
    spread: float = 1.0,
    birds: int = 1_000,
) -> float:
    """More days until the change could be told; 0 where enough has been watched.

    ``rate``: cases per foot-day before; ``days_after``: foot-days watched after so far;
    ``days_gained_per_day``: feet at risk and watched. Infinite where no waiting is enough.
    """
    needed = cases_needed_after(cases_before, ratio, power, spread, birds)
    if math.isinf(needed) or rate <= 0 or days_gained_per_day <= 0:
        return math.inf
    return max(0.0, needed / (ratio * rate) - days_after) / days_gained_per_day
