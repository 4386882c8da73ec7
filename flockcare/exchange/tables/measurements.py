"""Outlines drawn in photos, with every figure as it was kept.

Points and rows of numbers are separated by ";", the numbers in them by blanks. Each number has all
its figures.
"""

from flockcare.exchange import cells
from flockcare.exchange.tables.base import Table, keys
from flockcare.exchange.tables.columns import Kind, Link, fields_of, person
from flockcare.exchange.tables.photos import named_photo
from flockcare.photos.models import Measurement


def _number(name, meaning, unit):
    figures = {"reader": cells.exact, "writer": cells.exact_text}
    return fields_of(Measurement)(name, meaning, unit=unit, **figures)


def _rows(name, meaning, reader):
    return fields_of(Measurement)(
        *(name, meaning, Kind.CODE), reader=reader, writer=cells.number_rows_text
    )


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


class _Photo(Link):
    def value(self, row):
        return named_photo(row, self.name, row.text(self.name))


class Measurements(Table):
    name = "measurements.csv"
    about = "Outlines drawn in photos, and what follows from them."
    model = Measurement
    columns = (
        _Photo(
            "file",
            "The photo.",
            Kind.CODE,
            of="photos.csv",
            required=True,
            attr="photo",
            known="photos",
        ),
        fields_of(Measurement)(
            "measured", "When it was drawn.", Kind.MOMENT, field="at", past=True, needed=True
        ),
        fields_of(Measurement)("scaled_by", "What gave the scale."),
        _number("length_mm", "The known length.", "mm"),
        _number("area_mm2", "Area.", "mm²"),
        _number("perimeter_mm", "Perimeter.", "mm"),
        _number("longest_diameter_mm", "Longest diameter.", "mm"),
        _number("relative_area_error", "95% bound of the area, as a fraction.", "1"),
        _rows("to_mm", "Homography from pixels to mm, row by row.", _homography),
        _rows("outline_px", "The outline in pixels of the file: “x y;x y;…”.", _outline),
        _rows("outline_mm", "The same points in mm.", _outline),
        # These may be left out.
        person("Who drew it, by name."),
        _number("height_mm", "How far above the card the sore stood.", "mm"),
    )

    def checked(self, row, record):
        # A photo with a problem of its own needs no second message.
        is_whole = row.good and record.photo.width is not None
        return super().checked(row, record) if is_whole else record

    def items(self, flock):
        return super().items(flock).filter(photo__deleted_at=None)

    def rows(self, outgoing):
        for one in self.items(outgoing.flock):
            if one.photo_id in outgoing.names.photos:
                yield self.cells(self.to_row(one, outgoing.names)), keys(one)
