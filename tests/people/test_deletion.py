"""Deleted is deleted: every table and every stored file is looked through, of whatever apps."""

import datetime as dt
import io
import uuid

import pytest
from django.apps import apps
from django.contrib.sessions.models import Session
from django.core.cache import cache
from django.core.files.storage import default_storage
from django.db import connection, models
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.care.models import CareStep
from flockcare.feet.models import Check, Round, RoundBird
from flockcare.feet.services import delete_check
from flockcare.housing.models import Feature, FeatureState, House, HousingChange, Stay
from flockcare.people import deletion, history
from flockcare.people.models import Byline, Flock, Keeper, Membership, Revision, Role
from flockcare.people.services import change_role, invite, make_password_link
from flockcare.photos.services import add_photo
from flockcare.trends.report_cache import EDITION
from tests.conftest import PASSWORD
from tests.exchange.folders import picture
from tests.people.rows import OWNER_PAGE, same_queries, seen

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2024, 3, 1, 17, tzinfo=dt.UTC)


def _fill(flock, keeper, colour):
    """Records of many kinds that refer to each other, also where the reference is a strict one."""
    breed = Breed.objects.create(flock=flock, name="Sussex")
    bird = Bird.objects.create(flock=flock, name="Borage", breed=breed)
    house = House.objects.create(flock=flock, name="Ark")
    Stay.objects.create(flock=flock, bird=bird, house=house)
    feature = Feature.objects.create(flock=flock, house=house, name="Bar", kind="roost")
    FeatureState.objects.create(flock=flock, feature=feature, since=NOW.date())
    HousingChange.objects.create(flock=flock, house=house, on=NOW.date(), keeper=keeper)
    Weighing.objects.create(flock=flock, bird=bird, on=NOW.date(), grams=2000, keeper=keeper)
    look = Check.objects.create(flock=flock, bird=bird, at=NOW, keeper=keeper)
    look.findings.create(foot="left", score=1)
    photo, _ = add_photo(
        flock=flock, keeper=keeper, upload=io.BytesIO(picture(colour)), name="a.jpg", bird=bird
    )
    look.photos.add(photo)
    step = CareStep.objects.create(
        flock=flock, bird=bird, kind="soaked", at=NOW, keeper=keeper, claimed_by=keeper
    )
    step.photos.add(photo)
    round_ = Round.objects.create(flock=flock, started_by=keeper)
    RoundBird.objects.create(round=round_, bird=bird, place=0, held_by=keeper, check_record=look)
    second = Check.objects.create(flock=flock, bird=bird, at=NOW, keeper=keeper)
    delete_check(check=second, keeper=keeper)
    invite(flock=flock, role=Role.VIEWER, by=keeper)
    Byline.objects.create(flock=flock, record=look.pk, field="keeper", name="Somebody")
    return look


def _rows():
    """(model, row as text) of every row of every table; sessions with what is in them."""
    for model in apps.get_models(include_auto_created=True):
        for row in model._base_manager.values():
            text = repr(row)
            if model is Session:
                text += repr(Session(session_data=row["session_data"]).get_decoded())
            yield model, text


def _speaks_of(key: uuid.UUID) -> set[str]:
    return {model._meta.label for model, text in _rows() if str(key) in text or key.hex in text}


def _stored(path="") -> list[str]:
    folders, files = default_storage.listdir(path)
    found = [f"{path}/{name}" for name in files]
    return found + [f for name in folders for f in _stored(f"{path}/{name}" if path else name)]


@pytest.fixture
def both(cast):
    """Two flocks full of records, and everybody's sessions."""
    _fill(cast.flock, cast.owner, "red")
    _fill(cast.elsewhere, cast.stranger, "blue")
    make_password_link(keeper=cast.owner, by=cast.owner)
    for client in vars(cast.clients).values():
        client.get("/")
    cast.clients.owner.get(reverse("people:flock_open", args=[cast.flock.pk]))
    return cast


# --- A flock


def test_nothing_of_a_deleted_flock_remains(both):
    flock, key = both.flock, both.flock.pk
    spoken_of = _speaks_of(key)
    assert {"people.Revision", "sessions.Session", "feet.Check", "photos.Photo"} < spoken_of
    others = {model: model._base_manager.count() for model in apps.get_models()}
    cache.set(f"trends:{EDITION}:{key}", "kept")
    before = _stored()
    deletion.delete_flock(flock=flock)
    assert _speaks_of(key) == set()
    assert [path for path in _stored() if str(key) in path] == []
    assert cache.get(f"trends:{EDITION}:{key}") is None
    # The other flock has all of its own.
    assert len(_stored()) == len(before) // 2 == 4
    left = {model: model._base_manager.count() for model in others}
    assert left[Check] == 1 and left[Keeper] == 4 and left[Flock] == 1
    assert both.clients.stranger.get(f"/f/{both.elsewhere.pk}/today/").status_code == 200


def test_no_folder_is_left_behind(both):
    deletion.delete_flock(flock=both.flock)
    assert str(both.flock.pk) not in default_storage.listdir("photos")[0]


def test_no_record_stands_in_the_way_of_its_flock():
    """PROTECT refuses also where the other record goes with the same flock; RESTRICT does not."""
    for model in apps.get_models():
        for field in model._meta.fields:
            if isinstance(field, models.ForeignKey):
                assert field.remote_field.on_delete is not models.PROTECT, f"{model}.{field.name}"


def test_a_deletion_that_was_cut_off_can_be_done_again(both, monkeypatch):
    key = both.flock.pk
    with monkeypatch.context() as patch:
        patch.setattr(deletion, "_forget_in_sessions", lambda key: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            deletion.delete_flock(flock=both.flock)
    assert Bird.objects.filter(flock=key).exists()
    deletion.delete_flock(flock=Flock.objects.get(pk=key))
    assert _speaks_of(key) == set()


def test_a_photo_sent_in_the_same_moment_leaves_no_file(both, monkeypatch):
    forget = deletion._forget_in_sessions

    def meanwhile(key):
        default_storage.save(f"photos/{key}/late/full.jpg", io.BytesIO(b"x"))
        forget(key)

    monkeypatch.setattr(deletion, "_forget_in_sessions", meanwhile)
    deletion.delete_flock(flock=both.flock)
    assert not [path for path in _stored() if str(both.flock.pk) in path]


@pytest.mark.django_db(transaction=True)
def test_nobody_has_to_wait_while_sessions_are_read(both, monkeypatch):
    """There may be thousands, and each has to be unpacked."""
    real, inside = Session.get_decoded, []

    def unpacked(session):
        inside.append(connection.in_atomic_block)
        return real(session)

    monkeypatch.setattr(Session, "get_decoded", unpacked)
    deletion.delete_flock(flock=both.flock)
    deletion.delete_keeper(keeper=both.owner, keep_name=True)
    assert len(inside) >= 8 and not any(inside)


def test_the_history_goes_with_its_flock_without_a_look_at_each(both):
    def revisions():
        with CaptureQueriesContext(connection) as queries:
            both.flock.delete()
        return [each["sql"] for each in queries if '"people_revision"' in each["sql"]]

    with history.changeset():
        for _ in range(3):
            bird = Bird.objects.get(flock=both.flock)
            bird.traits += "x"
            history.change(bird, by=both.owner)
    assert Revision.objects.filter(first__isnull=False).exists()
    assert [sql.split()[0] for sql in revisions()] == ["DELETE"]


def _delete_page(flock):
    return reverse("people:flock_delete", args=[flock.pk])


def test_only_an_owner_may_delete_a_flock(both):
    assert seen(both, _delete_page(both.flock)) == OWNER_PAGE
    for name in ("keeper", "viewer", "stranger"):
        client = getattr(both.clients, name)
        assert client.post(_delete_page(both.flock), {"name": "Hill Flock"}).status_code >= 400
    assert Flock.objects.filter(pk=both.flock.pk).exists()


def test_the_page_tells_what_goes_and_offers_an_export_first(both):
    page = both.clients.owner.get(_delete_page(both.flock)).content.decode()
    for words in ("1 bird", "1 check of feet", "1 photo", "3 members", "further entries"):
        assert f"{words}</li>" in page
    assert page.index(reverse("export", args=[both.flock.pk])) < page.index("for good")


def test_what_goes_counts_everything(both):
    """The sum is that of all rows of the flock, counted one table after the other."""
    total = sum(
        model._base_manager.filter(flock=both.flock).count()
        for model in apps.get_models()
        if any(f.name == "flock" and f.is_relation for f in model._meta.fields)
    )
    assert sum(count for count, _ in deletion.what_goes(both.flock)) == total


def test_the_name_has_to_be_typed(both):
    client, page = both.clients.owner, _delete_page(both.flock)
    for typed in ("", "Elsewhere", "Hill"):
        answer = client.post(page, {"name": typed})
        assert answer.status_code == 422
    assert "The flock is called Hill Flock" in answer.content.decode()
    assert Flock.objects.count() == 2
    answer = client.post(page, {"name": " hill  flock "}, follow=True)
    assert "Hill Flock is deleted" in answer.content.decode()
    assert not Flock.objects.filter(pk=both.flock.pk).exists()
    assert client.get("/").status_code == 302


def test_the_page_asks_as_much_for_many_as_for_one(both):
    def grow():
        for number in range(20):
            Bird.objects.create(flock=both.flock, name=f"Hen {number}")

    same_queries(both.clients.owner, _delete_page(both.flock), grow=grow)


# --- An account

ACCOUNT = "/account/delete/"


@pytest.fixture
def handed_over(both):
    """The owner may go: another has become one."""
    place = Membership.objects.get(flock=both.flock, keeper=both.keeper)
    change_role(membership=place, role=Role.OWNER, by=both.owner)
    return both


def test_an_earlier_name_does_not_come_back(handed_over):
    """A record from elsewhere names somebody; a keeper here took it on since, and goes now."""
    step = CareStep.objects.get(flock=handed_over.flock)
    Byline.objects.create(flock=handed_over.flock, record=step.pk, field="claimed_by", name="Ros")
    deletion.delete_keeper(keeper=handed_over.owner, keep_name=True)
    assert Byline.objects.get(record=step.pk, field="claimed_by").name == "Owner"


@pytest.mark.parametrize("keep_name", [True, False])
def test_nothing_of_a_deleted_keeper_remains_but_the_records(handed_over, keep_name):
    owner, key = handed_over.owner, handed_over.owner.pk
    owner.name, owner.sign_in_name = "Quillon", "quillon77"
    owner.save()
    spoken_of = _speaks_of(key)
    assert {"people.Revision", "people.Membership", "sessions.Session"} < spoken_of
    deletion.delete_keeper(keeper=owner, keep_name=keep_name)
    assert _speaks_of(key) == set()
    texts = [text for _, text in _rows()]
    assert not any("quillon77" in text for text in texts)
    assert any("Quillon" in text for text in texts) == keep_name
    name = "Quillon" if keep_name else "a former keeper"
    assert Check.objects.get(flock=handed_over.flock).by == name
    weighing = Weighing.objects.get(flock=handed_over.flock)
    assert Byline.objects.get(record=weighing.pk, field="keeper").name == name
    revision = Revision.objects.get(flock=handed_over.flock, kind="feet.Check")
    assert (revision.by, revision.by_name) == (None, name)
    assert Flock.objects.count() == 2 and Bird.objects.count() == 2


def test_the_others_keep_their_sessions(handed_over):
    deletion.delete_keeper(keeper=handed_over.owner, keep_name=False)
    for name, status in (("owner", 302), ("keeper", 200), ("viewer", 200)):
        client = getattr(handed_over.clients, name)
        assert client.get(f"/f/{handed_over.flock.pk}/today/").status_code == status


def test_the_last_owner_has_to_hand_over_first(both):
    client = both.clients.owner
    page = client.get(ACCOUNT).content.decode()
    assert "You are the only owner of a flock" in page and _delete_page(both.flock) in page
    answer = client.post(ACCOUNT, {"password": PASSWORD, "keep_name": ""})
    assert answer.status_code == 422
    assert Keeper.objects.filter(pk=both.owner.pk).exists()


def test_two_last_owners_cannot_both_go(handed_over):
    deletion.delete_keeper(keeper=handed_over.owner, keep_name=False)
    with pytest.raises(deletion.ValidationError, match="Hill Flock"):
        deletion.delete_keeper(keeper=handed_over.keeper, keep_name=False)


def test_an_account_goes_with_its_password_only(both):
    client = both.clients.viewer
    page = client.get(ACCOUNT).content.decode()
    assert "by Viewer" in page and "a former keeper" in page
    answer = client.post(ACCOUNT, {"password": "wrong", "keep_name": "yes"})
    assert answer.status_code == 422 and "not your password" in answer.content.decode()
    assert Keeper.objects.filter(pk=both.viewer.pk).exists()
    answer = client.post(ACCOUNT, {"password": PASSWORD, "keep_name": "yes"}, follow=True)
    assert "Your account is deleted" in answer.content.decode()
    assert not Keeper.objects.filter(pk=both.viewer.pk).exists()
    assert not Session.objects.filter(expire_date__lt=timezone.now()).exists()


def test_the_ways_to_it_are_found(both):
    settings = both.clients.owner.get(reverse("people:settings", args=[both.flock.pk]))
    assert _delete_page(both.flock) in settings.content.decode()
    assert ACCOUNT in both.clients.viewer.get("/account/").content.decode()
