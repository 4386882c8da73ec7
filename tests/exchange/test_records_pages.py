"""Export and import from the pages."""

import io
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from flockcare.birds.models import Bird
from flockcare.exchange.importing import work
from flockcare.exchange.models import Import
from flockcare.feet.models import Check
from flockcare.people.models import Flock, Membership
from flockcare.photos.services import add_photo
from tests.exchange.folders import picture
from tests.people.rows import FORM_PAGE, READ_PAGE, same_queries, seen

pytestmark = pytest.mark.django_db
IMPORT = "/flocks/import/"


def _page(cast, name="overview"):
    return reverse(f"exchange:{name}", args=[cast.flock.pk])


def _exported(cast) -> bytes:
    answer = cast.clients.keeper.get(reverse("export", args=[cast.flock.pk]))
    assert answer.status_code == 200 and answer.streaming
    return b"".join(answer)


def _send(client, data: bytes, **fields):
    """The answer; what goes on in the background is done here and now."""
    file = SimpleUploadedFile("records.zip", data)
    answer = client.post(IMPORT, {"file": file, **fields})
    for job in Import.objects.filter(state="working"):
        work(job.pk)
    return answer


def _zip(files: dict) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    return out.getvalue()


def test_who_may_export(cast):
    assert seen(cast, _page(cast)) == READ_PAGE
    assert seen(cast, reverse("export", args=[cast.flock.pk])) == FORM_PAGE


def test_the_page_asks_as_much_for_many_as_for_one(cast, birds):
    def grow():
        for number in range(20):
            Bird.objects.create(flock=cast.flock, name=f"Hen {number}")

    same_queries(cast.clients.keeper, _page(cast), grow=grow)


def test_an_export_from_the_page_is_a_whole_zip(cast, birds):
    add_photo(flock=cast.flock, keeper=cast.keeper, upload=io.BytesIO(picture()), name="a.jpg")
    answer = cast.clients.keeper.get(reverse("export", args=[cast.flock.pk]))
    assert answer.headers["Content-Disposition"].startswith('attachment; filename="hill-flock-20')
    assert answer.headers["Cache-Control"] == "no-store"
    with zipfile.ZipFile(io.BytesIO(b"".join(answer))) as archive:
        assert archive.testzip() is None
        names = archive.namelist()
        assert {"birds.csv", "dictionary.csv", "datapackage.json"} < set(names)
        assert sum(name.startswith("photos/") for name in names) == 1


def test_an_import_of_houses_alone_does_not_say_that_nothing_is_new(cast):
    data = _zip({"housing.csv": "house\nArk\nShed\n"})
    answer = _send(cast.clients.stranger, data, name="New")
    page = cast.clients.stranger.get(answer.headers["Location"])
    assert "Imported: 2 other records" in page.content.decode()


def test_an_export_comes_back_as_a_new_flock(cast, birds):
    Check.objects.create(flock=cast.flock, bird=birds["Dill"], at="2024-01-05T10:00Z")
    add_photo(flock=cast.flock, keeper=cast.keeper, upload=io.BytesIO(picture()), name="a.jpg")
    data = _exported(cast)
    answer = _send(cast.clients.stranger, data, name="Second yard")
    made = Flock.objects.get(name="Second yard")
    place = Membership.objects.get(flock=made)
    assert (place.keeper, place.role, made.time_zone) == (cast.stranger, "owner", "Europe/London")
    assert Bird.objects.filter(flock=made).count() == 3
    page = cast.clients.stranger.get(answer.headers["Location"]).content.decode()
    assert "Imported: 3 birds, 1 check, 1 photo." in page
    assert f"/f/{made.pk}/open/" in page


def test_an_export_comes_into_an_empty_flock(cast, birds):
    data, stranger = _exported(cast), cast.clients.stranger
    page = stranger.get(f"{IMPORT}?flock={cast.elsewhere.pk}").content.decode()
    assert "Elsewhere, which is empty" in page and "checked" in page
    _send(stranger, data, into=cast.elsewhere.pk)
    assert Bird.objects.filter(flock=cast.elsewhere).count() == 3
    cast.elsewhere.refresh_from_db()
    assert cast.elsewhere.time_zone == "Europe/London"
    # It is not empty any more, and a flock of others was never offered.
    assert "which is empty" not in stranger.get(IMPORT).content.decode()
    for flock in (cast.elsewhere, cast.flock):
        assert _send(stranger, data, into=flock.pk).status_code == 422
    assert Bird.objects.count() == 6


def test_only_an_owner_is_offered_an_empty_flock(cast):
    """With the export come its settings, and those are the owner's to change."""
    for name in ("viewer", "keeper", "stranger"):
        client = getattr(cast.clients, name)
        assert "Hill Flock" not in client.get(IMPORT).content.decode()
        answer = _send(client, _zip({"birds.csv": "bird\nSage\n"}), into=cast.flock.pk)
        assert answer.status_code == 422 and not Bird.objects.exists()
    assert "Hill Flock, which is empty" in cast.clients.owner.get(IMPORT).content.decode()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"hello", "not a zip file, or it is damaged"),
        (_zip({"notes.txt": "x"}), "None of its files belongs"),
        (_zip({"birds.csv": "bird,hat\nSage,2021\n"}), "There is no column “hat” here"),
        (_zip({"birds.csv": "bird\nSage\n", "../x.csv": "x"}), "does not lead to a file inside"),
    ],
)
def test_a_refused_import_says_where_and_makes_nothing(cast, data, words):
    answer = _send(cast.clients.stranger, data, name="Second <yard>")
    page = answer.content.decode()
    assert answer.status_code == 422 and words in page
    assert "Second &lt;yard&gt;" in page, "what was typed is not lost"
    assert not Flock.objects.filter(name__startswith="Second").exists()
    assert not Bird.objects.exists()


def test_file_line_and_column_of_a_problem_are_told(cast):
    data = _zip({"birds.csv": "bird,hatched\nSage,2021\nDill,soon\n"})
    answer = _send(cast.clients.stranger, data, name="New <yard>")
    page = cast.clients.stranger.get(answer.headers["Location"]).content.decode()
    assert "“soon” is not a date" in page and "?name=New%20%3Cyard%3E" in page
    assert not Flock.objects.filter(name__startswith="New").exists() and not Bird.objects.exists()
    assert "<td>birds.csv</td><td>3</td><td>hatched</td>" in page.replace("\n", "")


def test_an_import_without_file_or_name_asks_for_them(cast):
    page = cast.clients.stranger.post(IMPORT, {"into": ""}).content.decode()
    assert "Give the new flock a name" in page and "Choose a file." in page
