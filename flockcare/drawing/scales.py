"""Scales from values to places, and round numbers to label them with."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Linear:
    """Maps ``low``–``high`` evenly onto ``start``–``end`` (which may run downwards).

    Where low equals high, everything lies in the middle.
    """

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        if self.high == self.low:
            return (self.start + self.end) / 2
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)


def nice_ticks(low: float, high: float, at_most: int) -> list[float]:
    """The multiples of the smallest step 1, 2 or 5 × 10ⁿ in [low, high] that are not too many.

    The 1–2–5 steps are those of Heckbert (1990), "Nice numbers for graph labels", Graphics Gems.
    Raises ValueError when low is above high, a bound is not finite or ``at_most`` is below 2.
    """
    if not (math.isfinite(low) and math.isfinite(high)) or low > high:
        raise ValueError(f"no scale from {low!r} to {high!r}")
    if at_most < 2:
        raise ValueError("at least two ticks")
    if low == high:
        return [low]
    power = math.floor(math.log10((high - low) / at_most))
    while True:
        for base in (1, 2, 5):
            ticks = _multiples(low, high, base, power)
            if len(ticks) <= at_most:
                return ticks
        power += 1


def _multiples(low: float, high: float, base: int, power: int) -> list[float]:
    step = base * 10.0**power
    # A bound that is itself a multiple must not be lost to rounding.
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(count * base * 10.0**power, max(0, -power)) for count in range(first, last + 1)]
