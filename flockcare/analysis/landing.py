"""What a hen's feet take when she jumps down: energy, speed and slope, in SI units.

A falling body without air: m g h and sqrt(2 g h), with the standard acceleration of free fall
(3rd General Conference on Weights and Measures, 1901). A hen brakes with her wings, so these
are upper figures, fit for comparing one drop with another.
"""

from __future__ import annotations

import math

STANDARD_GRAVITY = 9.80665  # m/s²
JOULES_PER_FOOT_POUND = 0.3048 * 0.45359237 * STANDARD_GRAVITY


def landing_energy(mass_kg: float, drop_m: float) -> float:
    """Energy at landing in joules. Raises ValueError for a mass not above zero, a drop below."""
    return _above_zero("mass_kg", mass_kg) * STANDARD_GRAVITY * _not_negative("drop_m", drop_m)


def landing_speed(drop_m: float) -> float:
    """Speed at landing in m/s. Raises ValueError for a negative or infinite drop."""
    return math.sqrt(2 * STANDARD_GRAVITY * _not_negative("drop_m", drop_m))


def descent_angle(drop_m: float, run_m: float) -> float:
    """Slope of the way down in degrees below level: 0 is level, 90 straight down.

    Raises ValueError for negative or infinite lengths, and where both are zero.
    """
    drop_m, run_m = _not_negative("drop_m", drop_m), _not_negative("run_m", run_m)
    if drop_m == run_m == 0:
        raise ValueError("drop_m and run_m must not both be zero")
    return math.degrees(math.atan2(drop_m, run_m))


def highest_drop(mass_kg: float, energy_j: float) -> float:
    """The drop in metres from which a bird lands with this energy. Errors as above."""
    energy_j = _not_negative("energy_j", energy_j)
    return energy_j / (_above_zero("mass_kg", mass_kg) * STANDARD_GRAVITY)


def foot_pounds(energy_j: float) -> float:
    """Joules as foot-pounds."""
    return _not_negative("energy_j", energy_j) / JOULES_PER_FOOT_POUND


def _above_zero(name: str, value: float) -> float:
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"{name} must be above zero, not {value!r}")
    return value


def _not_negative(name: str, value: float) -> float:
    if not (math.isfinite(value) and value >= 0):
        raise ValueError(f"{name} must be zero or more, not {value!r}")
    return value
