"""Photos whose files were lost: the export goes on and says so, and so does an import of it."""

import errno
import io
import zipfile
from datetime import UTC, datetime

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse

from flockcare.exchange import writing
from flockcare.exchange.importing import work
from flockcare.exchange.models import Import
from flockcare.exchange.services import export
from flockcare.exchange.writing import Export
from flockcare.people.models import Flock, Revision
from flockcare.photos.editing import crop
from flockcare.photos.models import Measurement, Photo
from tests.exchange.exchanges import (
    BIRDS,
    bring_in,
    csv_files,
    problems_of,
    rows_of,
    there_and_back,
)
from tests.exchange.folders import picture, write_folder

pytestmark = pytest.mark.django_db
LETTER = "lost-photos.txt"
DRAWN = {
    **{"scaled_by": "card", "to_mm": [[0.1, 0, 0], [0, 0.1, 0], [0, 0, 1]]},
    **{"outline_px": [[10, 10], [70, 10], [10, 110]], "outline_mm": [[1, 1], [7, 1], [1, 11]]},
    **{"area_mm2": 30.0, "perimeter_mm": 28.0, "longest_diameter_mm": 11.7},
    "relative_area_error": 0.1,
}


def _with_photos(flock, tmp_path):
    """One photo of Sage with an outline, cropped, and one of Thyme."""
    pictures = {"a.jpg": picture("red", (320, 240)), "b.jpg": picture("blue", (322, 240))}
    photos = [
        {"file": "a.jpg", "bird": "Sage", "foot": "left", "taken": "2024-01-05", "note": "big"},
        {"file": "b.jpg", "bird": "Thyme", "taken": "2024-01-06"},
    ]
    bring_in(write_folder(tmp_path / "in", pictures, birds=BIRDS, photos=photos), flock)
    lost, kept = Photo.objects.filter(flock=flock).order_by("width")
    at = datetime(2024, 1, 7, 12, tzinfo=UTC)
    Measurement.objects.create(flock=flock, photo=lost, at=at, **DRAWN)
    crop(photo=lost, keeper=None, box=(0, 0, 200, 200))
    return lost, kept


@pytest.fixture
def flock(tmp_path):
    """A flock of which the file of one photo is lost."""
    flock = Flock.objects.create(name="Test yard", time_zone="Europe/London")
    lost, _ = _with_photos(flock, tmp_path)
    default_storage.delete(lost.path())
    return flock


def test_the_export_goes_on_and_says_which_are_lost(flock, tmp_path):
    exported = export(flock, tmp_path / "out")
    (name,) = exported.lost
    assert name.startswith("photos/2024-01-05-sage-left-")
    assert not (tmp_path / "out" / name).exists()
    assert name in (tmp_path / "out" / LETTER).read_text().splitlines()
    lost, kept = rows_of(csv_files(tmp_path / "out"), "photos.csv")
    assert (lost["file"], lost["lost"], lost["file_sha256"]) == (name, "320 240", "")
    assert kept["lost"] == "" and (tmp_path / "out" / kept["file"]).exists()


def test_without_a_lost_photo_there_is_no_letter(flock, tmp_path):
    Photo.objects.filter(width=320).delete()
    assert export(flock, tmp_path / "out").lost == []
    assert not (tmp_path / "out" / LETTER).exists()


def _gone(stored):
    default_storage.delete(stored)


def _emptied(stored):
    default_storage.delete(stored)
    default_storage.save(stored, ContentFile(b""))


@pytest.mark.parametrize("lose", [_gone, _emptied])
def test_a_file_that_is_lost_while_the_export_is_sent_breaks_nothing(tmp_path, lose):
    flock = Flock.objects.create(name="Test yard")
    photo, _ = _with_photos(flock, tmp_path)
    exported, out = Export(flock), io.BytesIO()
    pieces = exported.zipped()
    out.write(next(pieces))
    lose(photo.path())
    for piece in pieces:
        out.write(piece)
    with zipfile.ZipFile(out) as archive:
        assert archive.testzip() is None
        assert exported.lost[0] in archive.read(LETTER).decode()


def test_a_file_that_the_disk_does_not_give_out_is_lost(tmp_path, monkeypatch):
    flock = Flock.objects.create(name="Test yard")
    photo, _ = _with_photos(flock, tmp_path)

    class Broken:
        def open(self, name):
            if name == photo.path():
                raise OSError(errno.EIO, "Input/output error")
            return default_storage.open(name)

    monkeypatch.setattr(writing, "default_storage", Broken())
    assert len(export(flock, tmp_path / "out").lost) == 1


def test_all_that_is_known_of_a_lost_photo_comes_back(flock, tmp_path):
    first, second = there_and_back(flock, tmp_path)
    assert first == second
    letters = [(tmp_path / name / LETTER).read_bytes() for name in ("first", "second")]
    assert letters[0] == letters[1]
    brought = Photo.objects.exclude(flock=flock).get(width=320)
    assert (brought.bird.name, brought.note, brought.height) == ("Sage", "big", 240)
    assert brought.crop == [0, 0, 200, 200] and brought.stored_bytes == 0
    assert not default_storage.exists(brought.path()), "no file is made up"
    assert Measurement.objects.get(photo=brought).area_mm2 == 30
    # The history goes on speaking of the right photo.
    cropped = Revision.objects.exclude(flock=flock).get(kind="photos.Photo")
    assert cropped.record == brought.pk


def test_an_import_says_which_are_lost(flock, tmp_path):
    exported = export(flock, tmp_path / "out.zip")
    other = Flock.objects.create(name="Other", time_zone="Europe/London")
    plan = bring_in(tmp_path / "out.zip", other)
    assert plan.lost == exported.lost and plan.counts()["photos"] == (2, 0)
    again = bring_in(tmp_path / "out.zip", other)
    assert again.lost == [] and again.counts()["photos"] == (0, 2)


def test_a_lost_picture_that_is_found_again_can_be_put_into_the_export(flock, tmp_path):
    (name,) = export(flock, tmp_path / "out").lost
    (tmp_path / "out" / name).write_bytes(picture("red", (320, 240)))
    other = Flock.objects.create(name="Other", time_zone="Europe/London")
    assert bring_in(tmp_path / "out", other).lost == []
    assert default_storage.exists(Photo.objects.get(flock=other, width=320).path())


SHA256 = "0" * 64


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ({"lost": ""}, "file", "There is no file “a.jpg”"),
        ({"lost": "320"}, "lost", "not a width and a height"),
        ({"lost": "0 240"}, "lost", "not a width and a height"),
        ({"lost": "320 99999"}, "lost", "not a width and a height"),
        ({"lost": "yes"}, "lost", "not a whole number"),
        ({"lost": "320 240", "sha256": ""}, "sha256", "must not be empty"),
        ({"lost": "320 240", "crop": "0 0 321 240"}, "crop", "outside the photo"),
    ],
)
def test_a_row_that_does_not_say_enough_is_named(tmp_path, row, column, words):
    flock = Flock.objects.create(name="Test yard")
    photos = [{"file": "a.jpg", "sha256": SHA256, **row}]
    *places, text = problems_of(write_folder(tmp_path / "in", photos=photos), flock)
    assert places == [("photos.csv", 2, column)] and words in text


# --- Where people see it


def test_the_pages_give_and_take_it_and_say_so(cast, tmp_path):
    lost, _ = _with_photos(cast.flock, tmp_path)
    default_storage.delete(lost.path())
    address = reverse("export", args=[cast.flock.pk])
    data = b"".join(cast.clients.keeper.get(address))
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.testzip() is None and LETTER in archive.namelist()
    file = SimpleUploadedFile("records.zip", data)
    answer = cast.clients.stranger.post("/flocks/import/", {"file": file, "name": "Second"})
    work(Import.objects.get().pk)
    page = cast.clients.stranger.get(answer.headers["Location"]).content.decode()
    assert "The file of 1 photo was lost before the export" in page and "2024-01-05-sage" in page


def test_the_commands_say_so(flock, tmp_path, capsys):
    call_command("export_records", tmp_path / "out.zip", flock="Test yard")
    assert "is lost: photos/2024-01-05-sage" in capsys.readouterr().err
    call_command("import_records", tmp_path / "out.zip", flock="New", create=True)
    assert "lost before the export: photos/2024-01-05-sage" in capsys.readouterr().err
