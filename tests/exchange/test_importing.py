"""An import in the background: seen from outside, cut off midway, cancelled, taken back."""

import io
import re
import zipfile
from datetime import timedelta

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.models import KitItem
from flockcare.exchange import importing, pictures
from flockcare.exchange.models import Import
from flockcare.exchange.problems import Problem, Refused
from flockcare.exchange.writing import Export
from flockcare.people.models import Flock, Membership, Revision
from flockcare.photos.models import Photo
from tests.care.steps import ago
from tests.exchange.folders import picture
from tests.people.rows import same_queries

pytestmark = pytest.mark.django_db
COLOURS = ("red", "green", "blue")


class Killed(BaseException):
    """As a process that ends: nothing in it catches this."""


@pytest.fixture(autouse=True)
def _apart(settings, tmp_path, monkeypatch):
    settings.DATA_DIR = tmp_path
    # Each photo is told, however quick they are read.
    monkeypatch.setattr(importing, "_BEAT_SECONDS", 0)


def _zipped(**files) -> SimpleUploadedFile:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("birds.csv", "bird\nSage\nThyme\n")
        rows = [f"{colour}.jpg,Sage,left,2024-01-02" for colour in COLOURS]
        archive.writestr("photos.csv", "\n".join(["file,bird,foot,taken", *rows]))
        for number, colour in enumerate(COLOURS):
            archive.writestr(f"{colour}.jpg", picture(colour, (80, 60 + number)))
        for name, data in files.items():
            archive.writestr(name.replace("_csv", ".csv"), data)
    return SimpleUploadedFile("records.zip", out.getvalue())


@pytest.fixture
def job(cast):
    return importing.begin(keeper=cast.stranger, file=_zipped(), name="Second yard", into=None)


def _page(cast, job, **headers):
    return cast.clients.stranger.get(reverse("exchange:importing", args=[job.pk]), headers=headers)


def _stored() -> int:
    try:
        return sum(1 for _ in default_storage.stored(""))
    except FileNotFoundError:
        return 0


def _nothing_came_in(tmp_path, *, uploads=0, files=0):
    assert not Flock.objects.filter(name="Second yard").exists()
    assert not Bird.objects.exists() and not Photo.objects.exists()
    assert _stored() == files
    assert len(list(tmp_path.glob(".import-*"))) == uploads


def test_the_page_tells_how_many_photos_are_read_and_what_came_of_it(cast, job, monkeypatch):
    seen = []
    whole = pictures.picture_of

    def picture_of(row):
        seen.append(_page(cast, job, hx_request="true").text)
        return whole(row)

    monkeypatch.setattr(pictures, "picture_of", picture_of)
    importing.work(job.pk)
    for number, piece in enumerate(seen):
        assert f"{number} of 3 photos read" in piece and 'hx-trigger="every 2s"' in piece
        assert "<html" not in piece
    page = _page(cast, job).text
    assert "Imported: 2 birds, 3 photos." in page and "hx-trigger" not in page
    assert "Undo this" in page
    # It is somebody's own affair.
    for name in ("owner", "viewer"):
        for address in ("importing", "import_cancel"):
            client = getattr(cast.clients, name)
            page = client.get if address == "importing" else client.post
            assert page(reverse(f"exchange:{address}", args=[job.pk])).status_code == 404


def test_the_way_in_leads_back_to_one_that_is_under_way(cast, job):
    link = reverse("exchange:importing", args=[job.pk])
    assert link in cast.clients.stranger.get(reverse("import")).text
    assert link not in cast.clients.owner.get(reverse("import")).text
    importing.work(job.pk)
    assert link not in cast.clients.stranger.get(reverse("import")).text


@pytest.mark.parametrize("place", ["decoding", "saving"])
def test_a_killed_worker_is_followed_by_another_and_nothing_is_doubled(
    cast, job, monkeypatch, tmp_path, place
):
    def kill(*args, **kwargs):
        raise Killed

    with monkeypatch.context() as patch:
        if place == "decoding":
            patch.setattr(pictures, "take_in", kill)
        else:
            patch.setattr(importing, "in_words", kill)
        with pytest.raises(Killed):
            importing.work(job.pk)
    # Who is killed can remove nothing: files without a record go with others, after a day.
    _nothing_came_in(tmp_path, uploads=1, files=0 if place == "decoding" else 12)
    # As long as it may still be alive, nobody else begins.
    importing.work(job.pk)
    job.refresh_from_db()
    assert job.state == "working" and not importing.is_left(job)
    silent = timezone.now() - importing.SILENT - timedelta(seconds=1)
    Import.objects.update(seen_at=silent)
    job.refresh_from_db()
    assert importing.is_left(job)
    importing.work(job.pk)
    importing.work(job.pk)
    assert (Bird.objects.count(), Photo.objects.count()) == (2, 3)
    assert Membership.objects.get(flock__name="Second yard").keeper == cast.stranger
    assert Import.objects.get().state == "done" and not list(tmp_path.glob(".import-*"))


def test_who_was_taken_for_dead_saves_nothing_once_another_has(cast, job, monkeypatch, tmp_path):
    """The first comes back to life just before it saves."""
    told = importing.in_words

    def another_first(plan):
        monkeypatch.setattr(importing, "in_words", told)
        Import.objects.update(worker=cast.owner.pk)
        return told(plan)

    monkeypatch.setattr(importing, "in_words", another_first)
    importing.work(job.pk)
    _nothing_came_in(tmp_path, uploads=1)
    assert Import.objects.get().state == "working"


def test_who_was_taken_for_dead_leaves_the_upload_to_the_other(cast, job, monkeypatch, tmp_path):
    def refuse(*args, **kwargs):
        Import.objects.update(worker=cast.owner.pk)
        raise Refused([Problem("import", "Too late.")])

    with monkeypatch.context() as patch:
        patch.setattr(importing, "check", refuse)
        importing.work(job.pk)
    _nothing_came_in(tmp_path, uploads=1)
    Import.objects.update(seen_at=None)
    importing.work(job.pk)
    assert Import.objects.get().state == "done"


def test_what_ends_its_process_again_and_again_is_given_up(cast, job, tmp_path):
    Import.objects.update(tries=importing.MOST_TRIES)
    importing.work(job.pk)
    assert "stopped 3 times" in _page(cast, job).text
    _nothing_came_in(tmp_path)


def test_what_is_left_is_gone_on_with_by_the_hour(
    cast, job, monkeypatch, django_capture_on_commit_callbacks
):
    begun = []
    monkeypatch.setattr(importing, "_in_thread", begun.append)
    with django_capture_on_commit_callbacks(execute=True):
        importing.go_on_with_left()
    assert begun == [job.pk]
    Import.objects.update(seen_at=timezone.now())
    with django_capture_on_commit_callbacks(execute=True):
        importing.go_on_with_left()
    assert begun == [job.pk], "somebody is at it"
    Import.objects.update(started_at=ago(2))
    importing.go_on_with_left()
    assert "not finished within a day" in _page(cast, job).text


def test_it_can_be_cancelled_while_photos_are_read(cast, job, monkeypatch, tmp_path):
    whole = pictures.picture_of

    def picture_of(row):
        if row.row.line == 3:
            cast.clients.stranger.post(reverse("exchange:import_cancel", args=[job.pk]))
        return whole(row)

    monkeypatch.setattr(pictures, "picture_of", picture_of)
    importing.work(job.pk)
    _nothing_came_in(tmp_path)
    assert "Nothing was imported" in _page(cast, job).text


@pytest.mark.parametrize("fault", ["a bad row", "a fault of ours"])
def test_a_failure_says_why_and_leaves_nothing(cast, monkeypatch, tmp_path, fault):
    weights = "bird,date,grams\nSage,2024-01-02,2000\nNobody,2024-01-02,2000\n"
    file = _zipped(**{"weights_csv": weights} if fault == "a bad row" else {})
    job = importing.begin(keeper=cast.stranger, file=file, name="Second yard", into=None)
    if fault == "a fault of ours":
        monkeypatch.setattr(importing, "in_words", lambda plan: 1 / 0)
    importing.work(job.pk)
    _nothing_came_in(tmp_path)
    page = _page(cast, job).text
    words = "No bird is called “Nobody”" if fault == "a bad row" else "Something went wrong here"
    assert words in page and "?name=Second%20yard" in page


def test_it_is_taken_back_and_what_was_recorded_since_stays(cast, job):
    importing.work(job.pk)
    flock = Flock.objects.get(name="Second yard")
    KitItem.objects.create(flock=flock, name="Gauze")
    job.refresh_from_db()
    back = reverse("pages:changeset", args=[flock.pk, job.changeset])
    assert back in _page(cast, job).text
    assert "Undo this import" in cast.clients.stranger.get(back).text
    answer = cast.clients.stranger.post(back, follow=True)
    assert "Undone: Import of 5 records" in answer.text
    assert not Bird.objects.exists() and not Photo.objects.exists()
    assert KitItem.objects.get().flock == flock


def test_how_it_came_here_is_no_part_of_the_next_export(cast, job):
    importing.work(job.pk)
    flock = Flock.objects.get(name="Second yard")
    assert Revision.objects.filter(flock=flock, action="add").count() == 5
    whole = io.BytesIO(b"".join(filter(None, Export(flock).zipped())))
    with zipfile.ZipFile(whole) as archive:
        assert archive.read("history.csv").decode().count("\r\n") == 1


def test_the_progress_asks_as_much_for_many_photos(cast, job):
    def grow():
        Import.objects.update(photos=900, photos_done=40)

    address = reverse("exchange:importing", args=[job.pk])
    same_queries(cast.clients.stranger, address, grow=grow)


def test_each_record_is_counted_once_in_however_many_rows_it_stands(cast):
    """A round has a row for each of its birds."""
    rows = "".join(f"1,2024-01-02 16:00,{bird},{at}\n" for at, bird in enumerate(["Sage", "Thyme"]))
    file = _zipped(rounds_csv=f"round,started,bird,place\n{rows}")
    job = importing.begin(keeper=cast.stranger, file=file, name="Second yard", into=None)
    importing.work(job.pk)
    job.refresh_from_db()
    assert job.told == "2 birds, 3 photos, 1 other record"
    assert Revision.objects.filter(words="Import of 6 records").exists()


def test_old_records_bring_no_queue_of_what_is_years_late(cast):
    """Today says since when nobody checked, and of tasks when they were done last."""
    old = {
        "checks_csv": "bird,date,left_score,right_score\n"
        "Sage,2024-10-08,0,0\nThyme,2024-10-08,1,0\n",
        "housing_csv": "house\nArk\n",
        "tasks_csv": "task,is_on,every_days,from\nmuck out,yes,7,2024-01-01\n",
        "tasks_done_csv": "date,task,house\n2024-10-07,muck out,Ark\n",
        "plans_csv": "bird,foot,kinds,every_days,from,logged\n"
        "Thyme,left,soaked,3,2024-10-08,2024-10-08 18:00\n",
    }
    job = importing.begin(keeper=cast.stranger, file=_zipped(**old), name="Second yard", into=None)
    importing.work(job.pk)
    job.refresh_from_db()
    assert job.state == "done", job.problems
    page = " ".join(cast.clients.stranger.get(f"/f/{job.flock_id}/today/").text.split())
    assert page.count("no check since 8 Oct 2024") == 2
    assert "not since 7 Oct 2024" in page
    assert "late" not in re.sub(r"<[^>]*>", "", page) and "Soak" not in page
