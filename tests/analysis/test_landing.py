"""Landing figures against pint's units and published perch geometry."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flockcare.analysis.landing import (
    STANDARD_GRAVITY,
    descent_angle,
    foot_pounds,
    highest_drop,
    landing_energy,
    landing_speed,
)

from .properties import examples

quick = examples(60)
units = pint.UnitRegistry()
MASS, DROP = st.floats(0.3, 8), st.floats(0, 5)


@quick
@given(MASS, DROP)
def test_against_pint(mass, drop):
    energy = mass * units.kg * units.standard_gravity * drop * units.metre
    assert landing_energy(mass, drop) == pytest.approx(energy.to("joule").magnitude)
    assert foot_pounds(landing_energy(mass, drop)) == pytest.approx(
        energy.to("foot * force_pound").magnitude
    )
    speed = (2 * units.standard_gravity * drop * units.metre) ** 0.5
    assert landing_speed(drop) == pytest.approx(speed.to("metre / second").magnitude)


@quick
@given(MASS, DROP, st.floats(1, 4))
def test_properties(mass, drop, factor):
    energy = landing_energy(mass, drop)
    assert energy == pytest.approx(mass * landing_speed(drop) ** 2 / 2)
    assert highest_drop(mass, energy) == pytest.approx(drop)
    assert landing_energy(mass, factor * drop) == pytest.approx(factor * energy)
    assert landing_energy(factor * mass, drop) == pytest.approx(factor * energy)


# Scholz, Kjaer & Schrader (2014) Br. Poult. Sci. 55:175: perches 75 cm apart, 25, 50 and 60 cm
# down; the abstract (read) gives 50 cm as 34 degrees. The other two are computed.
@pytest.mark.parametrize(("drop", "angle"), [(0.25, 18.4), (0.50, 33.7), (0.60, 38.7)])
def test_published_perch_slopes(drop, angle):
    assert descent_angle(drop, 0.75) == pytest.approx(angle, abs=0.05)
    assert round(descent_angle(0.5, 0.75)) == 34


def test_angle_edges():
    assert descent_angle(1, 0) == 90
    assert descent_angle(0, 1) == 0
    assert descent_angle(1, 1) == pytest.approx(45)
    with pytest.raises(ValueError, match="drop_m and run_m"):
        descent_angle(0, 0)


def test_worked_figure():
    # 3 kg from 1 m with the standard acceleration of free fall (3rd CGPM, 1901).
    assert STANDARD_GRAVITY == 9.80665
    assert landing_energy(3, 1) == pytest.approx(29.41995)


@pytest.mark.parametrize(
    ("function", "arguments", "named"),
    [
        (landing_energy, (0, 1), "mass_kg"),
        (landing_energy, (-1, 1), "mass_kg"),
        (landing_energy, (math.nan, 1), "mass_kg"),
        (landing_energy, (1, -1), "drop_m"),
        (landing_energy, (1, math.inf), "drop_m"),
        (landing_speed, (-0.1,), "drop_m"),
        (descent_angle, (1, -1), "run_m"),
        (descent_angle, (math.nan, 1), "drop_m"),
        (highest_drop, (1, -1), "energy_j"),
        (highest_drop, (0, 1), "mass_kg"),
        (foot_pounds, (math.nan,), "energy_j"),
    ],
)
def test_bad_numbers(function, arguments, named):
    with pytest.raises(ValueError, match=named):
        function(*arguments)
