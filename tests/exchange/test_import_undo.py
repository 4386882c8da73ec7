"""What an import adds to a flock is one change of its history, and is undone as one."""

import pytest
from django.urls import reverse

from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.care.models import CareStep, KitItem
from flockcare.exchange.services import apply, check, read_folder
from flockcare.feet.models import Check, FootFinding
from flockcare.housing.models import Feature, FeatureState, House, Stay
from flockcare.people import history
from flockcare.people.models import Revision
from flockcare.photos.models import Photo
from tests.exchange.folders import picture, write_folder

pytestmark = pytest.mark.django_db

MODELS = (Bird, Breed, Weighing, House, Feature, FeatureState, Stay, Check, FootFinding)
MODELS += (CareStep, KitItem)


@pytest.fixture
def folder(tmp_path):
    return write_folder(
        tmp_path / "in",
        pictures={"a.jpg": picture()},
        birds=[{"bird": "Thyme", "breed": "Sussex"}, {"bird": "Sage"}],
        weights=[{"bird": "Thyme", "date": "2024-01-05", "grams": "2100"}],
        housing=[{"house": "Ark", "feature": "Bar", "kind": "roost", "from": "2024-01-01"}],
        stays=[{"bird": "Thyme", "house": "Ark", "from": "2024-01-01"}],
        checks=[
            {"bird": "Thyme", "date": f"2024-01-0{day}", "left_score": "1", "right_score": "0"}
            for day in range(1, 6)
        ],
        care=[{"bird": "Thyme", "date": "2024-01-02", "foot": "left", "kind": "soaked"}],
        photos=[{"file": "a.jpg", "bird": "Thyme", "foot": "left", "taken": "2024-01-02"}],
    )


@pytest.fixture
def brought(cast, birds, folder):
    """Into a flock that has birds already; the address of what was done."""
    cast.before = everything()
    bring(cast, folder)
    first = Revision.objects.get(tool="import")
    return reverse("pages:changeset", args=[cast.flock.pk, first.pk])


def bring(cast, folder):
    apply(check(read_folder(folder), cast.flock), by=cast.keeper)


def everything() -> set:
    held = (history.values(row) for model in MODELS for row in model._base_manager.all())
    return {str(values) for values in held}


def test_it_is_told_as_one_and_undone_as_one(cast, brought, folder):
    assert Bird.objects.count() == 5 and Check.objects.count() == 5
    page = cast.clients.viewer.get(reverse("recent_changes", args=[cast.flock.pk])).text
    assert page.count('<a class="row"') == 1
    assert "Import of 15 records" in page
    page = cast.clients.keeper.get(brought).text
    assert "Thyme" in page and "Check of Thyme" in page and ">added<" in page
    answer = cast.clients.keeper.post(brought, follow=True)
    assert "Undone: Import of 15 records" in answer.text
    assert everything() == cast.before
    assert not Photo.objects.exists()
    photo = Photo.with_deleted.get()
    assert photo.deleted_at and photo.bird is None
    # It can be brought in again, the photo too.
    bring(cast, folder)
    assert Bird.objects.count() == 5
    assert Photo.objects.get().bird.name == "Thyme"


def test_a_single_record_of_it_tells_where_it_came_from(cast, brought):
    thyme = Bird.objects.get(name="Thyme")
    page = cast.clients.viewer.get(
        reverse("record_history", args=[cast.flock.pk, thyme.pk, "bird"])
    ).text
    assert "Keeper added it" in " ".join(page.split()) and brought in page


@pytest.mark.parametrize("touch", ["a check", "a change", "a stay"])
def test_what_has_been_recorded_since_is_not_lost(cast, brought, touch):
    thyme, ark = Bird.objects.get(name="Thyme"), House.objects.get(name="Ark")
    if touch == "a check":
        Check.objects.create(flock=cast.flock, bird=thyme, at="2024-03-01T10:00Z")
    elif touch == "a stay":
        Stay.objects.create(flock=cast.flock, bird=Bird.objects.get(name="Dill"), house=ark)
    else:
        thyme.traits = "Limps."
        history.change(thyme, by=cast.owner)
    known = everything()
    assert "was changed since" in cast.clients.keeper.post(brought, follow=True).text
    assert everything() == known
    assert Photo.objects.count() == 1


def test_who_only_looks_cannot_undo_it(cast, brought):
    assert "Undo all of it" not in cast.clients.viewer.get(brought).text
    assert cast.clients.viewer.post(brought).status_code == 403
    assert Bird.objects.count() == 5


def test_many_are_undone_at_once(cast, birds, tmp_path, django_assert_max_num_queries):
    """Not one for each record: nobody could write to the database meanwhile."""
    rows = [
        {"bird": "Dill", "date": f"20{year}-{month:02}-{day:02}", "left_score": "1"}
        for year in range(14, 24)
        for month in range(1, 13)
        for day in range(1, 11)
    ]
    bring(cast, write_folder(tmp_path / "in", birds=[{"bird": "Dill"}], checks=rows))
    assert Check.objects.count() == 1200
    first = Revision.objects.get(tool="import")
    url = reverse("pages:changeset", args=[cast.flock.pk, first.pk])
    with django_assert_max_num_queries(120):
        cast.clients.keeper.post(url)
    assert not Check.objects.exists()
    gone = Revision.objects.filter(kind="feet.Check", action="delete")
    assert gone.count() == 1200
    assert gone.first().before["findings"][0][:2] == ["left", 1]
