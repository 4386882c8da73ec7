"""What every column of an export means, inside the export: for people and for programs.

``dictionary.csv`` is a table for reading. ``datapackage.json`` says the same as a Tabular Data
Package (Frictionless Data Package and Table Schema, specs.frictionlessdata.io, version 1). Both
are made from the declarations in ``tables``.
"""

import csv
import io
import json

from flockcare.exchange.tables import FILES
from flockcare.exchange.tables.columns import Column, Kind

DICTIONARY, PACKAGE = "dictionary.csv", "datapackage.json"
# Beside the tables, and never read back.
ABOUT = {DICTIONARY, PACKAGE}
_HEADER = ("file", "column", "meaning", "is", "unit", "values", "required")

# Table Schema, "Types and Formats". Where a cell may be a month or a year only, or lists several
# values, there is no narrower type than "string".
_TYPES = {
    Kind.DAY: {"type": "date"},
    Kind.TIME: {"type": "time", "format": "any"},
    Kind.MOMENT: {"type": "datetime", "format": "any"},
    Kind.INTEGER: {"type": "integer"},
    Kind.NUMBER: {"type": "number"},
    Kind.YES: {"type": "boolean", "trueValues": ["yes"], "falseValues": ["no"]},
}


def dictionary() -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_HEADER)
    for name, file in FILES.items():
        for column in file.columns:
            writer.writerow(_explained(name, column))
    return out.getvalue().encode()


def _explained(name: str, column: Column) -> list[str]:
    values = "; ".join(
        value if value.lower() == label.lower() else f"{value} = {label}"
        for value, label in column.values
    )
    required = "yes" if column.required else ""
    return [name, column.name, column.meaning, column.kind, column.unit, values, required]


def package() -> bytes:
    content = {
        "profile": "tabular-data-package",
        "name": "flock-records",
        "title": "Records of a flock of hens and the health of their feet",
        "description": (
            "Dates are ISO 8601, times are local times of the flock, an empty cell says “not "
            "known”. Free text that a spreadsheet would take for a formula has an apostrophe in "
            "front that is not part of it."
        ),
        "resources": [_resource(name) for name in FILES],
    }
    return (json.dumps(content, ensure_ascii=False, indent=1) + "\n").encode()


def _resource(name: str) -> dict:
    file = FILES[name]
    schema = {"fields": [_field(column) for column in file.columns], "missingValues": [""]}
    references = [
        {
            "fields": column.name,
            "reference": {"resource": _slug(column.of), "fields": FILES[column.of].all[0]},
        }
        for column in file.columns
        if column.of
    ]
    if references:
        schema["foreignKeys"] = references
    return {
        "profile": "tabular-data-resource",
        "name": _slug(name),
        "path": name,
        "description": file.about,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": schema,
    }


def _slug(name: str) -> str:
    return name.removesuffix(".csv").replace("_", "-")


def _field(column: Column) -> dict:
    field = {"name": column.name, "description": column.meaning}
    field |= _TYPES.get(column.kind, {"type": "string"})
    if column.unit:
        field["unit"] = column.unit
    constraints = {"required": True} if column.required else {}
    if column.kind == Kind.CHOICE:
        constraints["enum"] = [value for value, _ in column.values]
    if constraints:
        field["constraints"] = constraints
    return field
