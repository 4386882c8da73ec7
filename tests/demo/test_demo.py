"""The demo flock: that its truth is what its README says, and that it can be loaded once only.

The model is the source of the figures here; the comparisons of rates are done by statsmodels.
"""

import csv
import datetime as dt
import hashlib
import io
import json
from functools import cache
from itertools import pairwise

import pytest
from django.core.management.base import OutputWrapper
from PIL import Image
from statsmodels.stats.rates import confint_poisson_2indep

from flockcare.analysis.onset import fit_rates
from flockcare.birds.models import Bird, BirdState
from flockcare.care.due import DRESSING_DAYS
from flockcare.care.models import CarePlan, CareStep, StepKind, TaskKind
from flockcare.care.situation import worked_out
from flockcare.care.tasks import tasks_due
from flockcare.demo import load, photos
from flockcare.demo.cast import CART_SHED, HENS, ORCHARD
from flockcare.demo.folder import tables, write_records
from flockcare.demo.management.commands.load_demo import Progress
from flockcare.demo.model import FOUND, IN_CARE, OVERDUE, hazard, live
from flockcare.exchange.services import apply, check, export, read_folder
from flockcare.feet.models import Check, FootFinding
from flockcare.housing.early import fewer_eggs
from flockcare.housing.models import FeatureState, House
from flockcare.people.models import Flock, Keeper, Membership
from flockcare.people.services import add_keeper
from flockcare.photos.faces import faces_of
from flockcare.photos.measuring import named_by
from flockcare.photos.models import Measurement, Photo
from flockcare.photos.scale import read_card
from tests.demo.demo_figures import (
    CART,
    DAY,
    new_sores_and_sound_days,
    notes_ratio,
    pairs_at_risk,
)
from tests.exchange.exchanges import csv_files

TODAY = dt.date(2026, 5, 20)
SEEDS = range(100, 130)
HARD = 25  # joules at landing


@cache
def _lives():
    return [live(TODAY, seed) for seed in SEEDS]


# --- The truth


def _is_hard_lander(hen):
    return hen.house == CART_SHED and hen.energy >= HARD


def _all_lives(hens):
    """The same of all lives together."""
    both = [new_sores_and_sound_days(history, hens) for history in _lives()]
    counts, days = zip(*both, strict=True)
    return [sum(column) for column in zip(*counts, strict=True)], [
        sum(column) for column in zip(*days, strict=True)
    ]


def _rate_ratio(hens):
    """99 % limits of the true rate after to the true rate before."""
    counts, days = _all_lives(hens)
    return confint_poisson_2indep(
        *(counts[1], days[1], counts[0], days[0]), method="score", compare="ratio", alpha=0.01
    )


def test_draining_helps_hard_landers_of_the_cart_shed_greatly():
    _, high = _rate_ratio([hen for hen in HENS if _is_hard_lander(hen)])
    assert high < 0.4


def test_draining_changes_nothing_in_the_orchard_house():
    low, high = _rate_ratio([hen for hen in HENS if hen.house == ORCHARD])
    assert low < 1 < high
    assert high / low < 2.5, "too few lives to tell"


def test_the_chance_of_a_new_sore_is_as_the_readme_says():
    history = live(TODAY)
    nutmeg, fennel = HENS[0], HENS[8]
    winter = history.drained - dt.timedelta(days=250)
    # 4.45 kg from 1.30 m: m g h = 4.45 × 9.80665 × 1.30 = 56.73 J.
    assert nutmeg.energy == pytest.approx(56.73, abs=0.01)
    wet = 0.0006 * (1 + (56.73 / 10) ** 2)
    assert winter.month == 2 and hazard(history, nutmeg, winter) == pytest.approx(wet, rel=1e-3)
    after = 0.0006 * (1 + 0.05 * (56.73 / 10) ** 2)
    assert hazard(history, nutmeg, history.drained) == pytest.approx(after, rel=1e-3)
    assert hazard(history, fennel, winter) == hazard(history, fennel, history.drained)


# --- What the records say


def test_counting_notes_misleads_and_counting_watched_time_does_not():
    notes = [notes_ratio(history) for history in _lives()]
    assert sum(ratio > 1 for ratio in notes) >= 0.85 * len(notes)
    assert sorted(notes)[len(notes) // 2] > 1.3

    counts, days = _all_lives(CART)
    truth = (counts[1] / days[1]) / (counts[0] / days[0])
    fits = [
        fit_rates(list(pairs_at_risk(history)), cuts=(history.drained.toordinal(),)).ratio()
        for history in _lives()
    ]
    assert sum(fit.value < 0.75 for fit in fits) >= 0.9 * len(fits)
    assert not any(fit.low > 1 for fit in fits)
    assert sum(fit.low <= truth <= fit.high for fit in fits) >= 0.85 * len(fits)


def test_looks_become_frequent_before_the_draining():
    history = live(TODAY)
    before = {look.on for look in history.looks if look.on < history.often_from}
    after = {look.on for look in history.looks if look.on >= history.often_from}
    assert history.often_from < history.drained
    assert len(after) > 2 * len(before)


@pytest.mark.parametrize(
    "today",
    [dt.date(2026, 1, 1), dt.date(2028, 2, 29), dt.date(2027, 10, 14), dt.date(2026, 12, 31)],
)
def test_whatever_the_day_the_history_ends_on_it(today):
    history = live(today)
    assert history.drained.month == 10
    assert min(history.drained - history.start, today - history.drained) > 360 * DAY
    days = [look.on for look in history.looks] + [step.on for step in history.steps]
    assert history.start <= min(days) and max(days) < today
    assert all(look.on < history.gone(look.hen) for look in history.looks)
    hens_by_house = {history.house(hen, today) for hen in HENS}
    assert hens_by_house == {CART_SHED, ORCHARD}

    due = [step for step in history.steps if step.hen.name == IN_CARE[0] and step.next_due == today]
    assert [(step.foot, step.kind) for step in due] == [(IN_CARE[1], "dressing changed")]
    hers = [look for look in history.looks if look.hen.name == OVERDUE[0]]
    last = max(hers, key=lambda look: look.on)
    assert OVERDUE[1] in last.sores and (today - last.on).days > 7
    assert sorted(history.left) == ["Marjoram", "Thyme"]


def test_what_is_wrapped_is_dressed_every_day_as_the_app_says():
    history = live(TODAY)
    changed = [step for step in history.steps if step.kind == "dressing changed"]
    assert len(changed) > 100
    assert {step.next_due - step.on for step in changed} == {dt.timedelta(DRESSING_DAYS)}
    plans = tables(history)["plans.csv"]
    assert {plan["every_days"] for plan in plans} == {str(DRESSING_DAYS)}


def test_one_seed_gives_one_history():
    assert tables(live(TODAY)) == tables(live(TODAY))
    assert tables(live(TODAY)) != tables(live(TODAY, seed=1))


# --- Loading

# What is brought in is the same as in the tests beside these.
ON_ONE_DATABASE = pytest.mark.apart


@pytest.fixture
def demo(db, settings, tmp_path, monkeypatch):
    settings.DEMO, settings.DEMO_PASSWORD = True, "barley barley barley"
    settings.DATA_DIR = tmp_path / "data"
    monkeypatch.setattr(photos, "PHOTOS", 5)
    monkeypatch.setattr(photos, "TO_SORT", 1)
    return settings


def test_the_demo_is_loaded_once_and_comes_back_in_another_installation(demo, tmp_path):
    flock = load.load_demo(TODAY)
    assert Bird.objects.filter(flock=flock).count() == 16
    assert Bird.objects.filter(flock=flock).present().count() == 14
    roles = set(Membership.objects.values_list("keeper__sign_in_name", "role"))
    assert roles == {("ros", "owner"), ("ted", "keeper"), ("ines", "keeper")}
    assert Keeper.objects.get(sign_in_name="ros").check_password(demo.DEMO_PASSWORD)
    assert not Check.objects.filter(keeper=None).exists()
    assert CareStep.objects.filter(next_due=TODAY).exists()
    drained = FeatureState.objects.get(feature__name="Yard in front", bedding="wood chip")
    assert drained.since.month == 10

    counts = [model.objects.count() for model in (Check, FootFinding, Photo, Keeper, Flock)]
    assert load.load_demo(TODAY + DAY) == flock
    assert counts == [model.objects.count() for model in (Check, FootFinding, Photo, Keeper, Flock)]

    export(flock, tmp_path / "first.zip")
    flock.delete()
    Keeper.objects.all().delete()
    brought = Flock.objects.create(name="Brought")
    now = dt.datetime.combine(TODAY, dt.time(21), tzinfo=flock.zone)
    apply(check(read_folder(tmp_path / "first.zip"), brought, now=now))
    export(brought, tmp_path / "second.zip")
    assert (tmp_path / "first.zip").read_bytes() == (tmp_path / "second.zip").read_bytes()
    assert counts[:3] == [model.objects.count() for model in (Check, FootFinding, Photo)]
    assert not Keeper.objects.exists()


def _assert_vets_follow(flock):
    """Of the last year, by what the app itself says on the evening of each check of a sore foot."""
    last_year = TODAY - 365 * DAY
    sore = Check.objects.filter(flock=flock, findings__score__gt=0).distinct()
    seen = {(look.at.astimezone(flock.zone).date(), look.bird_id) for look in sore}
    seen = {(on, bird) for on, bird in seen if on > last_year}
    visits = {(step.bird_id, step.on) for step in CareStep.objects.filter(kind=StepKind.VET)}
    called, alone = set(), set()
    for on in {on for on, _ in seen}:
        birds = worked_out(flock, on).birds
        for bird in {bird for day, bird in seen if day == on and bird in birds}:
            if birds[bird].advice.is_urgent:
                called.add((on, bird))
                if not any((bird, on + days * DAY) in visits for days in range(4)):
                    alone.add(on)
    assert len(called) > 5
    # Found last night: the call is for today.
    assert alone <= {TODAY - DAY}


def test_the_demo_shows_everything_and_follows_the_app(demo, monkeypatch):
    monkeypatch.setattr(photos, "PHOTOS", 1)
    flock = load.load_demo(TODAY)
    birds = {bird.name: bird for bird in Bird.objects.filter(flock=flock)}
    stands = worked_out(flock, TODAY).birds
    saffron, fennel = (stands[birds[name].pk] for name in (IN_CARE[0], FOUND[0]))
    assert not saffron.advice.is_urgent and saffron.plans
    assert saffron.eggs.state == "withdrawn"
    assert {due.on for due in saffron.feet["right"].due if due.plan} == {TODAY}
    assert not any(due.on < TODAY for due in saffron.feet["right"].due)
    assert fennel.advice.is_urgent
    assert fewer_eggs(flock, TODAY) == []
    for house in House.objects.filter(flock=flock):
        assert house.shape and house.floor_cm2
        assert house.egg_counts.count() > 300 < 7 * house.wetness.count()
    # Due today in one house; the other was mucked out by somebody, as an event.
    due = {(task.kind, task.house.name) for task in tasks_due(flock, TODAY)}
    assert due == {(TaskKind.MUCK_OUT, CART_SHED), (TaskKind.TOP_UP, ORCHARD)}
    assert (
        BirdState.objects.filter(flock=flock, until=None).count() == 0 < BirdState.objects.count()
    )
    faces = faces_of(flock)
    assert 0 < sum(not face.url for face in faces.values()) < len(faces) / 2
    assert CarePlan.objects.get(bird=birds[IN_CARE[0]]).turns
    _assert_vets_follow(flock)


def test_progress_is_one_line_on_a_terminal_and_a_line_a_step_elsewhere():
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    said = {}
    for out in (Terminal(), io.StringIO()):
        progress = Progress(OutputWrapper(out))
        progress.tell("Three years of records")
        for number in range(3):
            progress.tell("Painting photos", number, 3)
        progress.end()
        said[out.isatty()] = out.getvalue()
    assert said[False] == "Three years of records …\nPainting photos …\n"
    assert "\n" not in said[True] and said[True].endswith("\r")
    assert "\rPainting photos: #############....... 3 of 3 …" in said[True]
    shown = said[True].split("\r")[1:-1]
    # Each covers what stood there before.
    assert len(shown) == 5 and all(len(one) <= len(next_) for one, next_ in pairwise(shown[:2]))
    assert shown[-1].strip() == "" and len(shown[-1]) == len(shown[-2].rstrip())


@ON_ONE_DATABASE
def test_the_photos_show_what_their_truth_says_and_are_measured(demo, monkeypatch):
    """The true areas are known, since the pictures are painted."""
    monkeypatch.setattr(photos, "PHOTOS", 9)
    load.load_demo(TODAY)
    folder = demo.DATA_DIR / "demo-records"
    truth = json.loads((folder / photos.TRUTH).read_text())
    assert len(truth) == 9
    of_feet = Photo.objects.exclude(bird=None).exclude(foot="")
    assert Photo.objects.filter(bird=None).count() == 1
    assert all(photo.checks.count() == 1 for photo in of_feet)
    with_card = [fact for fact in truth if fact["card"]]
    assert len(with_card) >= 5
    for fact in with_card:
        view = read_card(Image.open(folder / fact["file"]))
        assert named_by(view.code) == (str(Bird.objects.get(name=fact["bird"]).pk), "")
    measured = {
        measurement.photo.sha256: measurement
        for measurement in Measurement.objects.select_related("photo")
    }
    inside = 0
    for fact in with_card:
        sent = hashlib.sha256((folder / fact["file"]).read_bytes()).hexdigest()
        if found := measured.get(sent):
            off = abs(found.area_mm2 - fact["area_mm2"])
            inside += off <= found.relative_area_error * found.area_mm2
    assert len(measured) >= 0.8 * len(with_card)
    assert inside >= 0.8 * len(measured)


@ON_ONE_DATABASE
def test_a_demo_that_was_cut_off_is_made_anew(demo, monkeypatch):
    def stop(*args, **options):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(load, "write_photos", stop)
        with pytest.raises(KeyboardInterrupt):
            load.load_demo(TODAY)
    assert Check.objects.exists() and not Photo.objects.exists()
    flock = load.load_demo(TODAY + 20 * DAY)
    faces = Photo.objects.exclude(face_since=None)
    assert Flock.objects.get() == flock and Photo.objects.count() == 5 + faces.count()
    assert Bird.objects.count() == 16 and Keeper.objects.count() == 3


def test_the_demo_stays_out_of_real_installations(demo):
    demo.DEMO = False
    with pytest.raises(load.NotADemo, match="FLOCKCARE_DEMO=1"):
        load.load_demo(TODAY)
    demo.DEMO = True
    add_keeper(name="Somebody", sign_in_name="somebody", password="straw and oats 7")
    with pytest.raises(load.NotADemo, match="Somebody else"):
        load.load_demo(TODAY)
    assert Keeper.objects.count() == 1 and not Flock.objects.exists()


def test_the_records_come_back_as_the_model_wrote_them(db, tmp_path):
    """Every cell that the model fills in reads the same after import and export."""
    history = live(TODAY)
    write_records(history, tmp_path / "in")
    flock = Flock.objects.create(name="Thistle Yard", time_zone="Europe/London")
    now = dt.datetime.combine(TODAY, dt.time(12), tzinfo=flock.zone)
    apply(check(read_folder(tmp_path / "in"), flock, now=now))
    export(flock, tmp_path / "out")
    written, out = csv_files(tmp_path / "in"), csv_files(tmp_path / "out")
    for name in ("weights.csv", "housing.csv", "stays.csv", "care.csv", "checks.csv"):
        before, after = (
            list(csv.reader(io.StringIO(files[name].decode()))) for files in (written, out)
        )
        filled = [place for place, cells in enumerate(zip(*before[1:], strict=True)) if any(cells)]
        # A width like 12.0 comes back as 12.
        before, after = (
            sorted([row[place].removesuffix(".0") for place in filled] for row in rows)
            for rows in (before, after)
        )
        assert before == after
        assert len(before) > 10 and len(filled) > 2
