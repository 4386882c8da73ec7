"""Outlines drawn in photos, with every figure as it was kept."""

import numpy as np

from flockcare.exchange import cells
from flockcare.exchange.pictures import named_photo
from flockcare.exchange.rows import FIGURES, KEYS, measurement_cells
from flockcare.photos.models import Measurement, Scaling

FILE = "measurements.csv"
FIELD = Measurement._meta.get_field

_scaled_by = cells.for_field(FIELD("scaled_by"))
_figures = {name: cells.for_field(FIELD(name), cells.exact) for name in FIGURES}


def check_measurements(work) -> None:
    planned = work.read(FILE).each(lambda row: (row, _measurement(work, row)))
    existing = Measurement.objects.filter(flock=work.flock) if planned else []
    added = work.add_unless_there(
        FILE,
        [(_told(one, work.zone), (row, one)) for row, one in planned],
        [(_told(one, work.zone), one) for one in existing],
    )
    for row, measurement in added:
        work.sign(row, measurement, "keeper")
        work.plan.add(measurement)


def _told(measurement, zone) -> tuple:
    # Whoever drew it may be known by name in one flock and not in the other.
    *cells_of, _ = measurement_cells(measurement, KEYS, zone)
    return tuple(cells_of)


def _measurement(work, row) -> Measurement:
    photo = named_photo(work, row)
    measurement = Measurement(
        flock=work.flock,
        photo=photo,
        at=row.need("measured", cells.instant(work.zone, latest=work.now)),
        scaled_by=row.need("scaled_by", _scaled_by),
        length_mm=row.get("length_mm", _length),
        to_mm=row.need("to_mm", _homography),
        outline_px=row.need("outline_px", _outline),
        outline_mm=row.need("outline_mm", _outline),
        **{name: row.need(name, read) for name, read in _figures.items()},
    )
    if measurement.scaled_by == Scaling.LENGTH and not row.text("length_mm"):
        row.wrong("length_mm", "Say how long the known length is.")
    _fits(row, photo, measurement.outline_px, measurement.outline_mm)
    return measurement


def _fits(row, photo, px, mm) -> None:
    if px and mm and len(px) != len(mm):
        row.wrong("outline_mm", f"It has {len(mm)} points; there are {len(px)} in “outline_px”.")
    if px and photo and photo.width and not _inside(px, photo):
        row.wrong("outline_px", "It lies outside the photo.")


def _inside(points, photo) -> bool:
    # A finger may have touched the very edge.
    x, y = np.transpose(points)
    return bool(min(x.min(), y.min()) >= -1 and x.max() <= photo.width and y.max() <= photo.height)


def _length(text: str) -> float:
    length = cells.exact(text)
    if length <= 0:
        raise ValueError("A known length is longer than nothing.")
    return length


def _homography(text: str) -> list[list[float]]:
    rows = cells.number_rows(text, 3)
    if len(rows) != 3:
        raise ValueError("This is not three rows of three numbers, like 0.1 0 0;0 0.1 0;0 0 1.")
    return rows


def _outline(text: str) -> list[list[float]]:
    points = cells.number_rows(text, 2)
    if len(points) < 3:
        raise ValueError("An outline has three points or more, like 10 10;40 10;25 30.")
    return points
