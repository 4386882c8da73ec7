"""The files of a records exchange and their columns: the one place that says what each holds.

A folder or a zip of UTF-8 CSV files (RFC 4180) with a header; ISO 8601 dates and local times of
the flock; an empty cell says "not known". ``listed`` columns come first; ``further`` ones carry
what these have no place for and may all be left out. The dictionary inside an export, its
datapackage.json and the mapping of foreign spreadsheets are made from these declarations.
"""

from dataclasses import dataclass
from enum import StrEnum

from flockcare.birds.breeds import WeightClass
from flockcare.birds.models import LeftReason, Sex
from flockcare.care.models import Bleeding, DaysFrom, ItemKind, Outcome, StepKind
from flockcare.feet.models import Check, Scab, Site, Swelling
from flockcare.feet.scales import BODY_CONDITION, CLINICAL_GRADE, GAIT, LESION
from flockcare.housing.models import ChangeKind, Dampness, FeatureKind
from flockcare.people.models import Revision, Units
from flockcare.photos.models import DateSource, Foot, Scaling

SITE_SEPARATOR = FILE_SEPARATOR = ";"


class Kind(StrEnum):
    """What the text of a cell is."""

    TEXT = "text"  # one line, as a keeper typed it
    NOTE = "long text"  # kept to the letter, line breaks too
    CODE = "code"  # text that the app writes, in a form of its own
    CHOICE = "one of"
    CHOICES = "several of"
    DAY = "day"
    PARTIAL = "day, month or year"
    TIME = "time"
    MOMENT = "day and time"
    INTEGER = "whole number"
    NUMBER = "number"
    YES = "yes or no"


@dataclass(frozen=True)
class Column:
    name: str
    meaning: str
    kind: Kind = Kind.TEXT
    unit: str = ""
    # (value, label) of every value there is, where they are fixed.
    values: tuple[tuple, ...] = ()
    # "file.csv" whose first column this one names.
    of: str = ""
    required: bool = False


@dataclass(frozen=True)
class File:
    about: str
    listed_columns: tuple[Column, ...]
    further_columns: tuple[Column, ...] = ()

    @property
    def columns(self) -> tuple[Column, ...]:
        return self.listed_columns + self.further_columns

    @property
    def all(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)

    @property
    def listed(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.listed_columns)

    @property
    def further(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.further_columns)

    def column(self, name: str) -> Column:
        return next(column for column in self.columns if column.name == name)

    def without(self, *names: str) -> tuple[int, ...]:
        """Places of the columns other than these."""
        return tuple(at for at, name in enumerate(self.all) if name not in names)


# --- Ways to declare a column


def _text(name, meaning, **more):
    return Column(name, meaning, **more)


def _note(name="note", meaning="Anything else, as it was typed."):
    return Column(name, meaning, Kind.NOTE)


def _code(name, meaning, **more):
    return Column(name, meaning, Kind.CODE, **more)


def _choice(name, meaning, choices, kind=Kind.CHOICE, **more):
    pairs = getattr(choices, "choices", choices)
    values = tuple((str(value), str(label)) for value, label in pairs if value != "")
    return Column(name, meaning, kind, values=values, **more)


def _day(name, meaning, **more):
    return Column(name, meaning, Kind.DAY, **more)


def _number(name, meaning, unit, **more):
    return Column(name, meaning, Kind.NUMBER, unit, **more)


def _integer(name, meaning, unit="", **more):
    return Column(name, meaning, Kind.INTEGER, unit, **more)


def _moment(name, meaning):
    return Column(name, meaning, Kind.MOMENT)


def _yes(name, meaning):
    return Column(name, meaning, Kind.YES)


def _bird(meaning="Which bird, as birds.csv calls her.", **more):
    return Column("bird", meaning, of="birds.csv", **{"required": True, **more})


def _keeper(meaning="Who did it, by name.", name="keeper"):
    return Column(name, meaning)


def _of_check(name):
    return Check._meta.get_field(name).choices


_HOUSE = _text("house", "Name of the house.", required=True)
_DATE = _day("date", "The day.", required=True)
_TIME = Column("time", "Time of day; empty: not known.", Kind.TIME)

SIGNS = ("hot", "oozing", "cold_or_dark")


def _finding(foot: str) -> tuple[Column, ...]:
    return (
        _choice(
            f"{foot}_score",
            f"Lesion score of the {foot} foot; empty: this foot was not looked at.",
            LESION.choices,
        ),
        _choice(f"{foot}_sites", "Places on the foot, separated by “;”.", Site, Kind.CHOICES),
        _choice(f"{foot}_scab", "The scab.", Scab),
        _number(f"{foot}_scab_mm", "Width of the scab.", "mm"),
        _choice(f"{foot}_swelling", "Swelling.", Swelling),
    )


def _signs(foot: str) -> tuple[Column, ...]:
    return tuple(
        _yes(f"{foot}_{sign}", f"The {foot} foot was {sign.replace('_', ' ')}.") for sign in SIGNS
    )


def _description() -> tuple[tuple[Column, ...], tuple[Column, ...]]:
    """What a feature is like: the listed columns, and the further ones."""
    return (
        (
            _number("height_cm", "Height above the floor.", "cm"),
            _number("run_cm", "Level distance to the next place down.", "cm"),
            _number("length_cm", "Length.", "cm"),
            _number("width_mm", "Width across, such as of a perch.", "mm"),
            _text("edge", "What its edges are like."),
            _text("material", "What it is made of."),
            _text("cover", "What covers it."),
            _text("bedding", "What is strewn on it."),
            _number("bedding_depth_cm", "Depth of the bedding.", "cm"),
            _choice("damp", "How damp it is.", Dampness),
            _note(),
        ),
        (
            _number("breadth_cm", "Breadth.", "cm"),
            _number("spacing_cm", "Distance to the next roost.", "cm"),
            _number("wall_cm", "Distance to the wall.", "cm"),
            _text("surface", "What its surface is like."),
            _number("moisture_percent", "Water in the bedding by weight.", "%"),
            _yes("gone", "It was taken away on this day."),
        ),
    )


_DESCRIBED, _DESCRIBED_FURTHER = _description()
_FEATURE = _text("feature", "Name of what stands in the house; empty: the house itself.")
_FEATURE_KIND = _choice("kind", "What it is.", FeatureKind)
_PHOTOS = _code("photos", "Its photos, as photos.csv calls them, separated by “;”.")

_DAYS = (
    _integer("egg_days", "Days without her eggs after the last giving; 0: none.", "days"),
    _integer("meat_days", "Days without her meat after the last giving; 0: none.", "days"),
    _choice("days_from", "Who named these days.", DaysFrom),
)

FILES = {
    "birds.csv": File(
        "The birds, those that left too.",
        (
            _text("bird", "What the other files call her.", required=True),
            _text("band", "Colour and number of the leg band, such as “green 12”."),
            _text("breed", "Her breed."),
            _choice("weight_class", "Where it is not that of her breed.", WeightClass),
            Column("hatched", "When she hatched.", Kind.PARTIAL),
            Column("joined", "When she came to this flock.", Kind.PARTIAL),
            Column("left", "When she left the flock; empty: she is here.", Kind.PARTIAL),
            _choice("left_reason", "Why she left.", LeftReason),
        ),
        # ``bird`` is what the other files call her. Where two birds of one name have to be told
        # apart it differs from her real name, which then stands in ``name``.
        (
            _text("name", "Her real name, where “bird” differs to tell two birds apart."),
            _choice("sex", "Hen or cock.", Sex),
            _note("traits", "What stays with her, such as an old injury."),
            _note("left_note", "Notes about her leaving, also of a post-mortem."),
            _integer("breed_adult_grams", "Adult weight of a hen of this breed.", "g"),
            _text("breed_source", "Where that weight is from."),
        ),
    ),
    "weights.csv": File(
        "What the birds weighed.",
        (_bird(), _DATE, _integer("grams", "Weight.", "g", required=True)),
        (_keeper("Who weighed her, by name."),),
    ),
    "housing.csv": File(
        "Houses and what stands in them: each row says what a thing was from a day on.",
        (_HOUSE, _FEATURE, _FEATURE_KIND, _day("from", "From when on it was so."), *_DESCRIBED),
        (
            *_DESCRIBED_FURTHER,
            # Only in a row about the house itself, which has no feature.
            _number("floor_length_cm", "Length of the floor inside the house.", "cm"),
            _number("floor_width_cm", "Width of the floor inside the house.", "cm"),
        ),
    ),
    "housing_changes.csv": File(
        "What was said about the changes of a house on a day; housing.csv tells what changed.",
        (_HOUSE, _DATE, _choice("kind", "What kind of change.", ChangeKind), _note()),
        (_keeper(), _PHOTOS),
    ),
    "housing_plans.csv": File(
        "Changes that are only planned: rows of one number are one plan.",
        (
            _integer("plan", "Number of the plan in this file.", required=True),
            _HOUSE,
            _day("date", "When it is meant to be; empty: no day yet."),
            _choice("change_kind", "What kind of change.", ChangeKind),
            _note("plan_note", "What was said about the plan."),
            _keeper(),
            _PHOTOS,
            _text("feature", "What is to become so; empty: nothing in particular."),
            _yes("new", "It is to be put up new."),
            _FEATURE_KIND,
            *_DESCRIBED,
            *_DESCRIBED_FURTHER,
        ),
    ),
    "walks.csv": File(
        "When somebody walked through a house to look for what hurts feet.",
        (_HOUSE, _DATE, _keeper("Who walked through it, by name."), _note()),
    ),
    "stays.csv": File(
        "Which bird lived in which house.",
        (
            _bird(),
            _HOUSE,
            _day("from", "The day she moved in; empty: not known."),
            _day("to", "The day she moved out, which counts for the new house; empty: still."),
        ),
    ),
    "checks.csv": File(
        "Checks of feet, the clear ones too.",
        (
            _bird(),
            _DATE,
            _TIME,
            _keeper("Who looked, by name."),
            _choice("gait", "Gait score.", GAIT.choices),
            *_finding("left"),
            *_finding("right"),
            _note(),
        ),
        (
            *_signs("left"),
            *_signs("right"),
            _choice("manner", "How she was.", _of_check("manner")),
            _choice("eating", "Whether she was eating.", _of_check("eating")),
            _choice("droppings", "Her droppings.", _of_check("droppings")),
            _choice("belly", "Her belly.", _of_check("belly")),
            _choice("body_condition", "Body condition.", BODY_CONDITION.choices),
            _choice("left_clinical_grade", "Grade, left foot.", CLINICAL_GRADE.choices),
            _choice("right_clinical_grade", "Grade, right foot.", CLINICAL_GRADE.choices),
            _moment("received", "When the app received it."),
        ),
    ),
    "rounds.csv": File(
        "Rounds through all birds that were due: rows of one number are one round.",
        (
            _integer("round", "Number of the round in this file.", required=True),
            _moment("started", "When it was begun."),
            _keeper("Who began it, by name.", "started_by"),
            _moment("ended", "When it was ended; empty: it is still open."),
            _bird("A bird of the round; empty: it had none.", required=False),
            _integer("place", "Her place in the order."),
            _code("check", "Day and time of the check she was given."),
            _yes("passed_over", "She was passed over."),
        ),
    ),
    "kit.csv": File(
        "What is in the box.",
        (
            _text("item", "Its name.", required=True),
            _choice("kind", "What it is.", ItemKind),
            _text("unit", "What it is counted in."),
            _number("stock", "How much there is.", "as “unit” says"),
            _number("low_at", "From how much on it is low.", "as “unit” says"),
            _day("opened", "When it was opened."),
            _integer("keeps_days", "How long it keeps once opened.", "days"),
            _day("expires", "To be used by."),
        ),
        (*_DAYS, _yes("pain_reliever", "It has an added pain reliever."), _note()),
    ),
    "care.csv": File(
        "What was done to a bird or a foot.",
        (
            _bird(),
            _DATE,
            _TIME,
            _choice("foot", "Which foot; empty: the bird.", Foot),
            _choice("kind", "What was done.", StepKind, required=True),
            _text("product", "With what."),
            _keeper(),
            _day("next_due", "When it is due again."),
            _note(),
        ),
        (
            # ``item`` is a name in kit.csv. Days are those that the vet or the label named.
            _text("item", "What was used, as kit.csv calls it.", of="kit.csv"),
            _number("amount", "How much was used.", "as the “unit” of the item says"),
            _choice("outcome", "How it went.", Outcome),
            _choice("bleeding", "Bleeding.", Bleeding),
            _day("given_until", "Last day it is given."),
            *_DAYS,
            _note("dropped_because", "Why it is not done again."),
            _keeper("Who said so, by name.", "dropped_by"),
            _keeper("Who said that they will do what is due next.", "claimed_by"),
            _moment("claimed", "When they said so."),
            _moment("logged", "When it was written down."),
        ),
    ),
    "photos.csv": File(
        "The photos; the files lie beside this one.",
        (
            _code("file", "Path of the file.", required=True),
            _bird("Whose foot; empty: nobody has said yet.", required=False),
            _choice("foot", "Which foot; empty: not known, or all of the bird.", Foot),
            _code("taken", "When it was taken: a year, month, day, or day and time."),
            _choice(
                "score", "Lesion score of this foot in the check it belongs to.", LESION.choices
            ),
            _note(),
        ),
        # ``check``: the day and time of the check it belongs to, or "none"; empty leaves it to
        # the day. ``sha256``: of the file as it was first sent, so that it is known again.
        # ``care``: the steps it was taken with, each as its day, time, kind and foot.
        (
            _choice("taken_source", "Where that date is from.", DateSource),
            _code("check", "Day and time of her checks it belongs to, or “none”."),
            _code("sha256", "SHA-256 of the file as it was first sent."),
            _code("care", "The steps of care it was taken with: day, time, kind and foot."),
            _integer("quarter_turns", "How it is turned to be seen, clockwise.", "quarters"),
            _code("crop", "The part that is seen: left, top, right, bottom in pixels."),
            # What was found out while old photos were sorted.
            _text("card_bird", "Whose printed card is in it.", of="birds.csv"),
            _choice("card_foot", "For which foot that card is.", Foot),
            _yes("card_answered", "A keeper said whether the card names the photos that follow."),
            _yes("kept_beside_alike", "It is kept though another looks like it."),
            _yes("nobody_knows", "Nobody knows whose foot it is."),
            _keeper("Who added it, by name."),
            _moment("added", "When it was added."),
            _yes("of_house", "It shows a house."),
            _code("file_sha256", "SHA-256 of the file; where it fits, the file is kept as it is."),
            _code("lost", "Only where its file was lost: the width and height it had, in pixels."),
        ),
    ),
    # Points and rows of numbers are separated by ";", the numbers in them by blanks. Each number
    # has all its figures.
    "measurements.csv": File(
        "Outlines drawn in photos, and what follows from them.",
        (
            _code("file", "The photo.", of="photos.csv", required=True),
            _code("measured", "When it was drawn."),
            _choice("scaled_by", "What gave the scale.", Scaling),
            _number("length_mm", "The known length.", "mm"),
            _number("area_mm2", "Area.", "mm²"),
            _number("perimeter_mm", "Perimeter.", "mm"),
            _number("longest_diameter_mm", "Longest diameter.", "mm"),
            _number("relative_area_error", "95 % bound of the area, as a fraction.", "1"),
            _code("to_mm", "Homography from pixels to mm, row by row."),
            _code("outline_px", "The outline in pixels of the file: “x y;x y;…”."),
            _code("outline_mm", "The same points in mm."),
        ),
        (_keeper("Who drew it, by name."),),
    ),
    "windows.csv": File(
        "Which stretches before and after a change were chosen to be compared, every try.",
        (
            _HOUSE,
            _day("date", "Day of the change.", required=True),
            _integer("window_days", "Days compared before and after.", "days"),
            _integer("lag_days", "Days left out after the change.", "days"),
            _keeper("Who chose it, by name."),
            _moment("chosen", "When it was chosen."),
        ),
    ),
    "flock.csv": File(
        "Settings of the flock: one row.",
        (
            _code("time_zone", "IANA name of the time zone of every local time in the files."),
            _choice("units", "How weights and lengths are shown; the files are metric.", Units),
            _integer("round_days", "Days between rounds.", "days"),
            _integer("recheck_days", "Days until a sore foot is looked at again.", "days"),
        ),
    ),
    "history.csv": File(
        "What records held before somebody changed or deleted them.",
        (
            _moment("at", "When it was changed."),
            _keeper("Who changed it, by name.", "by"),
            _choice("deed", "What was done.", Revision.Deed),
            _code("kind", "What kind of record it is, by the app's own name."),
            _code("record", "Which record, as a reference."),
            _code("before", "What it held, as JSON (RFC 8259) with references to records."),
        ),
    ),
}

# Kept to the letter; cells of other columns lose blanks at their ends.
LONG_TEXT = {
    (file, column.name)
    for file, columns in FILES.items()
    for column in columns.columns
    if column.kind == Kind.NOTE
}
# What a keeper typed, and a spreadsheet might take for a formula.
FREE_TEXT = LONG_TEXT | {
    (file, column.name)
    for file, columns in FILES.items()
    for column in columns.columns
    if column.kind == Kind.TEXT
}
