"""Changes told from the differences between states, and kept apart from corrections."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError

from flockcare.housing import services
from flockcare.housing.changes import differences, history, value_text
from flockcare.housing.models import (
    ChangeKind,
    Feature,
    FeatureState,
    House,
    HousingChange,
    PlannedState,
    Walk,
)
from flockcare.housing.states import layout_on, record_of
from flockcare.people.models import Revision
from tests.housing.rows import feature, house, state

MAY, JUNE, JULY = (dt.date(2026, month, 10) for month in (5, 6, 7))
TODAY = dt.date(2026, 8, 1)
DAY = dt.timedelta(1)


def told(kind="roost", units="metric", before=None, **after):
    bar = Feature(name="Top roost", kind=kind, house=House(name="Shed"))
    first = FeatureState(feature=bar, since=MAY, **before) if before is not None else None
    return differences(bar, first, FeatureState(feature=bar, since=JUNE, **after), units=units)


@pytest.mark.parametrize(
    ("before", "after", "words", "kinds"),
    [
        ({"height_cm": 140}, {"height_cm": 60}, ["Top roost 140 → 60 cm"], {"height"}),
        (
            {"width_mm": 45, "edge": "square"},
            {"width_mm": 70, "edge": "rounded"},
            ["Top roost width 45 → 70 mm, edges square → rounded"],
            {"surface"},
        ),
        (
            {"height_cm": 140, "bedding": "straw"},
            {"height_cm": 60, "bedding": "sand"},
            ["Top roost 140 → 60 cm, bedding straw → sand"],
            {"height", "bedding"},
        ),
        ({}, {"gone": True}, ["Top roost taken away"], {"layout"}),
        ({"gone": True}, {"height_cm": 40}, ["Top roost put back at 40 cm"], {"layout"}),
        (None, {"height_cm": 40}, ["Top roost added at 40 cm"], {"layout"}),
        ({"gone": True}, {"gone": True}, [], set()),
        ({"height_cm": 40}, {"height_cm": 40}, [], set()),
    ],
)
def test_a_change_is_described_by_the_difference(before, after, words, kinds):
    found = told(before=before, **after)
    assert (found.words, found.kinds) == (words, kinds)


def test_in_inches_where_the_flock_measures_so():
    found = told(units="imperial", before={"height_cm": 139.7}, height_cm=60.96)
    assert found.words == ["Top roost 55 → 24 in"]


def test_what_was_not_known_before_is_noted_and_no_change():
    found = told(before={}, edge="square", height_cm=60)
    assert not found.changed and not found.kinds
    assert found.noted == ["Top roost: height noted as 60 cm, edges noted as square"]
    assert told(before={"edge": "square"}).noted == ["Top roost: edges no longer known"]


def test_a_ladder_that_comes_is_a_step():
    assert told(kind="step", before=None).kinds == {"step"}
    assert told(kind="step", before={"height_cm": 60}, height_cm=40).kinds == {"step"}


def test_dampness_by_itself_is_found_but_with_new_bedding_somebody_made_it():
    ground = {"bedding": "straw", "damp": "dry"}
    assert told("floor", before=ground, bedding="straw", damp="wet").kinds == {"found"}
    assert told("floor", before=ground, bedding="sand", damp="wet").kinds == {"bedding"}


# History


@pytest.fixture
def shed(cast):
    """A bar and a yard in May; in June the bar is lowered and a ladder comes; in July new sand."""
    shed = house(cast.flock)
    bar, yard = feature(shed, "Top roost"), feature(shed, "Yard", "landing")
    state(bar, MAY, height_cm=140)
    state(yard, MAY, bedding="stone", note="Wet in winter.")
    state(bar, JUNE, height_cm=60)
    state(feature(shed, "Step", "step"), JUNE)
    state(yard, JULY, bedding="sand", note="Wet in winter.")
    return shed


def of(shed, *names):
    found = {one.name: one for one in Feature.objects.filter(house=shed)}
    return found[names[0]] if len(names) == 1 else [found[name] for name in names]


def lines(shed, told=()):
    return history(record_of(shed), told, units="metric")


def test_history_is_newest_first_and_the_first_day_is_no_change(shed):
    july, june, may = lines(shed)
    assert (july.words, july.kind, july.notes) == ("Yard bedding stone → sand", "bedding", [])
    assert june.words == "Step added, Top roost 140 → 60 cm"
    assert june.kind == ChangeKind.SEVERAL
    assert may.begins and not may.made and july.made
    assert may.words == "Top roost, Yard"
    assert may.notes == ["Yard: Wet in winter."]


def test_what_keepers_say_stands_with_its_day(shed, cast):
    said = HousingChange(flock=cast.flock, house=shed, on=JUNE, kind="height", note="For Mace.")
    only = HousingChange(flock=cast.flock, house=shed, on=JULY + DAY, kind="other", note="Mash.")
    plan = HousingChange(flock=cast.flock, house=shed, planned=True, on=JUNE)
    newest, _, june, _ = lines(shed, [said, only, plan])
    assert june.kind == "height" and june.record is said
    assert newest.on == JULY + DAY and newest.made and newest.words == ""


# Changes in the world


def change(shed, on, changes, by, **told):
    return services.change_features(
        house=shed,
        on=on,
        changes={of(shed, name): values for name, values in changes.items()},
        told=HousingChange(**told) if told else None,
        by=by,
        today=TODAY,
    )


def test_a_change_adds_a_state_that_keeps_what_was_left_alone(shed, cast):
    state(of(shed, "Top roost"), MAY - 9 * DAY, height_cm=150, edge="square", note="Old bar.")
    change(shed, MAY - 5 * DAY, {"Top roost": {"height_cm": 145.0}}, cast.keeper)
    held = {one.name: state for one, state in layout_on(shed, MAY - 5 * DAY)}["Top roost"]
    assert (held.height_cm, held.edge, held.note) == (145, "square", "")
    # What was described from a later day on stays.
    assert of(shed, "Top roost").states.get(since=MAY).height_cm == 140


def test_a_second_change_of_a_day_is_joined_to_it(shed, cast):
    change(shed, JULY, {"Top roost": {"height_cm": 50.0}}, cast.keeper, kind="height", note="A")
    change(shed, JULY, {"Top roost": {"edge": "rounded"}}, cast.keeper, kind="surface", note="B")
    assert of(shed, "Top roost").states.get(since=JULY).height_cm == 50
    kept = HousingChange.objects.get(house=shed, on=JULY)
    assert (kept.kind, kept.note) == ("several", "A\nB")
    newest, *_ = lines(shed, [kept])
    assert set(newest.changed) == {"Top roost 60 → 50 cm", "Yard bedding stone → sand"}
    assert newest.noted == ["Top roost: edges noted as rounded"]


def test_a_day_to_come_is_a_plan_and_not_a_change(shed, cast):
    with pytest.raises(ValidationError, match="in the future"):
        change(shed, TODAY + DAY, {"Top roost": {"height_cm": 50.0}}, cast.keeper)


def test_before_its_first_description_a_feature_cannot_change(shed, cast):
    with pytest.raises(ValidationError, match="Step was first described later than 10 May 2026"):
        change(shed, MAY, {"Top roost": {"edge": "square"}, "Step": {"run_cm": 9.0}}, cast.keeper)
    # All or nothing.
    assert of(shed, "Top roost").states.get(since=MAY).edge == ""


def test_taken_away_and_put_back(shed, cast):
    change(shed, JULY, {"Step": {"gone": True}}, cast.keeper)
    assert "Step" not in [one.name for one, _ in layout_on(shed, JULY)]
    change(shed, JULY + DAY, {"Step": {"gone": False}}, cast.keeper)
    assert "Step" in [one.name for one, _ in layout_on(shed, JULY + DAY)]


# Corrections


def test_a_correction_changes_the_record_and_not_the_world(shed, cast):
    bar = of(shed, "Top roost").states.get(since=MAY)
    days = record_of(shed).days
    bar.height_cm = 120
    services.correct_state(state=bar, by=cast.keeper)
    assert record_of(shed).days == days
    assert lines(shed)[1].words == "Step added, Top roost 120 → 60 cm"
    kept = Revision.objects.get(record=bar.pk)
    assert (kept.by, kept.before["height_cm"]) == (cast.keeper, 140)


def test_a_wrong_day_moves_everything_of_that_day(shed, cast):
    said = HousingChange.objects.create(flock=cast.flock, house=shed, on=JUNE, note="For Mace.")
    said.on = JUNE - 3 * DAY
    services.correct_change(house=shed, on=JUNE, told=said, by=cast.owner, today=TODAY)
    assert record_of(shed).days == [MAY, JUNE - 3 * DAY, JULY]
    assert of(shed, "Top roost", "Step")[1].states.get().since == JUNE - 3 * DAY
    assert Revision.objects.filter(before__since=JUNE.isoformat()).count() == 2


@pytest.mark.parametrize("right", [MAY, MAY - DAY])
def test_a_day_may_not_jump_over_another_description(shed, cast, right):
    said = HousingChange(flock=cast.flock, house=shed, on=right)
    with pytest.raises(ValidationError, match="Top roost has another description between"):
        services.correct_change(house=shed, on=JUNE, told=said, by=cast.owner, today=TODAY)
    assert record_of(shed).days == [MAY, JUNE, JULY]


def test_what_never_was_so_goes_and_what_was_before_holds_on(shed, cast):
    services.delete_state(state=of(shed, "Top roost").states.get(since=JUNE), by=cast.keeper)
    held = {one.name: state for one, state in layout_on(shed, TODAY)}
    assert held["Top roost"].height_cm == 140
    with pytest.raises(ValidationError, match="all that is recorded about Step"):
        services.delete_state(state=of(shed, "Step").states.get(), by=cast.keeper)
    services.delete_feature(feature=of(shed, "Step"), by=cast.keeper)
    assert Revision.objects.filter(action="delete", kind="housing.Feature").count() == 1


# Plans


def plan(shed, cast, **step):
    bar = of(shed, "Top roost")
    kept = HousingChange(flock=shed.flock, house=shed, kind="height", note="Lower it.")
    states = [PlannedState(feature=bar, height_cm=45)]
    if step:
        states.append(PlannedState(**step))
    services.plan_change(change=kept, states=states)
    return kept


def test_a_plan_changes_nothing_until_it_is_done(shed, cast):
    kept = plan(shed, cast, name="Box", kind="step", height_cm=20)
    assert record_of(shed).days == [MAY, JUNE, JULY]
    services.carry_out(plan=kept, on=JULY + DAY, by=cast.keeper, today=TODAY)
    held = {one.name: state.height_cm for one, state in layout_on(shed, JULY + DAY)}
    assert held["Top roost"] == 45 and held["Box"] == 20
    done = HousingChange.objects.get(house=shed, planned=False)
    assert (done.on, done.kind, done.note) == (JULY + DAY, "height", "Lower it.")
    assert not HousingChange.objects.filter(planned=True).exists()


def test_a_plan_is_done_today_at_the_latest_or_thrown_away(shed, cast):
    kept = plan(shed, cast)
    with pytest.raises(ValidationError, match="in the future"):
        services.carry_out(plan=kept, on=TODAY + DAY, by=cast.keeper, today=TODAY)
    services.drop_plan(plan=kept, by=cast.keeper)
    assert not PlannedState.objects.exists()
    assert record_of(shed).days == [MAY, JUNE, JULY]


# Walks


def test_answers_of_a_walk_become_dated_states(shed, cast):
    walk = Walk(flock=shed.flock, house=shed, on=TODAY, note="Ice at the door.")
    services.save_walk(
        walk=walk,
        answers={of(shed, "Yard"): {"damp": "wet"}},
        by=cast.keeper,
        today=TODAY,
    )
    held = {one.name: state for one, state in layout_on(shed, TODAY)}["Yard"]
    assert (held.since, held.damp, held.bedding) == (TODAY, "wet", "sand")
    again = Walk(flock=shed.flock, house=shed, on=TODAY, note="Nail head at the ramp.")
    services.save_walk(walk=again, answers={}, by=cast.keeper, today=TODAY)
    assert Walk.objects.get().note == "Ice at the door.\nNail head at the ramp."


def test_a_percentage_is_written_without_a_space():
    assert value_text("moisture_percent", 28.0, units="metric") == "28%"
    assert value_text("moisture_percent", 28.5, units="metric") == "28.5%"
