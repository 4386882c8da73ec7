"""Folders, zips and pictures for tests of the exchange; needs no Django."""

import csv
import io
import zipfile

from PIL import Image


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


def picture(colour="brown", size=(320, 240), **save) -> bytes:
    """A JPEG that differs from pictures of other colours in its look as well."""
    image = Image.new("RGB", size, "white")
    image.paste(colour, (40, 40, 200, 160))
    out = io.BytesIO()
    image.save(out, "JPEG", **save)
    return out.getvalue()
