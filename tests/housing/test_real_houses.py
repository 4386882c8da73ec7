"""Five houses as keepers have them, set up through the pages, and two of them worked by hand."""

import datetime as dt
import re
from itertools import combinations

import pytest
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Weighing
from flockcare.housing.elevation import BROAD, NARROW, Picture
from flockcare.housing.flags import findings, flags_of
from flockcare.housing.landing import landers_on, landings, layout_of
from flockcare.housing.models import FeatureState, House, HousingChange
from flockcare.housing.routes import ways_down
from flockcare.housing.states import record_of
from tests.housing.rows import stay

pytestmark = pytest.mark.django_db

# What is typed over the usual figures: at most a handful of fields a house. Rows are told by name.
TYPED = {
    "coop": {"Roost": {"height_cm": "36", "edge": "square"}, "Run": {"bedding": "wood chip"}},
    "shed": {"Top roost": {"height_cm": "110"}, "Low roost": {"along_cm": "85"}},
    "raised": {"Ramp": {"run_cm": "50", "along_cm": "196"}},
    "aviary": {"Droppings board": {"there": "on"}, "Floor": {"bedding_depth_cm": "20"}},
    "stable": {"Third roost": {"there": "on", "height_cm": "55"}, "Yard": {"damp": "wet"}},
}


def filled(form) -> dict:
    """What a browser would send of this form as it stands."""
    sent = {}
    for field in form:
        value = field.value()
        if value not in (None, "", False):
            sent[field.html_name] = "on" if value is True else str(value)
    return sent


def set_up(client, flock, key, **more):
    address = reverse("housing:add", args=[flock.pk]) + f"?shape={key}"
    form = client.get(address).context["form"]
    sent = {**filled(form.house), **filled(form.since), "name": key.title()}
    for row in form.things:
        sent |= filled(row)
        for name, value in TYPED[key].get(row.thing.name, {}).items():
            sent[row.add_prefix(name)] = value
    return client.post(address, sent | more)


def layout(house):
    today = timezone.localdate()
    return layout_of(house, today, record_of(house).on(today))


@pytest.mark.parametrize("key", TYPED)
def test_a_house_is_set_up_on_one_form_and_drawn(cast, key):
    answer = set_up(cast.clients.keeper, cast.flock, key)
    house = House.objects.get()
    assert answer.headers["Location"] == reverse("housing:house", args=[cast.flock.pk, house.pk])
    made = layout(house)
    assert all(place.along_cm is not None for place in made.stands)
    assert not made.without_height
    for size in (NARROW, BROAD):
        found = findings(flags_of(made))
        drawn = Picture(made, found, units="metric", page="", size=size, hen_kg=2.4)
        boxes = drawn.lettering.boxes
        assert len(boxes) > len(made.stands)
        assert not any(one.meets(other) for one, other in combinations(boxes, 2))
        assert all(box.left >= 0 and box.right <= size.width for box in boxes)
    page = cast.clients.viewer.get(reverse("housing:landing", args=[cast.flock.pk, house.pk]))
    assert "Hardest landing" in page.content.decode()


@pytest.fixture
def light_and_heavy(cast, birds):
    def weigh(house):
        today = timezone.localdate()
        for name, grams in (("Dill", 1800), ("Mace", 3200)):
            stay(birds[name], house)
            Weighing.objects.create(flock=cast.flock, bird=birds[name], on=today, grams=grams)
        rows = landings(landers_on(house, today), ways_down(layout(house)))
        return {
            (row.lander.bird.name, way.route.legs[0].start.name): way.energy_j
            for row in rows
            for way in row.ways
        }

    return weigh


def flags(house):
    return {(flag.rule.key, flag.place) for flag in flags_of(layout(house))}


def test_the_shed_by_hand(cast, light_and_heavy):
    """Top roost 110 cm high at 35, low roost 70 at 85, board 45 at 55 and 90 broad (10 to 100),
    nests 50 at 205; all figures in cm from the left wall.

    Top to low: 40 down, 50 across, atan(40/50) = 38.7°: over 34. The low roost hangs over the
    board, 25 above it. Off the board: 45 down, 50 out, atan(45/50) = 42.0°: over 34. From the
    nests the board's edge is 205 − 100 = 105 away, out of reach; so 50 down, 50 out: 45°. The
    lowest roost is above 46. Between the roosts 50 − 5 = 45, to the wall 35 − 2.5: enough.
    """
    set_up(cast.clients.keeper, cast.flock, "shed")
    house = House.objects.get()
    assert flags(house) == {
        ("steep-34", "Top roost"),
        ("lowest-roost", "Low roost"),
        ("steep-34", "Droppings board"),
        ("steep-45", "Nest boxes"),
    }
    energies = light_and_heavy(house)
    # E = m g h with 9.80665 m/s²; the gentlest way from both roosts ends with the 45 cm off the
    # board: 3.2 × 9.80665 × 0.45 = 14.12 J, 1.8 kg: 7.94 J. Nests: 0.5 m: 15.69 and 8.83 J.
    assert energies == {
        ("Mace", "Top roost"): pytest.approx(14.12, abs=0.005),
        ("Mace", "Low roost"): pytest.approx(14.12, abs=0.005),
        ("Mace", "Nest boxes"): pytest.approx(15.69, abs=0.005),
        ("Dill", "Top roost"): pytest.approx(7.94, abs=0.005),
        ("Dill", "Low roost"): pytest.approx(7.94, abs=0.005),
        ("Dill", "Nest boxes"): pytest.approx(8.83, abs=0.005),
    }


def test_the_raised_house_by_hand(cast, light_and_heavy):
    """Its ramp was set too steep: 60 high, 50 out, atan(60/50) = 50.2°, which nobody walks.

    So from the sill, 60 above the ground outside, it is 60 straight down, with nothing known of
    how far out she lands. Inside, above its own floor: roost 35 at 50 to nests 15 at 125, 20 down
    over 75: 14.9°; nests to the floor 15 down, 50 out: 16.7°. Neither is marked.
    """
    set_up(cast.clients.keeper, cast.flock, "raised")
    house = House.objects.get()
    assert flags(house) == {
        ("steep-ramp", "Ramp"),
        ("drop-50", "Pop door sill"),
        ("no-run", "Pop door sill"),
    }
    # 3.2 × 9.80665 × 0.60 = 18.83 J; × 0.20 = 6.28 J; × 0.15 = 4.71 J.
    energies = light_and_heavy(house)
    mace = {place: energy for (bird, place), energy in energies.items() if bird == "Mace"}
    assert mace == {
        "Pop door sill": pytest.approx(18.83, abs=0.005),
        "Roost": pytest.approx(6.28, abs=0.005),
        "Nest boxes": pytest.approx(4.71, abs=0.005),
    }
    # With its foot 110 out it falls at 28.6° and is walked: nothing is left to be marked.
    FeatureState.objects.filter(feature__name="Ramp").update(run_cm=110, along_cm=226)
    assert flags(house) == set()


def test_what_is_refused_in_one_row_loses_nothing(cast):
    answer = set_up(cast.clients.keeper, cast.flock, "shed", **{"t0-height_cm": "tall"})
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "is not a length" in text
    assert 'value="85"' in text and 'value="Shed"' in text
    assert not House.objects.exists()
    twice = {"t0-name": "Roost", "t1-name": "roost"}
    answer = set_up(cast.clients.keeper, cast.flock, "shed", **twice)
    assert "something of that name already" in answer.content.decode()
    # What is not there need not be right.
    answer = set_up(cast.clients.keeper, cast.flock, "shed", **{"t2-height_cm": "tall"})
    assert answer.status_code == 302


def test_the_shapes_are_shown_and_one_may_start_empty(cast):
    address = reverse("housing:add", args=[cast.flock.pk])
    text = cast.clients.keeper.get(address).content.decode()
    assert text.count('class="elevation small"') == 5
    assert 'name="name"' in cast.clients.keeper.get(address + "?shape=empty").content.decode()


def test_the_drawing_follows_what_is_typed_before_anything_is_saved(cast):
    """A roost at 70 instead of 100 and one more; what cannot be read stays as usual."""
    address = reverse("housing:add", args=[cast.flock.pk])
    form = cast.clients.keeper.get(address + "?shape=shed").context["form"]
    sent = filled(form.house) | {"shape": "shed", "wall_height_cm": "300"}
    for row in form.things:
        sent |= filled(row)
    sent |= {"t0-height_cm": "72", "t1-height_cm": "high", "t2-there": "on", "t2-along_cm": "130"}

    def drawn(**more):
        piece = cast.clients.keeper.get(address, sent | more, headers={"HX-Request": "true"})
        text = piece.content.decode()
        assert text.startswith('<div id="drawn">')
        return text

    text = drawn()
    assert "Top roost, 72 cm" in text and "Low roost, 70 cm" in text and "Third roost, 45" in text
    assert 'class="tick-name"' in text and ">250<" in text  # As high as the walls are now.
    assert "Third roost" not in drawn(**{"t2-there": ""})
    assert not House.objects.exists()


# Moving things


@pytest.fixture
def shed(cast):
    set_up(cast.clients.keeper, cast.flock, "shed", since="2026-01-05")
    return House.objects.get()


def moved(client, house, name, **typed):
    address = reverse("housing:arrange", args=[house.flock_id, house.pk])
    form = client.get(address).context["form"]
    sent = filled(form) | {"shown": form.shown}
    key = next(feature for feature, _ in form.pairs if feature.name == name).pk.hex
    letters = {"height": f"h-{key}", "along": f"a-{key}"}
    return client.post(address, sent | {letters.get(name, name): v for name, v in typed.items()})


def states(name):
    rows = FeatureState.objects.filter(feature__name=name).order_by("since")
    return [(str(row.since), row.height_cm, row.along_cm) for row in rows]


def test_what_was_always_so_is_corrected_and_no_change(cast, shed):
    assert moved(cast.clients.keeper, shed, "Low roost", height="60", along="80").status_code == 302
    assert states("Low roost") == [("2026-01-05", 60, 80)]
    assert not HousingChange.objects.exists()


def test_a_change_has_its_day_and_what_was_before_stays(cast, shed):
    moved(cast.clients.keeper, shed, "Low roost", height="60", how="changed", on="2026-03-01")
    assert states("Low roost") == [("2026-01-05", 70, 85), ("2026-03-01", 60, 85)]
    page = cast.clients.viewer.get(reverse("housing:house", args=[shed.flock_id, shed.pk]))
    assert "Low roost 70 → 60 cm" in re.sub(r"\s+", " ", page.content.decode())
    # A correction goes back as far as it was said alike, and no farther.
    moved(cast.clients.keeper, shed, "Low roost", height="58")
    assert states("Low roost") == [("2026-01-05", 70, 85), ("2026-03-01", 58, 85)]


def test_once_one_thing_is_placed_all_are_where_they_are_drawn(cast, shed):
    """By the chain: nests 50 out of the landing; the board 50 behind … as it is drawn, so kept."""
    FeatureState.objects.update(along_cm=None, run_cm=50)
    before = {p.name: p.along_cm for p in layout(shed).stands}
    assert set(before.values()) == {None}
    moved(cast.clients.keeper, shed, "Low roost", height="65")
    assert {p.along_cm for p in layout(shed).stands} == {None}
    drawn = (
        cast.clients.keeper.get(reverse("housing:arrange", args=[shed.flock_id, shed.pk]))
        .context["form"]
        .initial
    )
    moved(cast.clients.keeper, shed, "Low roost", along="77")
    now = {state.feature.pk.hex: state.along_cm for state in FeatureState.objects.all()}
    low = next(s for s in FeatureState.objects.all() if s.feature.name == "Low roost")
    for key, along in now.items():
        if f"a-{key}" in drawn:
            assert along == (77 if key == low.feature.pk.hex else drawn[f"a-{key}"])


def test_what_cannot_be_saved_stays_in_its_field(cast, shed):
    answer = moved(cast.clients.keeper, shed, "Low roost", height="high", along="81")
    assert answer.status_code == 422
    text = answer.content.decode()
    assert 'value="high"' in text and 'value="81"' in text and "is not a length" in text
    answer = moved(cast.clients.keeper, shed, "Low roost", height="0")
    assert "needs a height above 0" in answer.content.decode()
    later = str(timezone.localdate() + dt.timedelta(2))
    answer = moved(cast.clients.keeper, shed, "Low roost", height="61", how="changed", on=later)
    assert "in the future" in answer.content.decode()
    answer = moved(cast.clients.keeper, shed, "Low roost", height="61", shown="another")
    assert "Somebody else changed this house" in answer.content.decode()
    assert "Nothing was moved yet" in moved(cast.clients.keeper, shed, "Low roost").content.decode()
    assert states("Low roost") == [("2026-01-05", 70, 85)]


def test_while_it_is_dragged_only_the_drawing_comes_and_nothing_is_kept(cast, shed):
    address = reverse("housing:arrange", args=[shed.flock_id, shed.pk])
    key = next(f for f, _ in record_of(shed).on(timezone.localdate()) if f.name == "Low roost").pk
    answer = cast.clients.keeper.get(
        address, {f"h-{key.hex}": "62"}, headers={"HX-Request": "true"}
    )
    text = answer.content.decode()
    assert "62 cm" in text and "<html" not in text
    assert states("Low roost") == [("2026-01-05", 70, 85)]
