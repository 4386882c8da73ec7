"""Which change helps most: hand-worked houses, and every height tried with the routes."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flockcare.housing.layout import Layout, Place
from flockcare.housing.routes import ways_down
from flockcare.housing.whatif import Limit, birds_over, scratch, suggestions
from tests.analysis.properties import examples

quick = examples(25)


def house(*rows):
    places = (Place(name, kind, height_cm=height) for name, kind, height in rows)
    return Layout("Shed", dt.date(2026, 5, 1), tuple(places))


def told(found):
    return [
        ("step below " if one.new_step else "") + f"{one.place.name} {one.height_cm:g}"
        for one in found
    ]


# A scratch copy


def lines(*rows):
    return Layout(
        "Shed",
        dt.date(2026, 5, 1),
        tuple(Place(n, "roost", height_cm=h, run_cm=r) for n, h, r in rows),
    )


def runs(layout):
    return {place.name: (place.height_cm, place.run_cm) for place in layout.stands}


SHED = lines(("Top", 130, 55), ("Low", 70, 80), ("Nest", 55, 30))


def test_a_height_alone_leaves_the_runs():
    after = scratch(SHED, changed={"Top": {"height_cm": 100}})
    assert runs(after) == {"Top": (100, 55), "Low": (70, 80), "Nest": (55, 30)}
    assert runs(SHED)["Top"] == (130, 55)


def test_what_is_taken_away_leaves_its_run_to_the_place_above():
    assert runs(scratch(SHED, changed={}, removed={"Low"})) == {"Top": (130, 135), "Nest": (55, 30)}
    assert runs(scratch(SHED, changed={}, removed={"Nest"}))["Low"] == (70, 110)
    # Where the run to the floor was never measured, it stays unknown.
    unknown = lines(("Top", 130, 55), ("Low", 70, 80), ("Nest", 55, None))
    assert runs(scratch(unknown, changed={}, removed={"Nest"}))["Low"] == (70, None)
    assert runs(scratch(unknown, changed={}, removed={"Low"}))["Top"] == (130, 135)


def test_places_that_pass_each_other_keep_their_distance():
    after = scratch(SHED, changed={"Top": {"height_cm": 60}})
    assert runs(after) == {"Low": (70, 55), "Top": (60, 135), "Nest": (55, 30)}
    # Nobody knows where she would land who now comes down behind the others.
    after = scratch(SHED, changed={"Top": {"height_cm": 40}})
    assert runs(after)["Top"] == (40, None)
    after = scratch(SHED, changed={"Top": {"height_cm": 40, "run_cm": 50}})
    assert runs(after)["Top"] == (40, 50)


def test_a_step_stands_before_the_next_higher_place():
    one = lines(("Roost", 100, 75))
    half = scratch(one, changed={}, step=Place("Step", "step", 50))
    assert runs(half) == {"Roost": (100, 37.5), "Step": (50, 37.5)}
    own = scratch(one, changed={}, step=Place("Step", "step", 50, run_cm=25))
    assert runs(own) == {"Roost": (100, 50), "Step": (50, 25)}
    unknown = scratch(lines(("Roost", 100, None)), changed={}, step=Place("Step", "step", 50))
    assert runs(unknown) == {"Roost": (100, None), "Step": (50, None)}
    above = scratch(one, changed={}, step=Place("Step", "step", 120))
    assert runs(above) == {"Step": (120, None), "Roost": (100, 75)}


def test_a_height_that_was_not_known_can_be_tried():
    after = scratch(lines(("Bar", None, 40)), changed={"Bar": {"height_cm": 80}})
    assert runs(after) == {"Bar": (80, 40)}


# Which change helps most


def test_one_roost_must_come_down_to_the_limit():
    layout = house(("Top", "roost", 90))
    (roost, step) = suggestions(layout, [3.0, 2.0], Limit(drop_cm=50))
    assert (roost.height_cm, roost.change_cm, roost.helped, roost.over) == (50, -40, 2, 0)
    # A step in the middle makes two drops of 45.
    assert (step.new_step, step.height_cm, step.helped, step.worst_cm) == (True, 45, 2, 45)


def test_a_lower_place_may_be_moved_into_the_middle():
    """100 and 30: drops of 70 and 30. Raising the low bar to 50 is 20, lowering the top 20 too."""
    found = suggestions(house(("Top", "roost", 100), ("Low", "roost", 30)), [2], Limit(drop_cm=50))
    assert told(found) == ["Low 50", "Top 80", "step below Top 65"]
    assert [one.worst_cm for one in found] == [50, 50, 35]


def test_energy_helps_the_light_birds_first():
    """m g h: 12 J is 61.2 cm for 2 kg, 30.6 cm for 4 kg (9.80665 m/s², CGPM 1901)."""
    layout = house(("Top", "roost", 70))
    limit = Limit(energy_j=12)
    assert birds_over(layout, [2, 4], limit) == 2
    assert limit.most_cm(2) == pytest.approx(61.183, abs=1e-3)
    assert limit.most_cm(4) == pytest.approx(30.592, abs=1e-3)
    roost, step = suggestions(layout, [2, 4], limit)
    # Only at 30 cm does the heavy one come under it too; a step leaves her 35 cm.
    assert (roost.height_cm, roost.helped, roost.over) == (30, 2, 0)
    assert (step.height_cm, step.helped, step.over, step.worst_cm) == (35, 1, 1, 35)


def test_what_helps_nobody_yet_is_named_last_by_the_drop_it_leaves():
    """130, 70, 55 to 50 cm: the gaps are 60, 15 and 55."""
    layout = house(("Top", "roost", 130), ("Low", "roost", 70), ("Nest", "nest front", 55))
    found = suggestions(layout, [3], Limit(drop_cm=50))
    # At 50 the top bar is a stop for the others: 70, 55, 50. Nothing else gets both gaps small.
    assert told(found)[0] == "Top 50"
    assert [one.helped for one in found] == [1] + [0] * (len(found) - 1)
    assert len(found) > 1
    # A step in the upper gap leaves 55, one in the lower leaves 60, which is no better.
    left = [one.worst_cm for one in found[1:]]
    assert left == sorted(left)
    assert left[0] == 55


def test_nothing_to_suggest_where_no_bird_is_over_or_nothing_stands():
    assert birds_over(house(("Top", "roost", 40)), [3], Limit(drop_cm=50)) == 0
    assert suggestions(house(), [3], Limit(drop_cm=50)) == []
    assert birds_over(house(), [3], Limit(drop_cm=50)) == 0


def test_a_bad_mass_is_refused():
    with pytest.raises(ValueError, match="mass_kg"):
        suggestions(house(("Top", "roost", 40)), [0], Limit(energy_j=5))


kinds = st.sampled_from(["roost", "rail", "nest front", "step"])
layouts = st.lists(st.tuples(kinds, st.integers(1, 60)), min_size=1, max_size=4).map(
    lambda rows: house(*((f"P{n}", kind, height) for n, (kind, height) in enumerate(rows)))
)
masses = st.lists(st.floats(0.5, 5), min_size=1, max_size=5)


def over(layout, masses, energy):
    """By the routes and m g h themselves."""
    drop = max((route.hardest.drop_cm for route in ways_down(layout)), default=0)
    return sum(mass * 9.80665 * drop / 100 > energy + 1e-7 for mass in masses)


@quick
@given(layouts, masses, st.floats(0.5, 20))
def test_no_other_height_helps_more_birds_with_less_change(layout, masses, energy):
    found = suggestions(layout, masses, Limit(energy_j=energy))
    before = over(layout, masses, energy)
    assert birds_over(layout, masses, Limit(energy_j=energy)) == before
    top = layout.stands[0].height_cm
    for place in layout.stands:
        tried = {
            height: before - over(layout.changed(place.name, height_cm=height), masses, energy)
            for height in range(1, top + 1)
        }
        best = max(tried.values())
        mine = [one for one in found if one.place == place and not one.new_step]
        if best > 0:
            (one,) = mine
            assert one.helped == best == tried[one.height_cm]
            least = min(abs(h - place.height_cm) for h, helped in tried.items() if helped == best)
            assert abs(one.change_cm) == least
        else:
            assert all(one.helped == 0 for one in mine)
    assert [one.helped for one in found] == sorted((one.helped for one in found), reverse=True)


@quick
@given(layouts, masses, st.floats(0.5, 20))
def test_a_suggested_step_does_what_it_says(layout, masses, energy):
    before = over(layout, masses, energy)
    for one in suggestions(layout, masses, Limit(energy_j=energy)):
        if one.new_step:
            with_step = layout.plus(Place("New", "step", height_cm=one.height_cm))
            assert before - over(with_step, masses, energy) == one.helped
            assert max(r.hardest.drop_cm for r in ways_down(with_step)) == one.worst_cm
