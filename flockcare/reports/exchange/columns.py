"""The files of a records exchange, their columns in order, and which columns hold free text.

A folder or a zip of UTF-8 CSV files (RFC 4180) with a header; ISO 8601 dates and local times of
the flock; an empty cell says "not known". ``listed`` columns come first; ``further`` ones carry
what these have no place for and may all be left out.
"""

from dataclasses import dataclass

SITE_SEPARATOR = FILE_SEPARATOR = ";"


@dataclass(frozen=True)
class Columns:
    listed: tuple[str, ...]
    further: tuple[str, ...] = ()

    @property
    def all(self) -> tuple[str, ...]:
        return self.listed + self.further


def _of_foot(foot: str, *names: str) -> tuple[str, ...]:
    return tuple(f"{foot}_{name}" for name in names)


_FINDING = ("score", "sites", "scab", "scab_mm", "swelling")
SIGNS = ("hot", "oozing", "cold_or_dark")

FILES = {
    "birds.csv": Columns(
        ("bird", "band", "breed", "weight_class", "hatched", "joined", "left", "left_reason"),
        # ``bird`` is what the other files call her. Where two birds of one name have to be told
        # apart it differs from her real name, which then stands in ``name``.
        ("name", "sex", "traits", "left_note", "breed_adult_grams", "breed_source"),
    ),
    "weights.csv": Columns(("bird", "date", "grams")),
    "housing.csv": Columns(
        (
            *("house", "feature", "kind", "from", "height_cm", "run_cm", "length_cm", "width_mm"),
            *("edge", "material", "cover", "bedding", "bedding_depth_cm", "damp", "note"),
        ),
        (
            *("breadth_cm", "spacing_cm", "wall_cm", "surface", "moisture_percent", "gone"),
            # Only in a row about the house itself, which has no feature.
            *("floor_length_cm", "floor_width_cm"),
        ),
    ),
    # ``photos``: their names in photos.csv.
    "housing_changes.csv": Columns(("house", "date", "kind", "note"), ("keeper", "photos")),
    "walks.csv": Columns(("house", "date", "keeper", "note")),
    "stays.csv": Columns(("bird", "house", "from", "to")),
    "checks.csv": Columns(
        (
            *("bird", "date", "time", "keeper", "gait"),
            *_of_foot("left", *_FINDING),
            *_of_foot("right", *_FINDING),
            "note",
        ),
        (
            *_of_foot("left", *SIGNS),
            *_of_foot("right", *SIGNS),
            *("manner", "eating", "droppings", "belly"),
            *("body_condition", "left_clinical_grade", "right_clinical_grade"),
        ),
    ),
    "kit.csv": Columns(
        ("item", "kind", "unit", "stock", "low_at", "opened", "keeps_days", "expires"),
        ("egg_days", "meat_days", "days_from", "pain_reliever", "note"),
    ),
    "care.csv": Columns(
        ("bird", "date", "time", "foot", "kind", "product", "keeper", "next_due", "note"),
        (
            # ``item`` is a name in kit.csv. Days are those that the vet or the label named.
            *("item", "amount", "outcome", "bleeding", "given_until"),
            *("egg_days", "meat_days", "days_from", "dropped_because"),
        ),
    ),
    "photos.csv": Columns(
        ("file", "bird", "foot", "taken", "score", "note"),
        # ``check``: the day and time of the check it belongs to, or "none"; empty leaves it to
        # the day. ``sha256``: of the file as it was first sent, so that it is known again.
        # ``care``: the steps it was taken with, each as its day, time, kind and foot.
        (
            *("taken_source", "check", "sha256", "care", "quarter_turns", "crop"),
            # What was found out while old photos were sorted.
            *("card_bird", "card_foot", "card_answered", "kept_beside_alike", "nobody_knows"),
        ),
    ),
    # Points and rows of numbers are separated by ";", the numbers in them by blanks. Each number
    # has all its figures.
    "measurements.csv": Columns(
        (
            *("file", "measured", "scaled_by", "length_mm", "area_mm2", "perimeter_mm"),
            *("longest_diameter_mm", "relative_area_error", "to_mm", "outline_px", "outline_mm"),
        ),
        ("keeper",),
    ),
}

# Kept to the letter; cells of other columns lose blanks at their ends.
LONG_TEXT = {"note", "traits", "left_note", "dropped_because"}
FREE_TEXT = LONG_TEXT | {
    *("bird", "name", "band", "breed", "breed_source", "house", "feature", "edge", "material"),
    *("cover", "bedding", "surface", "product", "keeper", "item", "unit", "card_bird"),
}
