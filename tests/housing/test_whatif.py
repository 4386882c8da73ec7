"""Which change helps most: hand-worked houses, and every height tried with the routes."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flockcare.housing.layout import Layout, Place
from flockcare.housing.routes import ways_down
from flockcare.housing.views_whatif import _shown
from flockcare.housing.whatif import Limit, is_sensible, lands_over, scratch, suggestions
from tests.analysis.properties import examples

quick = examples(25)


def house(*rows):
    places = (Place(name, kind, height_cm=height) for name, kind, height in rows)
    return Layout("Shed", dt.date(2026, 5, 1), tuple(places))


def told(found):
    return [
        " and ".join(
            ("step before " if move.new_step else "") + f"{move.place.name} {move.height_cm:g}"
            for move in one.moves
        )
        for one in found
    ]


def test_a_step_halves_the_way_where_another_landing_stays_as_hard():
    """From Top to Low it is 60 whatever is done below; a step at 60 would leave 60 as well."""
    shed = lines(("Top", 130, 60), ("Low", 70, 80))
    alone = [one for one in suggestions(shed, [2.0], Limit(drop_cm=50)) if len(one.moves) == 1]
    (best,) = [one for one in alone if one.moves[0].new_step and one.moves[0].place.name == "Low"]
    # Low 70 to the step at 35 and to the floor: 35 each, Top 60; with one at 60 it was 60 and 60.
    assert (best.moves[0].height_cm, best.worst_cm, best.total_cm) == (35, 60, 95)


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
    roost, step = suggestions(layout, [3.0, 2.0], Limit(drop_cm=50))
    assert told([roost]) == ["Top 50"]
    assert (roost.moves[0].change_cm, roost.helped, roost.over) == (-40, 2, 0)
    # A step in the middle makes two drops of 45.
    assert told([step]) == ["step before Top 45"]
    assert (step.helped, step.worst_cm) == (2, 45)


def test_a_lower_place_may_be_moved_into_the_middle():
    """100 and 30: drops of 70 and 30. Raising the low bar to 50 is 20, lowering the top 20 too,
    and lands softer in all. A new step stands on the floor and is no higher than 60, with drops of
    40, 30 and 30."""
    found = suggestions(house(("Top", "roost", 100), ("Low", "roost", 30)), [2], Limit(drop_cm=50))
    assert told(found) == ["Top 80", "Low 50", "step before Top 60"]
    assert [one.worst_cm for one in found] == [50, 50, 40]


def test_energy_helps_the_light_birds_first():
    """m g h: 12 J is 61.2 cm for 2 kg, 30.6 cm for 4 kg (9.80665 m/s², CGPM 1901)."""
    layout = house(("Top", "roost", 70))
    limit = Limit(energy_j=12)
    assert lands_over(layout, [2, 4], limit) == [True, True]
    assert limit.most_cm(2) == pytest.approx(61.183, abs=1e-3)
    assert limit.most_cm(4) == pytest.approx(30.592, abs=1e-3)
    found = suggestions(layout, [2, 4], limit)
    # 9 cm help one; only at 30 cm, 40 lower, does the heavy one come under it too; a step of 35 cm
    # leaves her 35.
    assert told(found) == ["Top 61", "Top 30", "step before Top 35"]
    assert [(one.helped, one.over) for one in found] == [(1, 1), (2, 0), (1, 1)]


LIGHT_AND_HEAVY = [1.9] * 12 + [2.2] * 3 + [4.0]
TWELVE_J = Limit(energy_j=12)  # 64.4, 55.6 and 30.6 cm for these birds.


def test_a_small_change_comes_before_a_large_one_that_helps_one_bird_more():
    """The two that help all 16 take 65 and 75 cm, for the sake of one bird."""
    layout = house(("Top", "roost", 110), ("Low", "roost", 40))
    found = suggestions(layout, LIGHT_AND_HEAVY, TWELVE_J)
    assert told(found)[:2] == ["Top 95", "Low 55"]
    assert [one.helped for one in found[:2]] == [15, 15]
    assert "Top 55 and Low 30" in told(found), "what helps all of them is there as well"


def test_a_hand_s_breadth_more_is_no_more_work():
    """6 cm help 12 birds, 15 cm help 15: nobody moves a roost by 6 cm to come back to it."""
    found = suggestions(house(("Top", "roost", 70)), LIGHT_AND_HEAVY, TWELVE_J)
    assert told(found) == ["Top 55", "Top 30", "step before Top 35"]
    assert [one.helped for one in found] == [15, 16, 15]


def test_of_two_that_help_alike_the_less_height_comes_first():
    """60 and 90: 80 cm would do for the drop of 30 above, but not for the one of 60 below."""
    layout = house(("Roost", "roost", 60), ("Nests", "nest front", 90))
    found = suggestions(layout, [2, 3], Limit(drop_cm=50))
    assert told(found) == ["Roost 50", "step before Roost 30"]
    works = [one.helped / one.work_cm for one in found]
    assert works == sorted(works, reverse=True)


def test_of_two_steps_the_one_that_leaves_less_comes_first():
    """130 and 70 beside each other: 60 between them stays. Before Low a step of 35 halves its way,
    before Top there is head room for one of 9 only, which leaves it 61."""
    bars = Place("Top", "roost", 130, along_cm=40), Place("Low", "roost", 70, along_cm=95)
    shed = Layout("Shed", dt.date(2026, 5, 1), bars, length_cm=300)
    found = suggestions(shed, [2.0, 3.0], TWELVE_J)
    alone = told(one for one in found if len(one.moves) == 1)
    assert alone == ["step before Low 35", "step before Top 9", "Low 65"]


def test_where_a_ramp_leads_down_or_no_bird_is_over_or_none_lives_there_nothing_is_proposed():
    ramp = Place("Ramp", "ramp", 90, run_cm=120)
    top = house(("Top", "roost", 90))
    assert suggestions(top.plus(ramp), [2, 3], Limit(drop_cm=50)) == []
    assert suggestions(top, [0.9, 1.0], TWELVE_J) == []
    assert suggestions(top, [], Limit(drop_cm=50)) == []


def test_one_of_two_roosts_is_low_already():
    """110 and 40: it is the upper one that is to be lowered; raising the low one helps nobody."""
    layout = house(("Top", "roost", 110), ("Low", "roost", 40))
    found = suggestions(layout, [2, 3], Limit(drop_cm=50))
    assert told(found) == ["Top 90", "step before Top 60", "Low 55"]
    assert [one.helped for one in found] == [2, 2, 0]


def test_what_helps_all_birds_is_shown_however_much_height_it_takes():
    layout = house(("Top", "roost", 110), ("Low", "roost", 40))
    found = suggestions(layout, LIGHT_AND_HEAVY, TWELVE_J)
    some = [one for one in found if one.over]
    whole = [one for one in found if not one.over]
    assert some and whole
    shown = _shown([*some, *some, *some, *whole])
    assert len(shown) == 6 and shown[-1] == whole[0] and shown[:5] == [*some, *some][:5]
    assert _shown(found) == found[:6]
    assert _shown(some[:2]) == some[:2] and _shown([]) == []


def test_one_change_comes_before_two_of_as_much_height():
    """Nest fronts at 100 above a roost at 60: 15 cm of height at most on each."""
    found = suggestions(
        house(("Roost", "roost", 60), ("Nests", "nest front", 100)), LIGHT_AND_HEAVY, TWELVE_J
    )
    assert told(found)[0] == "Roost 55"
    assert [len(one.moves) for one in found] == [1, 1, 2]


def test_the_order_of_the_roosts_is_kept_and_two_changes_go_together():
    """140, 70 and 10 to 50 cm: gaps of 70, 60 and 10. One change mends one gap, never both; the top
    roost at 50 would, below the lower one, and that nobody would build."""
    layout = house(("Top", "roost", 140), ("Low", "roost", 70), ("Nest", "nest front", 10))
    found = suggestions(layout, [3], Limit(drop_cm=50))
    first = found[0]
    assert (first.helped, first.over, len(first.moves)) == (1, 0, 2)
    heights = {place.name: place.height_cm for place in first.after.stands}
    assert heights["Top"] > heights["Low"]
    for one in found:
        names = [place.name for place in one.after.stands if place.name != "New step"]
        assert names == ["Top", "Low", "Nest"]


def test_no_roost_on_the_floor():
    """A limit of 20 cm: a roost at 20 is none, so it is a step at half of what remains."""
    found = suggestions(house(("Bar", "roost", 40)), [3], Limit(drop_cm=20))
    assert told(found)[0] == "step before Bar 20"
    for one in found:
        assert all(place.height_cm >= 25 for place in one.after.stands if place.kind == "roost")


def test_a_hen_keeps_her_head_room():
    """One bar 20 cm beside another: less than 45 cm between them is too little for her head."""
    near = Place("Top", "roost", 130, along_cm=50), Place("Low", "roost", 60, along_cm=70)
    layout = Layout("Shed", dt.date(2026, 5, 1), near, length_cm=300)
    for one in suggestions(layout, [3], Limit(drop_cm=50)):
        heights = {place.name: place.height_cm for place in one.after.stands}
        assert heights["Top"] - heights["Low"] >= 45
    apart = layout.changed("Low", along_cm=110)
    heights = [
        {place.name: place.height_cm for place in one.after.stands}
        for one in suggestions(apart, [3], Limit(drop_cm=30))
    ]
    assert any(each["Top"] - each["Low"] < 45 for each in heights)


def test_a_new_step_stands_before_its_place_and_within_the_walls():
    """45 cm towards the room; the roost at 280 of 300 has its step on the other side."""
    for at, step_at in ((50, 95), (280, 235)):
        bar = Place("Bar", "roost", 90, along_cm=at)
        layout = Layout("Shed", dt.date(2026, 5, 1), (bar,), length_cm=300)
        after = scratch(layout, changed={}, step=Place("New step", "step", 45))
        (step,) = (place for place in after.stands if place.name == "New step")
        assert (step.along_cm, step.breadth_cm) == (step_at, 30)


def test_nothing_to_suggest_where_no_bird_is_over_or_nothing_stands():
    assert lands_over(house(("Top", "roost", 40)), [3], Limit(drop_cm=50)) == [False]
    assert suggestions(house(), [3], Limit(drop_cm=50)) == []
    assert lands_over(house(), [3], Limit(drop_cm=50)) == [False]


def test_a_bad_mass_is_refused():
    with pytest.raises(ValueError, match="mass_kg"):
        suggestions(house(("Top", "roost", 40)), [0], Limit(energy_j=5))


kinds = st.sampled_from(["roost", "rail", "nest front", "step"])
layouts = st.lists(st.tuples(kinds, st.integers(1, 160)), min_size=1, max_size=4).map(
    lambda rows: house(*((f"P{n}", kind, height) for n, (kind, height) in enumerate(rows)))
)
masses = st.lists(st.floats(0.5, 5), min_size=1, max_size=4)


def over(layout, masses, energy):
    """By the routes and m g h themselves."""
    drop = max((route.hardest.drop_cm for route in ways_down(layout)), default=0)
    return sum(mass * 9.80665 * drop / 100 > energy + 1e-7 for mass in masses)


@quick
@given(layouts, masses, st.floats(2, 20))
def test_what_is_suggested_does_what_it_says_and_can_be_built(layout, masses, energy):
    before = over(layout, masses, energy)
    was = {place.name: place.height_cm for place in layout.stands}
    for one in suggestions(layout, masses, Limit(energy_j=energy)):
        assert before - over(one.after, masses, energy) == one.helped
        assert one.helped + one.over == before
        assert max(r.hardest.drop_cm for r in ways_down(one.after)) == one.worst_cm
        assert len(one.moves) <= 2
        now = {place.name: place.height_cm for place in one.after.stands}
        for a in was:
            for b in was:
                assert was[a] <= was[b] or now[a] > now[b]
        for place in one.after.stands:
            if place.name == "New step":
                assert place.height_cm <= 60
            elif place.kind in ("roost", "rail"):
                assert place.height_cm >= min(25, was[place.name])


@quick
@given(layouts, st.floats(20, 90))
def test_no_other_height_that_can_be_built_helps_with_less_change(layout, drop):
    """Every whole centimetre of every place, tried one by one."""
    limit = Limit(drop_cm=drop)
    found = suggestions(layout, [2], limit)
    if not any(lands_over(layout, [2], limit)):
        return
    for place in layout.stands:
        helping = [
            abs(height - place.height_cm)
            for height in range(1, 161)
            if is_sensible(layout, after := layout.changed(place.name, height_cm=float(height)))
            and not any(lands_over(after, [2], limit))
        ]
        mine = [one for one in found if one.moves[0].place == place and len(one.moves) == 1]
        mine = [
            abs(one.moves[0].change_cm) for one in mine if one.helped and not one.moves[0].new_step
        ]
        assert bool(mine) == bool(helping)
        assert not helping or mine[0] == min(helping)
