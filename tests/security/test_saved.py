"""What the Security page says of “saved”, each sentence with the tests that hold it."""

import ast
import os
import re
import uuid
from pathlib import Path

import pytest
from django.urls import reverse

from flockcare.feet.models import Check
from flockcare.offline.models import Receipt
from flockcare.photos.models import Photo
from tests.offline.sends import CLEAR, body, send, send_photo

pytestmark = pytest.mark.django_db
TESTS = Path(__file__).resolve().parents[1]

# By the heading on the page; tests/studies/outbox_faults.py counts all of them at once.
HELD_BY = {
    "Records": {
        "core/test_conventions.py": {"test_the_database_waits_instead_of_failing"},
        "offline/test_records.py": {"test_the_same_sent_again_is_answered_the_same"},
    },
    "Photos": {
        "security/test_saved.py": {
            "test_a_photos_files_are_on_the_disk_before_its_record_and_its_answer"
        },
        "core/test_storage.py": {
            "test_content_then_name_then_folders_reach_the_disk_before_save_returns",
            "test_of_two_that_want_a_name_at_once_each_gets_one_of_its_own",
        },
        "photos/test_twice.py": {
            "test_one_photo_is_kept_whole_and_both_are_answered_alike",
            "test_a_database_that_refuses_leaves_the_other_ones_files",
        },
        "running/test_storage.py": {"test_the_same_photo_twice_at_once"},
    },
    "A power cut or a crash": {
        "core/test_storage.py": {"test_killed_while_writing_it_leaves_no_part_under_the_name"},
        "browser/test_offline_killed.py": {"test_nothing_acknowledged_is_lost_and_nothing_doubled"},
        "photos/test_checking.py": {"test_files_without_a_record_go_when_they_are_a_day_old"},
    },
    "A full disk": {
        "core/test_storage.py": {"test_what_fails_leaves_nothing"},
        "core/test_room.py": {
            "test_a_page_says_it",
            "test_an_outbox_gets_the_reason_and_its_key",
        },
    },
    "A new version": {
        "running/test_starting.py": {
            "test_an_upgrade_keeps_what_was_there_first",
            "test_where_nothing_can_be_kept_nothing_is_upgraded",
        },
    },
    "A broken disk": {
        "photos/test_checking.py": {
            "test_a_photo_without_a_whole_original_is_marked_and_shown",
            "test_an_owner_chooses_the_pictures_again_and_they_are_put_back",
        },
    },
}


def test_each_promise_has_its_tests(cast):
    page = cast.clients.viewer.get(reverse("reports:security", args=[cast.flock.pk]))
    page = page.content.decode()
    part = page[page.index('id="saved"') :]
    part = part[: part.index("</section>")]
    assert re.findall(r"<h3>(.*?)</h3>", part) == list(HELD_BY)
    for files in HELD_BY.values():
        for file, wanted in files.items():
            nodes = ast.walk(ast.parse((TESTS / file).read_text()))
            assert wanted <= {node.name for node in nodes if isinstance(node, ast.FunctionDef)}


def test_a_photos_files_are_on_the_disk_before_its_record_and_its_answer(cast, birds, monkeypatch):
    """SQLite and PostgreSQL sync the record at its commit, which comes after all of this."""
    key = uuid.uuid4()
    send(cast.clients.keeper, cast.flock, body(cast.flock, birds["Dill"], cast.keeper, *CLEAR), key)
    check = Check.objects.get()
    done = []
    fsync, replace, save = os.fsync, Path.replace, Photo.save

    def note_sync(descriptor):
        done.append(("synced", Path(f"/proc/self/fd/{descriptor}").readlink().name))
        fsync(descriptor)

    def note_name(path, target):
        done.append(("named", Path(target).name))
        return replace(path, target)

    def note_record(self, **options):
        done.append(("record", ""))
        return save(self, **options)

    monkeypatch.setattr(os, "fsync", note_sync)
    monkeypatch.setattr(Path, "replace", note_name)
    monkeypatch.setattr(Photo, "save", note_record)
    answer = send_photo(cast.clients.keeper, cast.flock, check.pk, cast.keeper)
    assert answer.status_code == 201 and Receipt.objects.count() == 2
    photo = Photo.objects.get()
    before = done[: done.index(("record", ""))]
    for path in map(Path, photo.paths()):
        written = before.index(("synced", f"{path.name}.part"))
        named = before.index(("named", path.name))
        assert written < named < len(before) - before[::-1].index(("synced", path.parent.name))
