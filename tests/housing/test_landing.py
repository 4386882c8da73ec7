"""What each bird lands with: the figures against pint, the page, and what is kept of a what-if."""

import datetime as dt
import re

import pint
import pytest
from django.urls import reverse

from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.housing import flags
from flockcare.housing.landing import (
    energy_text,
    landers_on,
    landings,
    layout_of,
    place_of,
    speed_text,
)
from flockcare.housing.layout import Layout, Place
from flockcare.housing.models import Feature, FeatureState, House, HousingChange, Stay
from flockcare.housing.routes import ways_down
from flockcare.housing.states import record_of
from tests.people.rows import NOT_WRITERS, READ_PAGE, refused, same_queries, seen

pytestmark = pytest.mark.django_db
units = pint.UnitRegistry()
DAY = dt.date(2026, 3, 1)


def put(house, name, kind, since=dt.date(2026, 1, 1), **described):
    feature, _ = Feature.objects.get_or_create(
        flock=house.flock, house=house, name=name, defaults={"kind": kind}
    )
    FeatureState.objects.create(flock=house.flock, feature=feature, since=since, **described)
    return feature


@pytest.fixture
def shed(cast, birds):
    """Bar at 100 cm, step at 45, wood chip; Dill 3 kg, Mace by her breed, Sorrel unknown."""
    house = House.objects.create(flock=cast.flock, name="Cart Shed")
    put(house, "Bar", "roost", height_cm=100, run_cm=60, width_mm=70, edge="rounded")
    put(house, "Step", "step", height_cm=45, run_cm=75)
    put(house, "Yard", "landing", bedding="wood chip", bedding_depth_cm=10)
    for bird in birds.values():
        Stay.objects.create(flock=cast.flock, house=house, bird=bird, since=dt.date(2026, 1, 1))
    Weighing.objects.create(
        flock=cast.flock, bird=birds["Dill"], on=dt.date(2026, 2, 1), grams=3000
    )
    Weighing.objects.create(
        flock=cast.flock, bird=birds["Dill"], on=dt.date(2026, 4, 1), grams=3600
    )
    birds["Mace"].breed = Breed.objects.create(flock=cast.flock, name="Sussex", adult_grams=3180)
    birds["Mace"].save()
    return house


def address(house, view="landing"):
    return reverse(f"housing:{view}", args=[house.flock_id, house.pk])


def page(client, url, **data):
    answer = client.get(url, data)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


# Weights


def test_a_weight_is_the_last_on_or_before_the_day_else_the_breeds_else_refused(shed):
    found = {one.bird.name: (one.grams, one.assumed) for one in landers_on(shed, DAY)}
    assert found == {"Dill": (3000, False), "Mace": (3180, True), "Sorrel": (None, False)}
    assert {one.bird.name: one.source for one in landers_on(shed, DAY)} == {
        "Dill": "weighed 1 Feb 2026",
        "Mace": "assumed: a grown Sussex",
        "Sorrel": "weight not known: weigh her",
    }
    (dill, *_) = landers_on(shed, dt.date(2026, 4, 1))
    assert dill.grams == 3600
    # Before her first weighing nothing is known of Dill.
    assert landers_on(shed, dt.date(2026, 1, 15))[0].grams is None


def told(shed, birds, day=DAY, **of_mace):
    """What Mace, who is a Sussex, lands with."""
    Bird.objects.filter(pk=birds["Mace"].pk).update(**of_mace)
    found = {one.bird.name: one for one in landers_on(shed, day)}["Mace"]
    return found.grams, found.source, found.assumed


def test_a_growing_bird_does_not_land_with_the_weight_of_a_grown_one(shed, birds):
    """She may be growing until 26 weeks: common practice, no published source."""
    source = "weight not known, still growing: weigh her"
    assert told(shed, birds, hatched="2025-10") == (None, source, False)
    source = "weight not known, may still be growing: weigh him"
    assert told(shed, birds, hatched="2025", sex="cock") == (None, source, False)
    assert told(shed, birds, hatched="2025-08") == (3180, "assumed: a grown Sussex", True)


def test_the_last_weighing_of_a_growing_bird_counts_until_she_is_grown(shed, birds):
    on = dt.date(2026, 2, 20)
    Weighing.objects.create(flock=shed.flock, bird=birds["Mace"], on=on, grams=900)
    assert told(shed, birds, hatched="2025-10") == (900, "weighed 20 Feb 2026", False)
    grown = told(shed, birds, day=dt.date(2026, 6, 1), hatched="2025-10")
    assert grown == (3180, "assumed: a grown Sussex", True)
    # Nobody knows that she was growing then, so what was weighed goes before what is assumed.
    grown = told(shed, birds, day=dt.date(2026, 8, 1), hatched="2025")
    assert grown == (900, "weighed 20 Feb 2026", False)


def test_who_had_moved_out_or_left_lands_no_more(shed, birds):
    Stay.objects.filter(bird=birds["Mace"]).update(until=DAY)
    Bird.objects.filter(pk=birds["Sorrel"].pk).update(left="2026-02-10", left_reason="died")
    assert [one.bird.name for one in landers_on(shed, DAY)] == ["Dill"]


def test_energies_against_pint(shed):
    """Bar over the step: drops of 55 and 45 cm; the larger counts, and 100 cm straight down."""
    layout = layout_of(shed, DAY, record_of(shed).on(DAY))
    mace, dill, _ = landings(landers_on(shed, DAY), ways_down(layout))
    assert (mace.lander.bird.name, dill.lander.bird.name) == ("Mace", "Dill")
    (way,) = dill.ways
    for energy, drop in ((way.energy_j, 0.55), (way.straight_j, 1.00)):
        worked = 3 * units.kg * units.standard_gravity * drop * units.metre
        assert energy == pytest.approx(worked.to("joule").magnitude)
        assert energy_text(energy, "imperial") == (
            f"{worked.to('foot * force_pound').magnitude:.1f} ft·lbf"
        )
    # 3 kg × 9.80665 m/s² × 0.55 m = 16.18 J (CGPM 1901, from memory); √(2 g h) = 3.28 m/s.
    assert energy_text(way.energy_j, "metric") == "16.2 J"
    speed = (2 * units.standard_gravity * 0.55 * units.metre) ** 0.5
    assert speed_text(way.route.hardest.speed, "metric") == "3.3 m/s"
    assert speed_text(way.route.hardest.speed, "imperial") == (
        f"{speed.to('foot / second').magnitude:.1f} ft/s"
    )
    assert way.route.hardest.angle == pytest.approx(42.5, abs=0.05)


def test_every_field_of_a_place_comes_from_the_records(shed):
    (bar, state), *_ = record_of(shed).on(DAY)
    assert place_of(bar, state) == Place(
        "Bar", "roost", height_cm=100, run_cm=60, width_mm=70, edge="rounded"
    )
    assert isinstance(layout_of(shed, DAY, record_of(shed).on(DAY)), Layout)


# The page


def test_who_may_look(cast, shed):
    for view in ("landing", "what_if"):
        assert seen(cast, address(shed, view)) == READ_PAGE
    assert refused(cast, address(shed, "what_if")) == NOT_WRITERS


def test_the_page_says_what_each_bird_lands_with(cast, shed):
    words = page(cast.clients.viewer, address(shed), on="2026-03-01")
    # By hand: 3.18 kg × 9.80665 × 0.55 m = 17.15 J; 1 m straight down: 31.19 J.
    for said in (
        "Mace 3.18 kg assumed assumed: a grown Sussex Bar 55 cm 43° 17.2 J 3.3 m/s straight down "
        "31.2 J",
        "Sorrel : no weight known, so no energy",
        "largest single drop on the gentlest way down",
        "55 cm down to Step, over 60 cm: 43°",
        "Hens scratch bedding away exactly where they land",
        "kinder than narrow or round ones. common practice",
        "A guide, not a building rule",
        "Local animal-welfare rules come first",
    ):
        assert said in words
    assert words.index("Mace") < words.index("Dill")


def test_who_lands_hardest_is_said_first_and_each_bird_has_one_line(cast, shed):
    answer = cast.clients.viewer.get(address(shed)).content.decode()
    words = page(cast.clients.viewer, address(shed))
    # By hand: 3.6 kg × 9.80665 × 0.55 m = 19.42 J; Mace, 3.18 kg: 17.15 J.
    assert "Hardest landing: Bar to Step, 55 cm, 43°: Dill, 19.4 J" in words
    assert answer.index("Hardest landing") < answer.index("<svg") < answer.index('id="landings"')
    hers = "Dill 3.60 kg 19.4 J Mace 3.18 kg assumed 17.2 J Sorrel not known –"
    assert f"Bird Weight Energy {hers} From each place" in words
    shown = re.sub(r"(?s)<details.*?</details>", "", answer)
    assert "straight down" in answer and "straight down" not in shown
    Weighing.objects.all().delete()
    Bird.objects.update(breed=None)
    assert "Bar to Step, 55 cm, 43° " in page(cast.clients.viewer, address(shed))


def test_the_house_as_it_was(cast, shed):
    put(shed, "Bar", "roost", since=dt.date(2026, 5, 1), height_cm=60, run_cm=60)
    client = cast.clients.keeper
    assert "55 cm down to Step" in page(client, address(shed), step=0)
    assert "As it was from 1 January 2026" in page(client, address(shed), on="2026-02-11")
    assert "15 cm down to Step" in page(client, address(shed), step=1)
    # Nonsense is taken as today.
    for wrong in ({"step": "99"}, {"step": "x"}, {"on": "2026-02-31"}, {}):
        assert "As it is today" in page(client, address(shed), **wrong)


def test_an_empty_house_teaches(cast):
    house = House.objects.create(flock=cast.flock, name="New House")
    for view in ("landing", "what_if"):
        words = page(cast.clients.keeper, address(house, view))
        assert "Nothing of New House has been described yet" in words
        assert "Add what stands in it" in words
    assert "Add what" not in page(cast.clients.viewer, address(house))


def test_a_missing_height_is_refused_in_words(cast, shed):
    put(shed, "Shelf", "rail")
    words = page(cast.clients.keeper, address(shed))
    assert "The height of Shelf is not recorded, so it is left out of the drawing" in words


def test_inches_and_foot_pounds(cast, shed):
    cast.flock.units = "imperial"
    cast.flock.save()
    words = page(cast.clients.keeper, address(shed), on="2026-03-01")
    # 55 cm = 21.65 in, to the eighth 21 5/8; 17.152 J = 12.651 ft·lbf; 3.284 m/s = 10.8 ft/s.
    assert "Bar 21 5/8 in 43° 12.7 ft·lbf 10.8 ft/s" in words


def test_the_same_queries_for_many_birds(cast, shed):
    def grow():
        for number in range(60):
            bird = Bird.objects.create(flock=cast.flock, name=f"Hen {number}")
            Stay.objects.create(flock=cast.flock, house=shed, bird=bird)
            for month in (1, 2, 3):
                Weighing.objects.create(
                    flock=cast.flock, bird=bird, on=dt.date(2026, month, 1), grams=2500
                )
        for number in range(8):
            put(shed, f"Rail {number}", "rail", height_cm=20 + number)

    same_queries(cast.clients.owner, address(shed), grow=grow)


def test_a_what_if_asks_as_often_for_many_birds(cast, shed):
    def grow():
        for number in range(60):
            bird = Bird.objects.create(flock=cast.flock, name=f"Hen {number}")
            Stay.objects.create(flock=cast.flock, house=shed, bird=bird)

    same_queries(cast.clients.owner, address(shed, "what_if"), grow=grow)


# What if


def field(house, name, letter):
    return f"{letter}-{Feature.objects.get(house=house, name=name).pk.hex}"


def test_a_scratch_copy_shows_and_keeps_nothing(cast, shed):
    before = list(FeatureState.objects.values_list("pk", "height_cm"))
    words = page(cast.clients.viewer, address(shed, "what_if"), **{field(shed, "Bar", "h"): "80"})
    assert "Bar 100 → 80 cm" in words
    assert "Largest drop: 55 cm → 45 cm." in words
    # Mace: 3.18 × 9.80665 × 0.45 = 14.03 J after 17.15 J.
    assert "17.2 J 14.0 J −18%" in words
    assert list(FeatureState.objects.values_list("pk", "height_cm")) == before
    assert not HousingChange.objects.exists()
    assert "Save as a plan" not in words
    assert "Save as a plan" in page(
        cast.clients.keeper, address(shed, "what_if"), **{field(shed, "Bar", "h"): "80"}
    )


def test_a_step_put_in_or_taken_away_and_bedding(cast, shed):
    url = address(shed, "what_if")
    client = cast.clients.keeper
    words = page(client, url, step="72")
    assert "New step added at 72 cm" in words
    assert "Largest drop: 55 cm → 45 cm." in words
    words = page(client, url, **{field(shed, "Step", "x"): "on"})
    assert "Step taken away" in words
    assert "Largest drop: 55 cm → 100 cm." in words
    assert "100 cm down to floor, over 135 cm: 37°" in words
    words = page(client, url, **{field(shed, "Yard", "d"): "3"})
    assert "Yard bedding depth 10 → 3 cm" in words
    assert "new Less than about 5 cm" in words


def test_what_cannot_be_read_is_said_and_changes_nothing(cast, shed):
    words = page(cast.clients.keeper, address(shed, "what_if"), **{field(shed, "Bar", "h"): "tall"})
    assert "Bar: “tall” is not a length" in words
    assert "100 cm" in words
    assert "Save as a plan" not in words
    answer = cast.clients.keeper.post(address(shed, "what_if"), {field(shed, "Bar", "h"): "tall"})
    assert answer.status_code == 302
    assert not HousingChange.objects.exists()


def test_the_limit_can_be_an_energy(cast, shed):
    url = address(shed, "what_if")
    words = page(cast.clients.keeper, url, by="energy", energy="18")
    # By her last weighing Dill has 3.6 kg: 19.42 J, over it; Mace's 17.15 J are under it. 18 J are
    # 50.99 cm for 3.6 kg, so the bar has to come down from 100 to 95 over the step at 45.
    assert "Dill lands harder than your limit (18.0 J)." in words
    assert "Lower Bar by 5 cm, to 95 cm" in words
    words = page(cast.clients.keeper, url, by="energy", energy="much")
    assert "Enter a number, like 12" in words


def test_who_has_no_weight_counts_against_a_drop_and_not_against_an_energy(cast, shed):
    url = address(shed, "what_if")
    words = page(cast.clients.keeper, url, **{field(shed, "Bar", "h"): "80"})
    assert "No bird drops farther than your limit (50 cm)." in words
    # Many a hen leaves the steps out.
    assert "as long as they come down by the steps: straight down it is 80 cm." in words
    # Her drops stand where the others have energies: 55 cm, then 45.
    assert "Sorrel no weight: drop 55 cm 45 cm −18%" in words
    words = page(cast.clients.keeper, url, by="energy", energy="18")
    assert "Not counted (no weight): Sorrel" in words
    assert "weigh her Bar 55 cm 43° not known 3.3 m/s" in page(cast.clients.keeper, address(shed))


def test_a_house_where_nobody_has_a_weight_can_be_tried_with_a_drop(cast, shed):
    Stay.objects.exclude(bird__name="Sorrel").delete()
    url = address(shed, "what_if")
    assert "Sorrel drops farther than your limit (50 cm)." in page(cast.clients.keeper, url)
    assert "choose a drop" in page(cast.clients.keeper, url, by="energy", energy="18")


def test_the_limit_of_a_flock_in_inches_is_fifty_centimetres_and_no_less(cast, shed):
    """50 cm are 19.685 in, shown as 19 5/8, which would be 49.85 cm."""
    cast.flock.units = "imperial"
    cast.flock.save()
    FeatureState.objects.filter(feature__name="Bar").update(height_cm=50)
    FeatureState.objects.filter(feature__name="Step").update(height_cm=None)
    url = address(shed, "what_if")
    answer = cast.clients.keeper.get(url)
    for form in (answer.context["form"], answer.context["limit_form"]):
        assert "19 5/8" in form.as_p()
    assert "No bird drops farther than your limit (19 5/8 in)." in page(cast.clients.keeper, url)
    # As the page sends every field when another was changed, and as what was typed otherwise.
    sent = {field(shed, "Bar", "h"): "19 5/8", "by": "drop", "drop": "19 5/8", "step": ""}
    assert "No bird drops farther" in page(cast.clients.keeper, url, **sent)
    assert "All 3 birds drop farther" in page(cast.clients.keeper, url, **sent | {"drop": "19 1/2"})


@pytest.mark.parametrize(("flock_units", "unit"), [("metric", "cm"), ("imperial", "inches")])
def test_the_labels_of_a_scratch_copy_name_the_unit_once(cast, shed, flock_units, unit):
    cast.flock.units = flock_units
    cast.flock.save()
    form = cast.clients.keeper.get(address(shed, "what_if")).context["form"]
    labels = {field.label for field in form.fields.values()}
    assert labels == {
        *(f"{name} in {unit}" for name in ("Height", "From the left wall", "Level distance")),
        f"Depth in {unit}",
        *("Bedding", "Dampness", "Taken away", "In front of"),
    }


def test_in_inches_a_suggestion_does_what_it_says_when_it_is_tried(cast, shed):
    cast.flock.units = "imperial"
    cast.flock.save()
    for height in (44.4, 44.6, 45.0):
        FeatureState.objects.filter(feature__name="Step").update(height_cm=height)
        answer = cast.clients.keeper.get(address(shed, "what_if"))
        for one in answer.context["advice"]:
            tried = page(cast.clients.keeper, f"{address(shed, 'what_if')}?{one.query}")
            assert ("No bird drops farther" in tried) == ("no bird is over" in one.effect)
    assert "in half inches" in page(cast.clients.keeper, address(shed, "what_if"))


def test_a_suggestion_says_which_published_figure_is_lower(cast, shed):
    """18 in (46 cm) for the lowest roost: one handbook's author, as cited."""
    FeatureState.objects.filter(feature__name="Step").update(height_cm=None)
    words = page(cast.clients.keeper, address(shed, "what_if"))
    assert (
        "Lower Bar by 50 cm, to 50 cm then no bird is over your limit "
        "Still marked then: the way down is steeper than 34°, that is 50 cm (20 in) down over "
        "75 cm (30 in); the lowest roost is higher than 46 cm (18 in)."
    ) in words
    words = page(cast.clients.keeper, address(shed, "what_if"), drop="40")
    assert "Lower Bar by 60 cm, to 40 cm then no bird is over your limit" in words
    assert "Still marked then: the lowest roost" not in words.split("to 40 cm")[1].split("try")[0]


def test_what_a_suggestion_leaves_marked_is_what_its_trial_marks(cast, shed):
    FeatureState.objects.filter(feature__name="Bar").update(run_cm=40)
    answer = cast.clients.keeper.get(address(shed, "what_if"))
    assert len(answer.context["advice"]) > 1
    for one in answer.context["advice"]:
        tried = cast.clients.keeper.get(f"{address(shed, 'what_if')}?{one.query}").context
        marked = {each.rule for each in tried["found"] if each.rule.key in flags.OF_HEIGHTS}
        assert all(rule.gist in one.still for rule in marked) and bool(marked) == bool(one.still)


def test_a_way_down_that_became_less_steep_is_no_new_mark(cast, shed):
    FeatureState.objects.filter(feature__name="Step").update(height_cm=None)
    bar = FeatureState.objects.get(feature__name="Bar")
    FeatureState.objects.filter(pk=bar.pk).update(run_cm=bar.height_cm)
    name = f"h-{bar.feature_id.hex}"
    milder = {name: str(0.8 * bar.height_cm)}
    then = cast.clients.keeper.get(address(shed, "what_if"), milder).context
    assert "steep-34" in {each.rule.key for each in then["found"]}
    assert "steep-34" not in then["new_keys"]
    FeatureState.objects.filter(pk=bar.pk).update(run_cm=2 * bar.height_cm)
    then = cast.clients.keeper.get(address(shed, "what_if"), {name: str(2 * bar.height_cm)}).context
    assert then["new_keys"] & {"steep-34", "steep-45"}


def test_a_suggestion_can_be_tried(cast, shed):
    answer = cast.clients.keeper.get(address(shed, "what_if"))
    links = re.findall(r'href="(/f/[^"]+/what-if/\?[^"]+)"', answer.content.decode())
    assert links
    words = page(cast.clients.keeper, links[0].replace("&amp;", "&"))
    assert "No bird drops farther than your limit (50 cm)." in words


def test_htmx_gets_the_results_alone(cast, shed):
    answer = cast.clients.keeper.get(
        address(shed, "what_if"), {field(shed, "Bar", "h"): "80"}, headers={"HX-Request": "true"}
    )
    text = answer.content.decode()
    assert 'id="scratch-drawing"' in text
    assert 'hx-swap-oob="true"' in text
    assert "<html" not in text


def test_the_hardest_landing_is_said_once_above_the_drawing(cast, shed):
    """Bar 100 over the step at 45: 55 cm over 60; atan(55/60) = 42.5°."""
    for view in ("house", "landing"):
        words = page(cast.clients.viewer, address(shed, view))
        assert words.count("Hardest landing: Bar to Step, 55 cm, 43°") == 1


def test_what_if_begins_with_what_is_so_and_for_which_birds(cast, shed):
    answer = cast.clients.viewer.get(address(shed, "what_if")).content.decode()
    said = "Largest drop: 55 cm.\nAll 3 birds drop farther than your limit (50 cm)."
    assert answer.index(said) < answer.index("<svg") < answer.index("Which change helps most")


def test_the_heaviest_of_many_birds_are_named_first(cast, shed):
    for number, grams in enumerate((3000, 3900, 3300)):
        bird = Bird.objects.create(flock=cast.flock, name=f"Hen {number}")
        Stay.objects.create(flock=cast.flock, house=shed, bird=bird)
        Weighing.objects.create(flock=cast.flock, bird=bird, on=DAY, grams=grams)
    # 0.55 m × 9.80665: 3.0 kg land with 16.2 J, 3.9 with 21.0, 3.3 with 17.8; Dill's 3.6 with 19.4,
    # Mace's 3.18 with 17.2; Sorrel has no weight.
    limits = {
        "17": "Hen 1, Dill, Hen 2 and Mace land harder than your limit (17.0 J).",
        "1": "All 5 birds land harder than your limit (1.0 J).",
    }
    for energy, said in limits.items():
        words = page(cast.clients.keeper, address(shed, "what_if"), by="energy", energy=energy)
        assert said in words


def test_the_house_is_drawn_on_its_page_and_small_in_the_list(cast, shed):
    """Nothing moves when it comes later, for it is there at once; each mark leads to its row."""
    page_ = cast.clients.viewer.get(address(shed, "house")).content.decode()
    assert page_.count('<svg class="elevation narrow"') == 1
    assert f"{address(shed)}?on=" in page_ and "#place-1" in page_
    listed = reverse("housing:list", args=[shed.flock_id])
    assert '<svg class="elevation small"' in cast.clients.viewer.get(listed).content.decode()


def test_a_plan_is_kept_and_the_house_stays_as_it_was(cast, shed):
    answer = cast.clients.keeper.post(
        address(shed, "what_if"),
        {field(shed, "Bar", "h"): "80", "step": "20", "note": "Before winter."},
    )
    assert answer.headers["Location"] == reverse("housing:house", args=[shed.flock_id, shed.pk])
    plan = HousingChange.objects.get()
    assert (plan.planned, plan.on, plan.note, plan.keeper) == (
        *(True, None, "Before winter."),
        cast.keeper,
    )
    states = {
        state.feature.name if state.feature else state.name: state
        for state in plan.planned_states.select_related("feature")
    }
    # The old step now leads to the new one, which stands half-way: 37.5 cm of its 75.
    assert {name: (one.kind, one.height_cm, one.run_cm) for name, one in states.items()} == {
        "Bar": ("", 80, 60),
        "Step": ("", 45, 37.5),
        "New step": ("step", 20, 37.5),
    }
    assert (states["Bar"].width_mm, states["Bar"].edge) == (70, "rounded")
    assert record_of(shed).on(DAY)[0][1].height_cm == 100


def test_a_sketch_becomes_the_change_of_a_day(cast, shed):
    client, url = cast.clients.keeper, address(shed, "what_if")
    sketch = {field(shed, "Bar", "h"): "80", "step": "20"}
    answer = client.post(url, sketch | {"done": "1", "on": "2026-02-20", "note": "Sunday."})
    assert answer.headers["Location"] == address(shed, "house")
    told = HousingChange.objects.get()
    assert (told.planned, str(told.on), told.note) == (False, "2026-02-20", "Sunday.")
    heights = {feature.name: state.height_cm for feature, state in record_of(shed).on(DAY)}
    assert (heights["Bar"], heights["New step"]) == (80, 20)
    # A day to come is refused, and what was sketched is sketched still.
    answer = client.post(url, {field(shed, "Bar", "h"): "70", "done": "1", "on": "2999-01-01"})
    assert f"{field(shed, 'Bar', 'h')}=70" in answer.headers["Location"]
    assert "in the future" in client.get(answer.headers["Location"]).content.decode()
    assert HousingChange.objects.count() == 1


def test_a_thing_moved_in_a_sketch_leaves_the_others_where_they_are_drawn(cast, shed):
    """The step's run of 75 puts it 75 before the landing, the bar 60 behind it: 60 apart. Moved 20
    away from it the bar is 80 from it, and falls at atan(55/80) = 34.5°."""
    url = address(shed, "what_if")
    form = cast.clients.keeper.get(url).context["form"]
    key = field(shed, "Bar", "a")
    words = page(cast.clients.keeper, url, **{key: str(form.initial[key] - 20)})
    assert "55 cm down to Step, over 80 cm: 35°" in words


def test_an_unchanged_house_is_no_plan(cast, shed):
    answer = cast.clients.keeper.post(address(shed, "what_if"), {}, follow=True)
    assert "This is the house as it is" in answer.content.decode()
    assert not HousingChange.objects.exists()


def test_a_name_from_a_keeper_stays_text(cast, shed):
    put(shed, "<script>alert(1)</script>", "roost", height_cm=70)
    for view in ("landing", "what_if"):
        assert "<script>alert" not in cast.clients.owner.get(address(shed, view)).content.decode()
