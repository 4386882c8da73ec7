"""Everything of a flock leaves and comes back: nothing that a keeper recorded is left behind."""

import hashlib
import io
import json
import zipfile
from datetime import UTC, date, datetime, timedelta

import frictionless
import pytest
from django.apps import apps
from django.core.files.storage import default_storage
from django.db import models
from django.urls import reverse
from PIL import Image

from flockcare.birds.models import Bird, BirdState, Weighing
from flockcare.birds.services import edit_bird
from flockcare.care import services as care
from flockcare.care.models import CarePlan, CareStep, Task, TaskDone, VetContact
from flockcare.exchange.originals import is_bare
from flockcare.exchange.services import apply, check, export, read_folder
from flockcare.exchange.tables import FILES
from flockcare.exchange.tables.columns import Kind
from flockcare.feet.models import FOOT_SIGNS, Check, FootFinding, Round, RoundBird
from flockcare.feet.services import delete_check
from flockcare.housing.models import (
    EggCount,
    Event,
    Feature,
    House,
    HousingChange,
    PlannedState,
    Walk,
    Wetness,
)
from flockcare.housing.services import delete_house
from flockcare.pages.kinds import KINDS
from flockcare.people import restoring
from flockcare.people.models import (
    Byline,
    Flock,
    FlockRecord,
    Keeper,
    Membership,
    Revision,
    Role,
)
from flockcare.people.services import change_flock
from flockcare.photos.faces import set_face
from flockcare.photos.models import Measurement, Photo
from flockcare.photos.services import add_photo
from flockcare.trends.models import WindowChoice
from tests.exchange.exchanges import NOW, bring_in, csv_files, problems_of, rows_of
from tests.exchange.folders import picture, write_folder, write_zip

pytestmark = pytest.mark.django_db
AT = datetime(2024, 3, 1, 17, 5, 9, 123456, tzinfo=UTC)


@pytest.fixture
def whole(cast, birds):
    """The flock of the cast with a record of every kind, and a history."""
    flock, keeper, owner = cast.flock, cast.keeper, cast.owner
    dill, mace = birds["Dill"], birds["Mace"]
    flock.units, flock.round_days, flock.recheck_days = "imperial", 10, 5
    flock.save()
    Weighing.objects.create(flock=flock, bird=dill, on=date(2024, 1, 5), grams=2000, keeper=keeper)
    for kind, until in (("moulting", date(2024, 2, 1)), ("in lay", None)):
        BirdState.objects.create(
            flock=flock, bird=dill, kind=kind, since=date(2024, 1, 5), until=until, keeper=keeper
        )
    house = House.objects.create(flock=flock, name="Ark")
    bar = Feature.objects.create(flock=flock, house=house, name="Bar", kind="roost")
    for number, note in enumerate(("=lower it", "=lower it", "")):
        plan = HousingChange.objects.create(
            flock=flock,
            house=house,
            planned=True,
            kind="height",
            note=note,
            keeper=keeper,
            on=date(2027, 1, 1) if number else None,
        )
        if note:
            PlannedState.objects.create(flock=flock, change=plan, feature=bar, height_cm=60)
            PlannedState.objects.create(
                flock=flock, change=plan, name="Step", kind="step", height_cm=30, note="-wide"
            )
    Walk.objects.create(flock=flock, house=house, on=date(2024, 1, 5), keeper=owner)
    for level, on in (("wet", date(2024, 1, 5)), ("dry", date(2024, 1, 12))):
        Wetness.objects.create(flock=flock, house=house, on=on, level=level, keeper=keeper)
    EggCount.objects.create(flock=flock, house=house, on=date(2024, 1, 5), eggs=0, keeper=keeper)
    for kind, more in (
        ("bedding", {"house": house}),
        ("bedding", {"note": "=all of it"}),
        ("wet spell", {"until": date(2024, 1, 20)}),
        ("other", {"house": house, "what": "=new cat"}),
    ):
        Event.objects.create(flock=flock, on=date(2024, 1, 5), kind=kind, keeper=owner, **more)
    WindowChoice.objects.create(
        flock=flock, house=house, on=date(2023, 1, 1), window_days=90, keeper=owner, chosen_at=AT
    )
    looks = [
        Check.objects.create(flock=flock, bird=dill, at=AT, keeper=keeper, received_at=AT, note=n)
        for n in ("first", "second")
    ]
    FootFinding.objects.create(check_record=looks[1], foot="left", score=1)
    step = CareStep.objects.create(
        flock=flock,
        bird=dill,
        foot="left",
        kind="soaked",
        at=AT,
        keeper=keeper,
        next_due=date(2024, 3, 2),
    )
    vet = VetContact.objects.create(
        flock=flock, name="Mill Lane Surgery", telephone="+44 1632 960001", is_usual=True
    )
    CareStep.objects.create(
        flock=flock,
        bird=dill,
        foot="left",
        kind="vet",
        at=AT,
        contact=vet,
        medicine_given="yes",
        egg_days=7,
        days_from="vet",
        decided_by="vet",
        question="=why",
        found="Swollen.",
        plan="Soak.\nDress.",
        plan_until=date(2024, 4, 1),
        laboratory="Not yet.",
        batch="B7",
        quantity="2 ml",
        past=True,
    )
    CareStep.objects.create(
        flock=flock, bird=mace, kind="ointment", at=AT, no_medicine=True, given_to="Ark"
    )
    CareStep.objects.create(
        flock=flock,
        bird=mace,
        kind="vaccine",
        at=AT,
        product="=drops",
        supplier="=Mill Lane Surgery",
        supplied_on=date(2024, 1, 2),
        supplied_amount="1 vial",
        prescribed_by="Dr. Reed, 01632 960001",
    )
    for kind, is_on, days in (("muck out", True, 7), ("new bird", False, None)):
        Task.objects.create(
            flock=flock, kind=kind, is_on=is_on, every_days=days, since=date(2024, 1, 1)
        )
    for kind, where in (("muck out", {"house": house}), ("trim nails", {"bird": mace})):
        TaskDone.objects.create(
            flock=flock, kind=kind, on=date(2024, 1, 9), keeper=keeper, logged_at=AT, **where
        )
    CarePlan.objects.create(
        flock=flock,
        bird=dill,
        foot="left",
        parts=[
            {"kind": "soaked", "product": "=salt", "amount": "30"},
            {"kind": "dressing changed", "product": "", "amount": None},
        ],
        every_days=2,
        since=date(2024, 3, 1),
        turns=[[str(keeper.pk), ""], ["", "Ines"]],
        put_off="skipped",
        put_off_from=date(2024, 3, 3),
        put_off_to=date(2024, 3, 5),
        stopped_on=date(2024, 3, 6),
        stopped_because="Healed.",
        keeper=keeper,
        logged_at=AT,
    )
    care.claim(step=step, by=owner, now=AT + timedelta(hours=1))
    dropped = CareStep.objects.create(
        flock=flock, bird=mace, kind="watched", at=AT, dropped_because="gone", dropped_by=owner
    )
    ended = Round.objects.create(
        flock=flock, started_at=AT, started_by=owner, ended_at=AT + timedelta(days=1)
    )
    RoundBird.objects.create(round=ended, bird=dill, place=0, check_record=looks[1])
    RoundBird.objects.create(round=ended, bird=mace, place=1, passed_over=True)
    Round.objects.create(flock=flock, started_at=AT + timedelta(days=9), started_by=keeper)
    of_house = {"flock": flock, "keeper": keeper, "upload": io.BytesIO(picture("red"))}
    photo, _ = add_photo(**of_house, name="a.jpg", now=AT)
    Photo.objects.filter(pk=photo.pk).update(of_house=True)
    Event.objects.get(what="=new cat").photos.add(photo)
    face, _ = add_photo(
        flock=flock, keeper=owner, upload=io.BytesIO(picture("blue")), name="b.jpg", bird=dill
    )
    set_face(photo=face, bird=dill, by=keeper, now=AT)
    # What was before.
    dill.name = "Dillweed"
    edit_bird(bird=dill, breed_name="Sussex", by=keeper)
    dill.traits = "limps"
    edit_bird(bird=dill, breed_name="Sussex", by=owner)
    gone = Check.objects.create(flock=flock, bird=mace, at=AT, keeper=keeper, received_at=AT)
    delete_check(check=gone, keeper=owner)
    shed = House.objects.create(flock=flock, name="Shed")
    Feature.objects.create(flock=flock, house=shed, name="Rail", kind="roost")
    delete_house(house=shed, by=keeper)
    dropped.note = "x"
    flock.round_days = 12
    change_flock(flock=flock, by=owner)
    return flock


def _carried(flock, root, target, **more):
    export(flock, root / "first.zip")
    other = Flock.objects.create(name="Brought", time_zone="UTC") if target is None else target
    apply(check(read_folder(root / "first.zip"), other, now=NOW, **more))
    export(other, root / "second.zip")
    return root / "first.zip", root / "second.zip", other


def _inside(path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_two_generations_are_equal_byte_for_byte(whole, tmp_path):
    first, second, other = _carried(whole, tmp_path, None)
    assert _inside(first) == _inside(second)
    assert first.read_bytes() == second.read_bytes()
    files = _inside(first)
    empty = {name for name in FILES if len(rows_of(files, name)) == 0}
    assert empty == {
        *("kit.csv", "stays.csv", "measurements.csv", "housing_changes.csv", "card_prints.csv")
    }
    other.refresh_from_db()
    assert (other.time_zone, other.units, other.round_days, other.recheck_days) == (
        *("Europe/London", "imperial", 12, 5),
    )


def test_nothing_recorded_is_left_behind(whole, tmp_path):
    """Counts every model that belongs to a flock; a new one fails here until it is carried."""
    _, _, other = _carried(whole, tmp_path, None)
    left_here = {
        # People, roles and links stay where they are; what the card reader found is found anew.
        *("people.Membership", "people.Invitation", "people.Byline", "photos.CardReading"),
    }
    for model in apps.get_models():
        if not issubclass(model, FlockRecord) or model._meta.label in left_here:
            continue
        manager = model._base_manager
        before, now = (manager.filter(flock=one).count() for one in (whole, other))
        assert before == now, model._meta.label


def test_who_did_it_stays_as_a_name(whole, tmp_path, cast):
    keepers = Keeper.objects.count()
    first, _, other = _carried(whole, tmp_path, None)
    assert Keeper.objects.count() == keepers
    weighing = Weighing.objects.get(flock=other)
    assert weighing.keeper is None
    assert Byline.objects.get(record=weighing.pk, field="keeper").name == "Keeper"
    claimed = CareStep.objects.get(flock=other, kind="soaked")
    assert claimed.claimed_at == AT + timedelta(hours=1) and claimed.claimed_by is None
    assert Byline.objects.get(record=claimed.pk, field="claimed_by").name == "Owner"
    # Where they are keepers too, it is theirs.
    there = Flock.objects.create(name="Of theirs")
    apply(check(read_folder(first), there, now=NOW, keepers=[cast.keeper, cast.owner]))
    assert Weighing.objects.get(flock=there).keeper == cast.keeper
    assert CareStep.objects.get(flock=there, kind="soaked").claimed_by == cast.owner
    assert Photo.objects.get(flock=there, of_house=True).keeper == cast.keeper
    assert not Byline.objects.filter(flock=there).exists()


def test_the_pages_name_whoever_has_no_account_here(whole, tmp_path, cast):
    house = House.objects.get(flock=whole)
    change = {"flock": whole, "house": house, "on": date(2024, 1, 5), "note": "lowered it"}
    HousingChange.objects.create(**change, keeper=cast.keeper)
    photo = Photo.objects.get(flock=whole, of_house=False)
    figures = dict.fromkeys(("area_mm2", "perimeter_mm", "longest_diameter_mm"), 9.5)
    drawn = {"to_mm": [[1, 0, 0], [0, 1, 0], [0, 0, 1]], "outline_px": [[9, 9], [9, 19], [19, 9]]}
    Measurement.objects.create(
        **{"flock": whole, "photo": photo, "keeper": cast.keeper, "at": AT, "scaled_by": "card"},
        **{"outline_mm": [[1, 1], [1, 2], [2, 1]], "relative_area_error": 0.1, **drawn, **figures},
    )
    _, _, other = _carried(whole, tmp_path, None)
    cast.keeper.name = "Another Name"
    cast.keeper.save()
    Membership.objects.create(flock=other, keeper=cast.stranger, role=Role.OWNER)
    bird = Bird.objects.get(flock=other, name="Dillweed")
    brought = Photo.objects.get(flock=other, of_house=False)
    house = House.objects.get(flock=other)
    for name, key in (
        ("birds:weighings", bird.pk),
        ("photos:photo", brought.pk),
        ("housing:house", house.pk),
    ):
        address = reverse(name, args=[other.pk, key])
        page = cast.clients.stranger.get(address).content.decode()
        assert ">Keeper<" in page or ", Keeper," in page, name


def test_a_round_keeps_its_check_of_several_at_one_moment(whole, tmp_path):
    _, _, other = _carried(whole, tmp_path, None)
    looked = RoundBird.objects.get(round__flock=other, check_record__isnull=False)
    assert looked.check_record.note == "second"
    assert RoundBird.objects.get(round__flock=other, passed_over=True).bird.name == "Mace"
    assert Round.objects.get(flock=other, ended_at=None).started_at == AT + timedelta(days=9)


def test_plans_come_back_with_what_is_to_be(whole, tmp_path):
    _, _, other = _carried(whole, tmp_path, None)
    plans = HousingChange.objects.filter(flock=other, planned=True)
    told = sorted((str(plan.on or ""), plan.note, plan.planned_states.count()) for plan in plans)
    assert told == [("", "=lower it", 2), ("2027-01-01", "", 0), ("2027-01-01", "=lower it", 2)]
    bar = PlannedState.objects.filter(flock=other, feature__isnull=False).first()
    assert (bar.feature.name, bar.feature.flock, bar.height_cm) == ("Bar", other, 60)
    step = PlannedState.objects.filter(flock=other, feature=None).first()
    assert (step.name, step.kind, step.note) == ("Step", "step", "-wide")


def test_the_history_speaks_of_the_brought_records(whole, tmp_path, cast):
    first, _, other = _carried(whole, tmp_path, None)
    bird = Bird.objects.get(flock=other, name="Dillweed")
    renamed, changed = Revision.objects.filter(flock=other, record=bird.pk).order_by("at")
    assert (renamed.before["name"], renamed.before["traits"]) == ("Dill", "")
    assert changed.before["breed_id"] == str(bird.breed_id)
    assert {one.before["flock_id"] for one in (renamed, changed)} == {str(other.pk)}
    before = Revision.objects.filter(flock=whole, kind="birds.Bird").order_by("at")
    assert [one.at for one in (renamed, changed)] == [one.at for one in before]
    deleted = Revision.objects.get(flock=other, action="delete", kind="feet.Check")
    mace = Bird.objects.get(flock=other, name="Mace")
    assert deleted.before["bird_id"] == str(mace.pk)
    # Nothing in it names a record, a flock or a person of where it came from.
    text = json.dumps(list(Revision.objects.filter(flock=other).values("before")))
    keys = [whole.pk, cast.keeper.pk, cast.owner.pk]
    keys += Bird.objects.filter(flock=whole).values_list("pk", flat=True)
    assert not any(str(key) in text for key in keys)
    rows = rows_of(_inside(first), "history.csv")
    assert {row["by"] for row in rows} == {"Keeper", "Owner"}
    assert "people.Membership" not in {row["kind"] for row in rows}


def test_what_was_removed_together_comes_back_together(whole, tmp_path, cast):
    _, _, other = _carried(whole, tmp_path, None)
    shed, rail = (
        Revision.objects.get(flock=other, kind=kind, action="delete")
        for kind in ("housing.House", "housing.Feature")
    )
    assert shed.changeset == rail.changeset
    restoring.bring_back(revision=shed, kinds=KINDS, by=cast.owner)
    assert Feature.objects.get(flock=other, house__name="Shed").name == "Rail"
    # Of what was changed by itself nothing is said to belong together.
    alone = Revision.objects.filter(flock=other).exclude(pk__in=[shed.pk, rail.pk])
    assert not alone.filter(first__isnull=False, action="change").exists()


def test_a_flock_with_records_takes_no_history_and_keeps_its_settings(whole, tmp_path):
    export(whole, tmp_path / "out")
    before = Revision.objects.filter(flock=whole).count()
    counts = bring_in(tmp_path / "out", whole).counts()
    assert {name: new for name, (new, _) in counts.items()} == dict.fromkeys(counts, 0)
    assert Revision.objects.filter(flock=whole).count() == before
    whole.refresh_from_db()
    whole.time_zone = "Asia/Tokyo"
    whole.save()
    *places, text = problems_of(tmp_path / "out", whole)
    assert places[0] == ("flock.csv", 2, "time_zone")
    assert "those of Europe/London, and the flock keeps those of Asia/Tokyo" in text


@pytest.mark.parametrize(
    ("table", "row", "column", "words"),
    [
        ("rounds", {"round": "1", "started": "2024-03-01"}, "started", "is not a day and time"),
        ("rounds", {"round": "", "started": "2024-03-01 10:00"}, "round", "must not be empty"),
        (
            "rounds",
            {"round": "1", "started": "2024-03-01 10:00", "bird": "Sage", "check": "2024-03-01"},
            "check",
            "She has no check at “2024-03-01”",
        ),
        (
            "windows",
            {"house": "Ark", "date": "2024-01-01", "window_days": "90"},
            "chosen",
            "must not be empty",
        ),
        (
            "housing_plans",
            {"plan": "1", "house": "Ark", "feature": "Bar"},
            "feature",
            "No thing in this house is called “Bar”",
        ),
        (
            "housing_plans",
            {"plan": "1", "house": "Ark", "feature": "Bar", "new": "yes"},
            "kind",
            "must not be empty",
        ),
        (
            "history",
            {"at": "2024-01-01 10:00", "deed": "change", "kind": "x", "record": "birds.Bird 9"},
            "record",
            "no record “birds.Bird 9”",
        ),
        (
            "history",
            {"at": "2024-01-01 10:00", "deed": "change", "kind": "x", "record": "flock"}
            | {"before": "{"},
            "before",
            "not JSON",
        ),
        (
            "history",
            {"at": "2024-01-01 10:00", "deed": "change", "kind": "x", "record": "flock"}
            | {"before": '{"a": NaN}'},
            "before",
            "not JSON",
        ),
        (
            "history",
            {"at": "2024-01-01 10:00", "deed": "change", "kind": "x", "record": "flock"}
            | {"before": '{"a":' * 700 + "1" + "}" * 700},
            "before",
            "nested too deeply",
        ),
        (
            "history",
            {"at": "2024-01-01 10:00", "deed": "change", "kind": "x", "record": "flock"}
            | {"before": '{"a": "\\u0000"}'},
            "before",
            "can’t be saved",
        ),
        (
            "history",
            {"at": "2024-01-01 10:00", "deed": "change", "kind": "x", "record": "flock"}
            | {"before": '{"\\ud800": 1}'},
            "before",
            "can’t be saved",
        ),
        (
            "rounds",
            {"round": "1", "started": "2024-03-01 10:00", "ended": "9999-12-31 23:59-12:00"},
            "ended",
            "too far ahead",
        ),
        ("flock", {"time_zone": "Mars/Dust"}, "time_zone", "not a time zone we know"),
        ("flock", {"time_zone": "UTC", "round_days": "0"}, "round_days", "greater than"),
    ],
)
def test_a_bad_row_of_the_further_files_is_named(tmp_path, table, row, column, words):
    flock = Flock.objects.create(name="Test yard")
    tables = {"birds": [{"bird": "Sage"}], "housing": [{"house": "Ark"}], table: [row]}
    *places, text = problems_of(write_folder(tmp_path / "in", **tables), flock)
    assert places[0] == (f"{table}.csv", 2, column)
    assert words in text


@pytest.mark.parametrize(
    "form",
    [
        lambda key: str(key),
        lambda key: key.hex.upper(),
        lambda key: f"{{{key}}}",
        lambda key: key.urn,
        lambda key: key.int,
        lambda key: {str(key): 1},
        lambda key: [[str(key)]],
    ],
)
def test_a_history_cannot_lead_to_records_of_others(cast, birds, tmp_path, form):
    """An earlier version can be brought back: it must not bring in a foreign bird by her key."""
    flock = Flock.objects.create(name="Test yard")
    before = json.dumps({"bird_id": form(birds["Dill"].pk)})
    row = {"at": "2024-01-01 10:00", "deed": "change", "kind": "feet.Check", "record": "flock"}
    *places, text = problems_of(
        write_folder(tmp_path / "in", history=[row | {"before": before}]), flock
    )
    assert places == [("history.csv", 2, "before")]
    assert "must be a reference" in text or "not a number" in text


def test_a_thing_is_once_in_a_plan(tmp_path):
    flock = Flock.objects.create(name="Test yard")
    bar = {"house": "Ark", "feature": "Bar"}
    root = write_folder(
        tmp_path / "in",
        housing=[bar | {"kind": "roost"}],
        housing_plans=[bar | {"plan": "1", "height_cm": height} for height in ("60", "40")],
    )
    *places, text = problems_of(root, flock)
    assert places == [("housing_plans.csv", 3, "feature")] and "twice in plan 1" in text


def test_a_bird_is_once_in_a_round(tmp_path):
    flock = Flock.objects.create(name="Test yard")
    row = {"round": "1", "started": "2024-03-01 10:00", "bird": "Sage"}
    root = write_folder(tmp_path / "in", birds=[{"bird": "Sage"}], rounds=[row, row])
    assert problems_of(root, flock)[0] == ("rounds.csv", 2, "bird")


# --- Photos, byte for byte


def _originals(flock) -> list[bytes]:
    photos = Photo.objects.filter(flock=flock).order_by("sha256")
    return [default_storage.open(photo.path()).read() for photo in photos]


def test_an_exported_photo_is_kept_as_it_is(whole, tmp_path):
    first, _, other = _carried(whole, tmp_path, None)
    assert _originals(other) == _originals(whole) and len(_originals(other)) == 2
    rows = rows_of(_inside(first), "photos.csv")
    for row in rows:
        assert row["file_sha256"] == hashlib.sha256(_inside(first)[row["file"]]).hexdigest()


def _with_exif() -> bytes:
    exif = Image.Exif()
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)  # Exif 2.2 (JEITA CP-3451): GPSLatitude
    return picture("brown", exif=exif)


def _bare() -> bytes:
    return picture("brown")


HIDING = {
    "position": _with_exif,
    "comment": lambda: picture("brown", comment=b"Ros, 12 Hill Lane"),
    "tail": lambda: _bare() + b"PK\x03\x04 hidden",
    "second picture": lambda: _bare() + _bare(),
    "progressive": lambda: picture("brown", progressive=True),
}


@pytest.mark.parametrize("what", HIDING)
def test_a_hash_that_fits_opens_no_door(tmp_path, what):
    """Whoever packs the zip can write the right hash beside anything."""
    flock, data = Flock.objects.create(name="Test yard"), HIDING[what]()
    assert is_bare(_bare()) and not is_bare(data)
    row = {"file": "a.jpg", "file_sha256": hashlib.sha256(data).hexdigest()}
    bring_in(write_folder(tmp_path / "in", {"a.jpg": data}, photos=[row]), flock)
    (kept,) = _originals(flock)
    assert kept != data and b"hidden" not in kept and b"Hill Lane" not in kept
    assert is_bare(kept)
    with Image.open(io.BytesIO(kept)) as image:
        assert not image.getexif() and "comment" not in image.info


def test_a_cut_off_photo_is_refused_though_its_hash_fits(tmp_path):
    flock, data = Flock.objects.create(name="Test yard"), _bare()[:900]
    row = {"file": "a.jpg", "file_sha256": hashlib.sha256(data).hexdigest()}
    *places, text = problems_of(write_folder(tmp_path / "in", {"a.jpg": data}, photos=[row]), flock)
    assert places == [("photos.csv", 2, "file")] and "damaged" in text


def test_a_photo_that_was_mended_elsewhere_is_taken_in_anew(whole, tmp_path):
    export(whole, tmp_path / "out")
    path = next((tmp_path / "out" / "photos").iterdir())
    path.write_bytes(picture("green"))
    other = Flock.objects.create(name="Brought", time_zone="UTC")
    apply(check(read_folder(tmp_path / "out"), other, now=NOW))
    assert Photo.objects.filter(flock=other).count() == 2
    assert path.read_bytes() not in _originals(other)


# --- What the columns mean


def test_the_dictionary_tells_every_column_of_every_file(whole, tmp_path):
    export(whole, tmp_path / "out")
    rows = rows_of(csv_files(tmp_path / "out"), "dictionary.csv")
    assert [(row["file"], row["column"]) for row in rows] == [
        (name, column) for name, file in FILES.items() for column in file.all
    ]
    assert all(row["meaning"] and row["is"] for row in rows)
    by_column = {(row["file"], row["column"]): row for row in rows}
    assert by_column["weights.csv", "grams"]["unit"] == "g"
    assert "from above = seen from above" in by_column["checks.csv", "left_swelling"]["values"]


def test_the_values_that_are_told_are_those_that_are_read():
    """Each choice of the declarations is one of the model's own, and none is missing."""
    told = {
        ("checks.csv", "left_scab"): FootFinding._meta.get_field("scab"),
        ("care.csv", "kind"): CareStep._meta.get_field("kind"),
        ("housing.csv", "kind"): Feature._meta.get_field("kind"),
        ("birds.csv", "left_reason"): Bird._meta.get_field("left_reason"),
        ("states.csv", "kind"): BirdState._meta.get_field("kind"),
        ("events.csv", "kind"): Event._meta.get_field("kind"),
        ("wetness.csv", "wetness"): Wetness._meta.get_field("level"),
        ("measurements.csv", "scaled_by"): Measurement._meta.get_field("scaled_by"),
        ("history.csv", "deed"): Revision._meta.get_field("action"),
    }
    for (file, column), field in told.items():
        declared = {value for value, _ in FILES[file].column(column).values}
        assert declared == {str(value) for value, _ in field.choices if value != ""}


def test_an_export_is_a_tabular_data_package(whole, tmp_path):
    """Frictionless Data Package and Table Schema v1 (specs.frictionlessdata.io), by its library."""
    export(whole, tmp_path / "out")
    report = frictionless.validate(str(tmp_path / "out" / "datapackage.json"))
    assert report.valid, report.flatten(["fieldName", "rowNumber", "type", "message"])
    assert {task.place for task in report.tasks} == set(FILES)
    # A report that could not fail would tell nothing.
    weights = tmp_path / "out" / "weights.csv"
    weights.write_text(weights.read_text().replace("2000", "two"))
    spoiled = frictionless.validate(str(tmp_path / "out" / "datapackage.json"))
    assert ["grams"] in spoiled.flatten(["fieldName"])


def test_units_are_told_wherever_a_name_has_one():
    for file in FILES.values():
        for column in file.columns:
            for ending, unit in (("_cm", "cm"), ("_mm", "mm"), ("_days", "days")):
                if column.name.endswith(ending) and column.kind in (Kind.NUMBER, Kind.INTEGER):
                    assert column.unit == unit, column.name


def test_every_field_of_a_record_is_carried_or_known_not_to_be():
    """A new field fails here until it has a column, or a reason why it has none."""
    not_carried = {
        # Keys and times that each installation makes by itself.
        *("id", "flock", "created_at", "made_at", "changed_at", "joined_at", "version"),
        # Photos: found again from the file.
        *("width", "height", "stored_bytes", "look_hash", "edition", "deleted_at", "with_form"),
        *("stored_as", "damaged_since"),
        # Who holds a bird in hand right now.
        *("held_by", "held_at"),
    }
    carried = {
        # Under another name, or as several columns.
        *("on", "at", "since", "until", "band_colour", "band_number", "own_weight_class"),
        *(
            "level",
            "taken_precision",
            "time_known",
            "keeper_name",
            "change",
            "planned",
            "started_at",
        ),
        *("ended_at", "chosen_at", "claimed_at", "logged_at", "received_at", "added_at"),
        *(
            "adult_grams",
            "source",
            "opened_on",
            "expires_on",
            "supplied_on",
            "photo",
            "check_record",
        ),
        *("before", "photos", "checks", "findings", "name", "recheck_days", "round"),
        *("score", "sites", "scab", "scab_mm", "swelling", *FOOT_SIGNS),
        *("clinical_grade", "grams", "card_bird", "contact"),
    }
    columns = {column for file in FILES.values() for column in file.all}
    labels = [
        *("birds.Bird", "birds.Breed", "birds.Weighing", "birds.BirdState"),
        *("care.CareStep", "care.KitItem"),
        *("feet.Check", "feet.FootFinding", "feet.Round", "feet.RoundBird", "feet.SortingNote"),
        "care.VetContact",
        *("housing.House", "housing.Feature", "housing.FeatureState", "housing.HousingChange"),
        *("housing.PlannedState", "housing.Walk", "housing.Stay", "photos.Photo"),
        *("photos.Measurement", "trends.WindowChoice", "people.Flock"),
    ]
    for label in labels:
        for field in apps.get_model(label)._meta.get_fields():
            if isinstance(field, models.ForeignObjectRel):
                continue
            assert field.name in columns | carried | not_carried, f"{label}.{field.name}"


def test_a_zip_with_an_export_in_a_folder_is_read(whole, tmp_path):
    export(whole, tmp_path / "out")
    files = {f"thistle/{name}": data for name, data in csv_files(tmp_path / "out").items()}
    for path in (tmp_path / "out" / "photos").iterdir():
        files[f"thistle/photos/{path.name}"] = path.read_bytes()
    other = Flock.objects.create(name="Brought")
    bring_in(write_zip(tmp_path / "in.zip", files), other)
    assert Photo.objects.filter(flock=other).count() == 2
