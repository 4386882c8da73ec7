"""The part of ``outbox_faults.py`` that kills an import with photos midway, and runs it again."""

import csv
import hashlib
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

from tests.offline.audit import Findings, look_at_files
from tests.offline.entries import photograph
from tests.offline.sends import picture
from tests.running.killable import Killable
from tests.running.served import ROOT

FLOCK = "Flock of the import"
WAITING = "/.import-"  # Where its pictures wait until all of them are read.


def make_folder(folder: Path, photos: int) -> dict[str, bytes]:
    """Records of one bird with so many photos, a third of them large; the pictures by name."""
    folder.mkdir()
    dice = random.Random(5)
    _write(folder / "birds.csv", [{"bird": "Cumin", "band": "", "breed": "", "weight_class": ""}])
    found = {}
    for number in range(photos):
        colour = tuple(dice.randrange(256) for _ in range(3))
        small = picture(colour, size=(500 + number, 375)).getvalue()
        found[f"{number}.jpg"] = small if number % 3 else photograph(900_000 + number)
    for name, content in found.items():
        (folder / name).write_bytes(content)
    blank = {"bird": "Cumin", "foot": "left", "taken": "2024-03-01", "score": "", "note": ""}
    _write(folder / "photos.csv", [{"file": name, **blank} for name in found])
    return found


def _write(path: Path, rows: list[dict[str, str]]) -> None:
    more = dict.fromkeys(("hatched", "joined", "left", "left_reason"), "")
    rows = [{**row, **more} for row in rows] if path.name == "birds.csv" else rows
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def killed_imports(place: Killable, folder: Path, storage, *, kills: int, photos: int) -> dict:
    """Kill it while it reads, while it stores, and at any moment; then let it come to its end."""
    pictures, dice = make_folder(folder, photos), random.Random(3)
    command = ["manage.py", "import_records", str(folder), "--flock", FLOCK, "--create"]
    command += ["--owner", "ada"]
    done = 0
    for number in range(kills):
        importing = subprocess.Popen(
            [sys.executable, *command],
            cwd=ROOT,
            env=place.environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            aim = ("/files/", WAITING, "")[number % 3] if storage.root else ""
            if aim:
                place.kill_at(part=aim, size=0, target=importing.pid, seconds=20)
            else:
                time.sleep(dice.uniform(1, 3))
        finally:
            importing.kill()
        done += importing.wait() == -signal.SIGKILL
    place.run(*command)
    return {"kills": done, "pictures": pictures}


def look_at_import(found: Findings, now: dict, place, pictures: dict[str, bytes], storage) -> None:
    """Add what is wrong with the imported photos, and what imports left beside the storage."""
    names = storage.names()
    rows = {photo["sha256"]: photo for photo in now["photos"]}
    for name, content in pictures.items():
        if photo := rows.get(hashlib.sha256(content).hexdigest()):
            look_at_files(found, name, content, photo, storage, names)
        else:
            found.gone.add(name)
    left = place.data.glob(".import-*/*")
    found.unowned |= {str(path.relative_to(place.data)) for path in left}
