"""Lengths as keepers write them, against a units library."""

from fractions import Fraction

import pint
import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from flockcare.housing.forms import length_field
from flockcare.housing.models import FeatureState, House
from flockcare.housing.units import MM, inches, length_text, read_length

UREG = pint.UnitRegistry()


@pytest.mark.parametrize("unit", ["mm", "cm", "m", "in", "ft"])
def test_units_are_those_of_the_units_library(unit):
    """25.4 mm to the inch: agreement of 1959, from memory; pint holds the same."""
    assert float(MM[unit]) == pytest.approx(UREG.Quantity(1, unit).to("mm").m, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("18", 18, "in"),
        ("18.5", 18.5, "in"),
        ("18,5", 18.5, "in"),
        ("18 1/2", 18.5, "in"),
        ("18½", 18.5, "in"),
        ("18 ½ in", 18.5, "in"),
        ("18-1/2 in.", 18.5, "in"),
        ("7 3/8 in", 7.375, "in"),
        ("7⅜″", 7.375, "in"),
        ("3/4", 0.75, "in"),
        ("4 ft", 4, "ft"),
        ("4'", 4, "ft"),
        ("4 ft 2", 50, "in"),
        ("4'2 1/2\"", 50.5, "in"),
        ("4 feet 2 inches", 50, "in"),
        ("47 cm", 47, "cm"),
        ("470mm", 470, "mm"),
        ("1.2 m", 1.2, "m"),
    ],
)
def test_a_length_is_read_as_it_is_meant(text, value, unit):
    assert float(read_length(text, bare="in")) == pytest.approx(
        UREG.Quantity(value, unit).to("mm").m, rel=1e-12
    )


@pytest.mark.parametrize(
    ("bare", "mm"), [("cm", 475.0), ("mm", 47.5), ("in", 47.5 * 25.4)], ids=str
)
def test_a_bare_number_is_in_the_unit_of_the_flock(bare, mm):
    assert float(read_length("47.5", bare=bare)) == pytest.approx(mm)


@pytest.mark.parametrize(
    "text",
    [
        *("", " ", "tall", "-3", "1/0", "18.5 1/2", "1e5", "3 hands", "4 ft 2 cm", "5 6", "1/2/3"),
        *("nan", "inf", "½½", "9" * 41),
    ],
)
def test_what_is_not_a_length_is_said_in_words(text):
    with pytest.raises(ValueError, match=r"is not a length|mixes feet"):
        read_length(text, bare="in")


@given(st.integers(0, 8000))
def test_every_eighth_of_an_inch_comes_back_as_it_was_typed(eighths):
    """Through the float that the database keeps, in centimetres and in millimetres."""
    whole, rest = divmod(eighths, 8)
    typed = " ".join(
        filter(None, [str(whole) if whole or not rest else "", str(Fraction(rest, 8)) * bool(rest)])
    )
    millimetres = read_length(typed, bare="in")
    assert inches(float(millimetres)) == typed
    centimetres = float(millimetres / 10)
    shown = typed.replace(" ", "\N{NO-BREAK SPACE}")
    assert length_text(centimetres, unit="cm", units="imperial") == f"{shown} in"
    assert read_length(f"{shown} in", bare="mm") == millimetres


@given(st.floats(0, 10_000))
def test_what_is_shown_in_inches_is_off_by_a_sixteenth_at_most(mm):
    shown = float(read_length(inches(mm), bare="in"))
    assert abs(shown - mm) <= 25.4 / 16 + 1e-9


@pytest.mark.parametrize(
    ("value", "unit", "units", "words"),
    [
        (47.0, "cm", "metric", "47 cm"),
        (46.99, "cm", "metric", "47 cm"),
        (47.25, "cm", "metric", "47.2 cm"),
        (45.0, "mm", "metric", "45 mm"),
        (46.99, "cm", "imperial", "18\N{NO-BREAK SPACE}1/2 in"),
        (38.1, "mm", "imperial", "1\N{NO-BREAK SPACE}1/2 in"),
        (0.0, "cm", "imperial", "0 in"),
        (1.0, "mm", "imperial", "0 in"),
        (None, "cm", "metric", ""),
    ],
)
def test_lengths_are_shown_in_the_units_of_the_flock(value, unit, units, words):
    assert length_text(value, unit=unit, units=units) == words


@pytest.mark.parametrize(
    ("name", "kind", "units", "typed", "asked"),
    [
        ("height_cm", "roost", "metric", "1,20", "Is it 120 cm?"),
        ("height_cm", "roost", "metric", "1200", "Is it 120 cm?"),
        ("height_cm", "roost", "metric", "3.9", "Is it 390 cm?"),
        ("height_cm", "nest front", "metric", "0.6", "Is it 60 cm?"),
        ("height_cm", "roost", "imperial", "1 1/2", "Is it 18 in?"),
        ("length_cm", "roost", "metric", "2.4", "Is it 240 cm?"),
        ("run_cm", "roost", "metric", "0.75", "Is it 75 cm?"),
        ("width_mm", "roost", "metric", "4.5", "Is it 45 mm?"),
        ("wall_height_cm", "", "metric", "1.8", "Is it 180 cm?"),
        ("height_cm", "roost", "metric", "450", "Is it 45 cm?"),
        ("height_cm", "roost", "metric", "0.001", "Check it."),
    ],
)
def test_a_number_in_another_unit_is_asked_about(name, kind, units, typed, asked):
    model = FeatureState if kind else House
    field = length_field(model, name, units, kind=kind)
    with pytest.raises(ValidationError) as refused:
        field.clean(typed)
    (words,) = refused.value.messages
    assert asked in words
    # With the unit it is meant so, and the field says how to write that, if a record can hold it.
    written = f"{typed} {field.bare}"
    meant = float(read_length(typed, bare=field.bare) / MM[field.unit])
    possible = field.least <= meant <= field.most
    assert (f"“{written}”" in words) is possible
    if possible:
        assert field.clean(written) == pytest.approx(meant)


@pytest.mark.parametrize(
    ("name", "kind", "units", "typed"),
    [
        ("height_cm", "other", "metric", "3"),
        ("height_cm", "roost", "metric", "0"),
        ("height_cm", "roost", "metric", "5"),
        ("height_cm", "roost", "metric", "400"),
        ("height_cm", "landing", "metric", "1"),
        ("height_cm", "roost", "imperial", "47 1/4"),
        ("height_cm", "roost", "imperial", "4 ft"),
    ],
)
def test_a_usual_number_needs_no_unit(name, kind, units, typed):
    assert length_field(FeatureState, name, units, kind=kind).clean(typed) is not None
