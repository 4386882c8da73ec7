"""Room for the birds, by hand-worked houses.

The figures are those of Council Directive 1999/74/EC, Article 4 (from memory): 15 cm of perch for
each hen, 30 cm between perches, 20 cm to the wall, 250 cm² of litter for each hen and a third of
the ground. The rule of thumb is common practice, no published source.
"""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flockcare.housing.capacity import Line, Verdict, capacity, summed, thumb
from flockcare.housing.features import EDGES
from flockcare.housing.flags import flags_of
from flockcare.housing.landing import place_of
from flockcare.housing.layout import Layout
from flockcare.housing.models import Feature, FeatureState

MET, NOT_MET, UNKNOWN = Verdict.MET, Verdict.NOT_MET, Verdict.UNKNOWN


def pair(name, kind="roost", **measures):
    return Feature(name=name, kind=kind), FeatureState(**measures)


def line(name, layout, hens=7, floor_cm2=None, units="metric"):
    lines = capacity(layout, floor_cm2=floor_cm2, classes=["medium"] * hens, units=units)
    return {one.name: one for one in lines}[name]


def perch(layout, hens):
    found = line("Length of roost", layout, hens)
    return found.verdict, found.there, found.missing


@pytest.mark.parametrize(
    ("length", "hens", "verdict"), [(105, 7, MET), (104.9, 7, NOT_MET), (15, 1, MET)]
)
def test_fifteen_centimetres_of_perch_for_each_hen(length, hens, verdict):
    assert perch([pair("Bar", length_cm=length)], hens)[0] == verdict


def test_perches_add_up_and_only_roosts_count():
    layout = [
        pair("Top", length_cm=60),
        pair("Low", length_cm=50),
        pair("Sill", "rail", length_cm=900),
        pair("Ladder", "step", length_cm=900),
    ]
    assert perch(layout, 7) == (MET, "110 cm", "")
    assert line("Length of roost", layout, 7).asked == "105 cm for 7 hens, 15 cm each"


def test_what_nobody_measured_is_not_known_and_never_zero():
    layout = [pair("Top", length_cm=60), pair("Low")]
    assert perch(layout, 7) == (UNKNOWN, "at least 60 cm", "the length of Low")
    assert perch(layout, 4) == (MET, "at least 60 cm", "")
    assert perch([pair("Top")], 7) == (UNKNOWN, "", "the length of Top")
    assert perch([], 7) == (UNKNOWN, "", "any roost")
    assert perch(layout, 0) == (UNKNOWN, "at least 60 cm", "which birds live here")


@pytest.mark.parametrize(
    ("name", "field", "least"),
    [("Distance between roosts", "spacing_cm", 30), ("Distance to the wall", "wall_cm", 20)],
)
def test_distances_of_perches(name, field, least):
    def verdict(*values):
        layout = [
            pair(f"Bar {n}", **({field: value} if value is not None else {}))
            for n, value in enumerate(values)
        ]
        return line(name, layout).verdict

    assert verdict(least, least) == MET
    assert verdict(least, least - 0.1) == NOT_MET
    assert verdict(None, least - 0.1) == NOT_MET
    assert verdict(None, None) == UNKNOWN
    # Between two perches there is one distance; to the wall there are two.
    assert verdict(least, None) == (MET if field == "spacing_cm" else UNKNOWN)


def test_one_perch_has_none_beside_it():
    names = [
        one.name for one in capacity([pair("Bar")], floor_cm2=None, classes=[], units="metric")
    ]
    assert "Distance between roosts" not in names
    assert "Distance to the wall" in names


@pytest.mark.parametrize(
    ("edges", "verdict"),
    [
        (("rounded", "round"), MET),
        (("rounded", "square"), NOT_MET),
        (("rounded", "sharp"), NOT_MET),
        (("", "sharp"), NOT_MET),
        (("rounded", ""), UNKNOWN),
    ],
)
def test_perches_without_sharp_edges(edges, verdict):
    layout = [pair(f"Bar {n}", edge=edge) for n, edge in enumerate(edges)]
    assert line("Edges of roosts", layout).verdict == verdict


@pytest.mark.parametrize("edge", [*EDGES, "", "no sharp edges"])
@pytest.mark.parametrize("along", [19, 22.5, 52.5, 55])
def test_the_table_and_the_marks_of_the_drawing_say_the_same(edge, along):
    """A bar of 50 mm and another at 90 cm: 20 cm to the wall from 22.5 on, 30 cm between up to
    55 (90 − 55 − 5)."""
    measures = {"height_cm": 40, "width_mm": 50, "edge": edge}
    pairs = [pair("Bar", along_cm=along, **measures), pair("Other", along_cm=90, **measures)]
    places = tuple(place_of(*each) for each in pairs)
    layout = Layout("Shed", dt.date(2026, 5, 1), places, length_cm=300)
    lines = capacity(pairs, floor_cm2=None, classes=[], units="metric", within=layout)
    verdicts = {one.name: one.verdict for one in lines}
    marked = {flag.rule.key for flag in flags_of(layout)}
    for name, key in (
        ("Edges of roosts", "square"),
        ("Distance between roosts", "close"),
        ("Distance to the wall", "wall"),
    ):
        assert (verdicts[name] == NOT_MET) == (key in marked)
    assert ("wall" in marked) == (along == 19)
    assert "close" not in marked
    assert ("square" in marked) == (edge in ("square", "sharp"))


def floor(name="Floor", **measures):
    return pair(name, "floor", **measures)


@pytest.mark.parametrize(
    ("length", "breadth", "hens", "verdict"),
    [(50, 35, 7, MET), (50, 34.9, 7, NOT_MET), (25, 10, 1, MET)],
)
def test_two_hundred_and_fifty_square_centimetres_of_litter_each(length, breadth, hens, verdict):
    layout = [floor(bedding="straw", length_cm=length, breadth_cm=breadth)]
    assert line("Litter to scratch in", layout, hens).verdict == verdict


@pytest.mark.parametrize(("breadth", "verdict"), [(50, MET), (49.9, NOT_MET), (150, MET)], ids=str)
def test_litter_on_a_third_of_the_ground(breadth, verdict):
    layout = [floor(bedding="sand", length_cm=100, breadth_cm=breadth)]
    assert line("Share with litter", layout, floor_cm2=150 * 100).verdict == verdict


def test_the_only_floor_without_measures_is_the_whole_floor():
    layout = [floor(bedding="straw")]
    assert line("Share with litter", layout, floor_cm2=20_000).there == "100% of the floor"
    assert line("Litter to scratch in", layout, floor_cm2=20_000).there == "2.00 m²"
    unmeasured = line("Share with litter", layout)
    assert unmeasured.verdict == UNKNOWN
    assert unmeasured.missing == "length and breadth of Floor, the size of the floor"


def test_a_bare_floor_is_no_litter_and_an_unknown_one_not_known():
    bare = line("Share with litter", [floor(bedding="none")], floor_cm2=20_000)
    assert (bare.verdict, bare.there) == (NOT_MET, "0% of the floor")
    unknown = line("Share with litter", [floor()], floor_cm2=20_000)
    assert (unknown.verdict, unknown.missing) == (UNKNOWN, "the bedding of Floor")
    # The yard outside is no part of the house.
    yard = line("Share with litter", [pair("Yard", "landing", bedding="sand")], floor_cm2=20_000)
    assert (yard.verdict, yard.missing) == (UNKNOWN, "the floor and its bedding")


def test_in_the_units_of_the_flock():
    found = line("Length of roost", [pair("Bar", length_cm=254)], units="imperial")
    asked = found.asked.replace("\N{NO-BREAK SPACE}", " ")
    assert (found.there, asked) == ("100 in", "41 3/8 in for 7 hens, 5 7/8 in each")


def test_square_feet_have_as_many_digits_as_tell_something():
    """250 cm² are 0.269 square feet of 30.48 cm, of six hens 1.61 (1959; from memory)."""
    dish = [floor(bedding="straw", length_cm=10, breadth_cm=1)]
    found = line("Litter to scratch in", dish, 6, units="imperial")
    assert found.asked == "1.6 sq ft for 6 hens, 0.27 sq ft each"
    assert found.there == "0.01 sq ft"
    bare = line("Litter to scratch in", [floor(bedding="none")], 6, units="imperial")
    assert bare.there == "0 sq ft"
    wide = [floor(bedding="straw", length_cm=304.8, breadth_cm=304.8)]
    assert line("Litter to scratch in", wide, 6, units="imperial").there == "100 sq ft"


def test_the_rule_of_thumb_goes_by_size():
    def asked(*classes, length=None):
        found = thumb([pair("Bar", length_cm=length)], classes=classes, units="metric")
        return found.asked, found.verdict

    assert asked("bantam", "bantam", length=30) == ("30 cm to 30 cm for 2 hens", MET)
    assert asked("heavy", "very heavy", length=49) == ("50 cm to 60 cm for 2 hens", NOT_MET)
    assert asked("light", "", length=None) == ("30 cm to 50 cm for 2 hens", UNKNOWN)


measures = st.none() | st.floats(0, 1000)


@given(st.lists(measures, max_size=6), st.integers(0, 60))
def test_measuring_more_never_turns_a_verdict(lengths, hens):
    """What is told while something is not known stays so, whatever it turns out to be."""
    told = perch([pair(f"Bar {n}", length_cm=value) for n, value in enumerate(lengths)], hens)[0]
    for rest in (0.0, 5000.0):
        whole = [
            pair(f"Bar {n}", length_cm=rest if value is None else value)
            for n, value in enumerate(lengths)
        ]
        if told != UNKNOWN:
            assert perch(whole, hens)[0] == told


@pytest.mark.parametrize(
    ("verdicts", "said"),
    [("MMM", "all met"), ("MNU", "1 not met, 1 not known"), ("UU", "2 not known"), ("", "all met")],
)
def test_the_table_of_room_in_a_few_words(verdicts, said):
    by_letter = {"M": Verdict.MET, "N": Verdict.NOT_MET, "U": Verdict.UNKNOWN}
    assert summed([Line("", "", "", by_letter[letter]) for letter in verdicts]) == said
