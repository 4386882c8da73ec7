"""Small exchanges for tests: folders and zips with the rows a test is about."""

import csv
import io
import zipfile
from datetime import UTC, datetime

from PIL import Image

from flockcare.people.models import Flock
from flockcare.reports.exchange import Refused, apply, check, export, read_folder

NOW = datetime(2024, 6, 1, 9, 30, tzinfo=UTC)
BIRDS = [
    {"bird": "Thyme", "band": "green 12", "breed": "Sussex", "hatched": "2021-04"},
    {"bird": "Sage", "band": "red", "weight_class": "bantam"},
]


def csv_text(rows: list[dict]) -> str:
    out = io.StringIO(newline="")
    columns = list(dict.fromkeys(column for row in rows for column in row))
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def write_folder(root, pictures=None, **tables):
    """``write_folder(path, birds=[{…}], checks=[{…}])``; pictures are bytes by file name."""
    root.mkdir(exist_ok=True)
    for name, rows in tables.items():
        (root / f"{name}.csv").write_bytes(csv_text(rows).encode())
    for name, data in (pictures or {}).items():
        path = root / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(data)
    return root


def write_zip(path, files: dict):
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return path


def bring_in(path, flock, **more):
    plan = check(read_folder(path), flock, now=NOW, **more)
    apply(plan)
    return plan


def problems_of(path, flock) -> list[tuple]:
    """(file, line, column) of each problem, with all of them in words last."""
    try:
        check(read_folder(path), flock, now=NOW)
    except Refused as refused:
        return [(p.file, p.line, p.column) for p in refused.problems] + [str(refused)]
    return []


def csv_files(root) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(root.glob("*.csv"))}


def there_and_back(flock, tmp_path, **more):
    """Export, import into another flock, export again: (first, second) CSV files by name."""
    export(flock, tmp_path / "first")
    other = Flock.objects.create(name="The other yard", time_zone=flock.time_zone)
    bring_in(tmp_path / "first", other, **more)
    export(other, tmp_path / "second")
    return csv_files(tmp_path / "first"), csv_files(tmp_path / "second")


def picture(colour="brown", size=(320, 240), **save) -> bytes:
    """A JPEG that differs from pictures of other colours in its look as well."""
    image = Image.new("RGB", size, "white")
    image.paste(colour, (40, 40, 200, 160))
    out = io.BytesIO()
    image.save(out, "JPEG", **save)
    return out.getvalue()
