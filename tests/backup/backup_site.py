"""What happens in the installations of the tests of backups; each deed runs as a process.

    FLOCKCARE_DATA=… python tests/backup/backup_site.py DEED [ARGUMENTS]

prepare      keepers, birds, checks with photos; one photo is turned, one deleted
add N        N checks with a photo each, as fast as it goes
turn N       turns and crops photos, N times
look         opens pages as somebody who signs in; prints JSON
old-rows     a flock, bird, photo and history in the tables of the first migrations
slow-backup  a backup that waits at every file, to be cut off
cut-restore  a restore over what is there, killed as it comes to the step that is named first
"""

import io
import json
import os
import signal
import sys
import time
import uuid
from pathlib import Path

import django
import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
django.setup()

from django.conf import settings  # noqa: E402
from django.core.exceptions import ValidationError  # noqa: E402
from django.db import connection, transaction  # noqa: E402
from django.test import Client, override_settings  # noqa: E402
from django.utils import timezone  # noqa: E402

from flockcare.backup import making, restoring  # noqa: E402
from flockcare.backup.services import make  # noqa: E402
from flockcare.birds.models import Bird  # noqa: E402
from flockcare.feet.models import Check, FootFinding  # noqa: E402
from flockcare.people.models import Flock, Keeper  # noqa: E402
from flockcare.people.services import add_keeper, start_flock  # noqa: E402
from flockcare.photos import editing  # noqa: E402
from flockcare.photos.models import Photo  # noqa: E402
from flockcare.photos.services import add_photo  # noqa: E402
from tests.running.step_by_step import one_by_one  # noqa: E402

PASSWORD = "straw and oats 7"
PLAIN = "django.contrib.staticfiles.storage.StaticFilesStorage"


def picture(seed: int) -> io.BytesIO:
    grain = np.random.default_rng(seed).integers(0, 255, (6, 8, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(grain).resize((320, 240)).save(out, "JPEG")
    return out


def add_check(flock, keeper, bird, seed: int) -> Photo:
    photo, _ = add_photo(
        flock=flock, keeper=keeper, upload=picture(seed), name="foot.jpg", bird=bird, foot="left"
    )
    with transaction.atomic():
        check = Check.objects.create(flock=flock, bird=bird, at=timezone.now(), keeper=keeper)
        FootFinding.objects.create(check_record=check, foot="left", score=1)
        check.photos.add(photo)
    return photo


def prepare():
    owner = add_keeper(name="Ada", sign_in_name="ada", password=PASSWORD)
    flock = start_flock(owner=owner, name="Hill Flock", time_zone="Europe/London", units="metric")
    birds = [Bird.objects.create(flock=flock, name=name) for name in ("Dill", "Mace", "Sorrel")]
    photos = [add_check(flock, owner, bird, seed) for seed, bird in enumerate(birds)]
    editing.turn(photo=photos[0], keeper=owner, quarter_turns=1)
    editing.delete(photo=photos[1], keeper=owner)
    client = Client()
    client.force_login(owner)
    SESSION.write_text(client.cookies["flockcare_session"].value)


def add(times):
    flock, keeper, bird = Flock.objects.get(), Keeper.objects.get(), Bird.objects.first()
    start = int(time.time_ns()) ^ os.getpid()
    for number in range(int(times)):
        add_check(flock, keeper, bird, start + number)
        if number == 0:
            print("writing", flush=True)


def turn(times):
    keeper = Keeper.objects.get()
    for number in range(int(times)):
        for photo in Photo.objects.order_by("?")[:3]:
            try:
                editing.turn(photo=photo, keeper=keeper, quarter_turns=1)
            except ValidationError:
                continue
        if number == 0:
            print("writing", flush=True)


@override_settings(STORAGES={**settings.STORAGES, "staticfiles": {"BACKEND": PLAIN}})
def look():
    client = Client(headers={"host": "localhost"})
    flock = Flock.objects.get()
    seen = {}
    answer = client.post("/sign-in/", {"sign_in_name": "ada", "password": PASSWORD})
    seen["sign in"] = answer.status_code
    for name in ("today", "birds"):
        seen[name] = client.get(f"/f/{flock.pk}/{name}/").status_code
    seen["photos"] = [
        client.get(f"/f/{flock.pk}/photos/{photo.pk}/240.jpg").status_code
        for photo in Photo.objects.all()
    ]
    deleted = Photo.with_deleted.exclude(deleted_at=None).get()
    put_back = client.post(f"/f/{flock.pk}/photos/{deleted.pk}/put-back/")
    seen["deleted photo put back"] = put_back.status_code
    assert Photo.objects.filter(pk=deleted.pk).exists()
    old = Client(headers={"host": "localhost"})
    # The key of the session as it was where the backup was made.
    old.cookies["flockcare_session"] = SESSION.read_text()
    seen["old session"] = old.get(f"/f/{flock.pk}/today/").status_code
    print(json.dumps(seen))


def old_rows():
    """With SQL, since the models of today have other columns."""
    one_by_one(connection).migrate([("photos", "0001_initial")])
    flock, bird, photo = (uuid.uuid4() for _ in range(3))
    _insert("people_flock", id=flock.hex, name="Old", time_zone="UTC")
    _insert("birds_bird", id=bird.hex, flock_id=flock.hex, name="Dill")
    _insert("photos_photo", id=photo.hex, flock_id=flock.hex, bird_id=bird.hex, foot="left")
    # A house was removed with what stood in it, which nothing said.
    house, bar = uuid.uuid4(), uuid.uuid4()
    removed = {"flock_id": flock.hex, "deed": "delete", "at": "2024-03-01 10:00:00"}
    held = json.dumps({"house_id": str(house)})
    _insert("people_revision", kind="housing.Feature", record=bar.hex, before=held, **removed)
    _insert("people_revision", kind="housing.House", record=house.hex, before="{}", **removed)
    folder = Path(os.environ["FLOCKCARE_DATA"], "files/photos", str(flock), str(photo))
    folder.mkdir(parents=True)
    for name in ("full", "1600", "800", "240"):
        (folder / f"{name}.jpg").write_bytes(picture(1).getvalue())


def _insert(table: str, **given):
    """Whatever else a row needs is empty, 1 or now."""
    with connection.cursor() as cursor:
        for _, name, kind, required, *_ in cursor.execute(f"PRAGMA table_info({table})").fetchall():
            if required and name not in given and name != "id":
                text = "char" in kind or "text" in kind
                given[name] = timezone.now() if "date" in kind else "" if text else 1
        names = ", ".join(f'"{name}"' for name in given)
        marks = ", ".join("%s" for _ in given)
        insert = f"INSERT INTO {table} ({names}) VALUES ({marks})"  # noqa: S608
        cursor.execute(insert, list(given.values()))


def cut_restore(step, path):
    def killed(*_):
        os.kill(os.getpid(), signal.SIGKILL)

    assert callable(getattr(restoring, step))
    setattr(restoring, step, killed)
    restoring.restore(Path(path), replace=True)


def slow_backup(path):
    put = making._put

    def slowly(out, name):
        answer = put(out, name)
        print("begun", flush=True)
        time.sleep(0.5)
        return answer

    making._put = slowly
    make(Path(path))


SESSION = Path(os.environ["FLOCKCARE_DATA"]).parent / "session"
DEEDS = {
    each.__name__.replace("_", "-"): each
    for each in (prepare, add, turn, look, old_rows, slow_backup, cut_restore)
}

if __name__ == "__main__":
    DEEDS[sys.argv[1]](*sys.argv[2:])
