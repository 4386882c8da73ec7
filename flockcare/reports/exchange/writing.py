"""Writes a flock as an exchange: the same records give the same files, byte for byte."""

import csv
import io
import shutil
import zipfile
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

from django.core.files.storage import default_storage
from django.utils.text import slugify

from flockcare.birds.models import Bird, Weighing
from flockcare.care.models import CareStep, KitItem
from flockcare.feet.models import Check
from flockcare.housing.models import Feature, House, HousingChange, Stay, Walk
from flockcare.people.models import Flock
from flockcare.photos.models import Measurement, Photo
from flockcare.reports.exchange import rows
from flockcare.reports.exchange.cells import guard
from flockcare.reports.exchange.columns import FILES, FREE_TEXT
from flockcare.reports.exchange.labels import label_birds
from flockcare.reports.exchange.pictures import NO_CHECK
from flockcare.reports.exchange.problems import Problem, Refused

# A zip keeps a time for each file; the same one always, for the sake of equal bytes.
_ZIP_TIME = (1980, 1, 1, 0, 0, 0)


def export(flock: Flock, path: Path | str) -> dict[str, int]:
    """Write ``flock`` to a new folder, or to a new file if ``path`` ends with ".zip".

    Gives the number of rows in each file. Raises Refused when something is there already or a
    photo's file is missing.
    """
    path = Path(path)
    if path.exists() and not (path.is_dir() and not any(path.iterdir())):
        raise Refused([Problem(str(path), "There is something of that name already.")])
    tables, photos = collect(flock)
    unfinished = path.with_name(f"{path.name}.unfinished")
    write = _write_zip if path.suffix.lower() == ".zip" else _write_folder
    try:
        write(unfinished, tables, photos)
    except FileNotFoundError as error:
        _remove(unfinished)
        message = f"A photo's file is missing in the storage: {error.filename}"
        raise Refused([Problem("photos.csv", message)]) from error
    except BaseException:
        _remove(unfinished)
        raise
    if path.is_dir():
        path.rmdir()
    unfinished.replace(path)
    return {name: len(table) for name, table in tables.items()}


def collect(flock: Flock) -> tuple[dict[str, list[list[str]]], dict[str, str]]:
    """The rows of each file, and for each photo's name in the exchange its name in the storage."""
    birds = list(Bird.objects.filter(flock=flock).select_related("breed"))
    labels, zone = label_birds(birds), flock.zone
    photos = Photo.objects.filter(flock=flock).select_related("sorting").order_by("sha256")
    files = _file_names(photos, labels, zone)
    tables = {
        "birds.csv": [rows.bird_cells(bird, labels[bird.pk]) for bird in birds],
        "weights.csv": [
            rows.weighing_cells(weighing, labels)
            for weighing in Weighing.objects.filter(flock=flock)
        ],
        "housing.csv": list(_housing_rows(flock)),
        "housing_changes.csv": [
            rows.change_cells(change, [files[photo.pk] for photo in change.photos.all()])
            for change in HousingChange.objects.filter(flock=flock, planned=False)
            .select_related("house", "keeper")
            .prefetch_related("photos")
        ],
        "walks.csv": [
            rows.walk_cells(walk)
            for walk in Walk.objects.filter(flock=flock).select_related("house", "keeper")
        ],
        "stays.csv": [
            rows.stay_cells(stay, labels)
            for stay in Stay.objects.filter(flock=flock).select_related("house")
        ],
        "checks.csv": [
            rows.check_cells(check, check.findings.all(), labels, zone)
            for check in Check.objects.filter(flock=flock)
            .select_related("keeper")
            .prefetch_related("findings")
        ],
        "kit.csv": [rows.kit_cells(item) for item in KitItem.objects.filter(flock=flock)],
        "care.csv": [
            rows.care_cells(step, labels, zone)
            for step in CareStep.objects.filter(flock=flock).select_related("keeper", "item")
        ],
        "photos.csv": list(_photo_rows(flock, photos, files, labels)),
        "measurements.csv": [
            rows.measurement_cells(measurement, files, zone)
            for measurement in Measurement.objects.filter(
                flock=flock, photo__deleted_at=None
            ).select_related("keeper")
        ],
    }
    for name, table in tables.items():
        table.sort(key=_in_order(name))
    return tables, {files[photo.pk]: photo.path() for photo in photos}


def _in_order(name: str):
    """Checks, care and weighings by day, everything else by its cells from left to right."""
    columns = FILES[name].all
    first = [columns.index(column) for column in ("date", "time") if column in columns]
    return lambda cells: ([cells[at] for at in first], cells)


def _housing_rows(flock) -> Iterator[list[str]]:
    features = defaultdict(list)
    for feature in (
        Feature.objects.filter(flock=flock).select_related("house").prefetch_related("states")
    ):
        features[feature.house_id].append(feature)
    for house in House.objects.filter(flock=flock):
        about_it = rows.house_cells(house)
        if any(about_it[1:]) or not features[house.pk]:
            yield about_it
        for feature in features[house.pk]:
            for state in feature.states.all() or [None]:
                yield rows.feature_cells(feature, state)


# --- Photos


def _photo_rows(flock, photos, files, labels) -> Iterator[list[str]]:
    checks, zone = defaultdict(list), flock.zone
    links = Check.photos.through.objects.filter(photo__flock=flock)
    for link in links.select_related("check__keeper").prefetch_related("check__findings"):
        checks[link.photo_id].append(link.check)
    steps = defaultdict(list)
    links = CareStep.photos.through.objects.filter(photo__flock=flock)
    for link in links.select_related("carestep__keeper", "carestep__item"):
        steps[link.photo_id].append(link.carestep)
    for photo in photos:
        hers = [check for check in checks[photo.pk] if check.bird_id == photo.bird_id]
        tended = [step for step in steps[photo.pk] if step.bird_id == photo.bird_id]
        moments = sorted(" ".join(rows.check_day_and_time(check, zone)).strip() for check in hers)
        yield rows.photo_cells(
            photo,
            labels,
            zone,
            file=files[photo.pk],
            score=_score(hers, photo.foot),
            check=";".join(moments) or NO_CHECK,
            care=";".join(sorted(rows.step_moment(step, zone) for step in tended)),
            sorting=getattr(photo, "sorting", None),
        )


def _score(checks, foot: str) -> str:
    scores = {
        str(finding.score)
        for check in checks
        for finding in check.findings.all()
        if finding.foot == foot
    }
    return scores.pop() if len(checks) == len(scores) == 1 else ""


def _file_names(photos, labels, zone) -> dict:
    names = set()
    return {photo.pk: _file_name(photo, labels, zone, names) for photo in photos}


def _file_name(photo, labels, zone, names: set[str]) -> str:
    taken = rows.taken_text(photo, zone)[:10] or "undated"
    bird = slugify(labels[photo.bird_id]) if photo.bird_id else "unknown"
    start = "-".join(part for part in (taken, bird, photo.foot) if part)
    digits = next(n for n in range(8, 65) if f"{start}-{photo.sha256[:n]}" not in names)
    names.add(f"{start}-{photo.sha256[:digits]}")
    return f"photos/{start}-{photo.sha256[:digits]}.jpg"


# --- Files


def csv_bytes(name: str, table: list[list[str]]) -> bytes:
    """One file as RFC 4180 has it: CRLF between rows, quotes where they are needed."""
    columns = FILES[name].all
    guarded = [column in FREE_TEXT for column in columns]
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows(
        [guard(text) if free else text for text, free in zip(cells, guarded, strict=True)]
        for cells in table
    )
    return out.getvalue().encode()


def _write_folder(root: Path, tables, photos) -> None:
    _remove(root)
    root.mkdir(parents=True)
    for name, table in tables.items():
        (root / name).write_bytes(csv_bytes(name, table))
    if photos:
        (root / "photos").mkdir()
    for name, stored in photos.items():
        with default_storage.open(stored) as picture, (root / name).open("wb") as file:
            shutil.copyfileobj(picture, file)


def _write_zip(path: Path, tables, photos) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        for name, table in tables.items():
            entry = zipfile.ZipInfo(name, _ZIP_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, csv_bytes(name, table))
        for name, stored in photos.items():
            with (
                default_storage.open(stored) as picture,
                archive.open(zipfile.ZipInfo(name, _ZIP_TIME), "w") as file,
            ):
                shutil.copyfileobj(picture, file)


def _remove(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
