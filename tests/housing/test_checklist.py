"""The walk through a house: what is asked, and that answers become dated states."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from flockcare.housing.checklist import ITEMS, items_for, unanswered
from flockcare.housing.features import fields_of
from flockcare.housing.models import Feature, FeatureKind, FeatureState, Walk
from flockcare.housing.states import layout_on
from tests.housing.rows import feature, house, state
from tests.people.rows import FORM_PAGE, NOT_WRITERS, refused, same_queries, seen

START = dt.date(2026, 1, 5)


def asked(kind, **measures):
    return [item.key for item in items_for(Feature(kind=kind), FeatureState(**measures))]


def test_every_item_says_what_to_look_for_why_and_after_whom():
    assert len({item.key for item in ITEMS}) == len(ITEMS) == 7
    for item in ITEMS:
        assert item.look and item.why
        assert item.sources


@pytest.mark.parametrize("kind", FeatureKind.values)
def test_what_is_asked_can_be_written_down(kind):
    for item in items_for(Feature(kind=kind), FeatureState(height_cm=10)):
        assert set(item.fields) <= set(fields_of(kind))


def test_bars_are_felt_and_ground_is_measured():
    assert asked("roost") == ["edges", "surface", "cover", "wire"]
    assert asked("landing") == ["wire", "landing", "depth", "damp"]
    # A feeder stands at no height and no bird stands on it; a shelf has one.
    assert asked("other") == []
    assert "edges" in asked("other", height_cm=60)


def test_open_questions_are_counted():
    floor = Feature(kind="floor"), FeatureState(bedding="straw", moisture_percent=20.0)
    assert unanswered([floor]) == 2  # Wire and depth.


# The page


def test_a_depth_of_nothing_answers_what_lies_there():
    def open_questions(**measures):
        return unanswered([(Feature(name="Floor", kind="floor"), FeatureState(**measures))])

    assert open_questions(bedding_depth_cm=0) == open_questions(bedding_depth_cm=3) - 1


@pytest.fixture
def shed(cast):
    shed = house(cast.flock)
    state(feature(shed, "Bar"), START, height_cm=60, edge="square", material="ash pole")
    state(feature(shed, "Yard", "landing"), START, bedding="sand")
    return shed


def url(shed):
    return reverse("housing:walk", args=[shed.flock_id, shed.pk])


def answers(client, shed, **changed):
    """What the page would send when nothing but ``changed`` was touched."""
    page = client.get(url(shed)).context
    data = {"on": timezone.localdate().isoformat(), "note": ""}
    for one, form, _ in page["parts"]:
        data[f"{form.prefix}-shown"] = form.shown
        for name in form.names:
            value = form[name].value()
            shown = form.fields[name].prepare_value(value)
            data[f"{form.prefix}-{name}"] = "" if shown is None else shown
        for name, value in changed.get(one.name.lower(), {}).items():
            data[f"{form.prefix}-{name}"] = value
    return data


def test_who_may_walk(cast, shed):
    assert seen(cast, url(shed)) == FORM_PAGE
    assert refused(cast, url(shed)) == NOT_WRITERS


def test_a_walk_that_finds_all_as_written_keeps_that_somebody_looked(cast, shed):
    answer = cast.clients.keeper.post(url(shed), answers(cast.clients.keeper, shed))
    assert answer.status_code == 302
    assert Walk.objects.get().keeper == cast.keeper
    assert FeatureState.objects.count() == 2


def test_answers_become_states_of_that_day(cast, shed):
    data = answers(
        *(cast.clients.keeper, shed),
        bar={"surface": "splinters"},
        yard={"bedding_depth_cm": "3,5", "damp": "wet", "moisture_percent": "31"},
    )
    answer = cast.clients.keeper.post(url(shed), data, follow=True)
    assert "Updated: Bar, Yard" in answer.content.decode()
    today = timezone.localdate()
    held = {one.name: state for one, state in layout_on(shed, today)}
    assert (held["Bar"].since, held["Bar"].surface, held["Bar"].edge) == (
        today,
        "splinters",
        "square",
    )
    yard = held["Yard"]
    assert (yard.bedding_depth_cm, yard.damp, yard.moisture_percent) == (3.5, "wet", 31)
    assert [state.damp for _, state in layout_on(shed, START) if state.bedding] == [""]


def test_a_word_of_ones_own_stays_when_it_is_left(cast, shed):
    data = answers(cast.clients.keeper, shed, bar={"edge": "rounded"})
    cast.clients.keeper.post(url(shed), data)
    bar = FeatureState.objects.get(edge="rounded")
    assert bar.material == "ash pole"


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        ("moisture_percent", "130", "from 0 to 100"),
        ("moisture_percent", "a lot", "Enter a number, like 28"),
        ("bedding_depth_cm", "deep", "is not a length"),
        ("bedding_depth_cm", "3 m", "too deep: at most 100 cm"),
        ("damp", "soaked", "Choose one of these words"),
    ],
)
def test_bad_answers_are_said_in_words_and_nothing_is_kept(cast, shed, field, typed, words):
    data = answers(cast.clients.keeper, shed, yard={field: typed})
    answer = cast.clients.keeper.post(url(shed), data)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Walk.objects.exists()


def test_what_somebody_else_found_meanwhile_is_not_overwritten_unseen(cast, shed):
    data = answers(cast.clients.keeper, shed, yard={"damp": "dry"})
    yard = FeatureState.objects.get(bedding="sand")
    yard.damp = "wet"
    yard.save()
    answer = cast.clients.keeper.post(url(shed), data)
    assert answer.status_code == 422
    assert "Somebody else changed this" in answer.content.decode()
    assert "dampness wet" in answer.content.decode()


def test_an_empty_house_leads_to_describing_it(cast):
    page = cast.clients.keeper.get(url(house(cast.flock))).content.decode()
    assert "Nothing of Shed has been described yet" in page


def test_the_walk_asks_the_database_as_often_for_many_features(cast, shed):
    def grow():
        for number in range(20):
            state(feature(shed, f"Bar {number}"), START, height_cm=number)

    same_queries(cast.clients.keeper, url(shed), grow=grow)
