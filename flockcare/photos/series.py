"""All photos of one foot in time order, and what two of them say about each other."""

import datetime as dt
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot

import numpy as np
from django.db.models import F, QuerySet, Window
from django.db.models.functions import RowNumber
from django.utils import timezone

from flockcare.analysis import planimetry
from flockcare.birds.models import Bird
from flockcare.drawing.dates import add_months, date_words
from flockcare.photos.models import DateSource, Foot, Measurement, Photo, Precision, Scaling

LARGER, SMALLER = "larger", "smaller"
NO_CHANGE = "no change beyond the measurement error"
_MONTHS = {Precision.MONTH: 1, Precision.YEAR: 12}
# Around the sores: enough of the foot to know where one is.
SPAN_IN_DIAMETERS, LEAST_SPAN_MM, MOST_SPAN_MM = 3.0, 30.0, 90.0


@dataclass(frozen=True)
class Shot:
    """A photo of a foot, and its newest measurement."""

    photo: Photo
    measurement: Measurement | None

    @property
    def key(self) -> str:
        """Short, for addresses of a page that names two hundred of them."""
        return self.photo.pk.hex[:8]

    @property
    def when(self) -> str:
        return when(self.photo)

    @property
    def days(self) -> tuple[dt.date, dt.date] | None:
        """The first and last day on which it can have been taken."""
        return days(self.photo)


def when(photo: Photo) -> str:
    """The date as it is known, such as ``14 May 2026`` or ``May 2026, day not known``."""
    if photo.taken is None or photo.taken_precision == Precision.UNKNOWN:
        return "date not known"
    day = timezone.localdate(photo.taken)
    if photo.taken_precision == Precision.YEAR:
        return f"{day.year}, day not known"
    if photo.taken_precision == Precision.MONTH:
        return f"{day:%B %Y}, day not known"
    doubt = {DateSource.FILE_TIME: " (doubtful)", DateSource.UPLOAD: " (when it was sent)"}
    return date_words(day) + doubt.get(photo.taken_source, "")


def on_record(photo: Photo) -> str:
    """What a photo is on record as: ``Clove, left foot, 12 Oct 2026``."""
    whose = photo.bird.name if photo.bird else "nobody named yet"
    return ", ".join(filter(None, (whose, photo.get_foot_display(), when(photo))))


def days(photo: Photo) -> tuple[dt.date, dt.date] | None:
    if photo.taken is None or photo.taken_precision == Precision.UNKNOWN:
        return None
    first = timezone.localdate(photo.taken)
    if months := _MONTHS.get(photo.taken_precision):
        return first, add_months(first, months) - dt.timedelta(1)
    return first, first


def shots_of(bird: Bird, foot: str) -> list[Shot]:
    """Oldest first; those without a date come last."""
    photos = Photo.objects.filter(bird=bird, foot=foot).in_time_order()
    measured = Measurement.objects.filter(
        photo__bird=bird, photo__foot=foot, photo__deleted_at=None
    )
    newest = {each.photo_id: each for each in measured.order_by("at").defer("outline_mm")}
    return [Shot(photo, newest.get(photo.pk)) for photo in photos]


def last_of_each_foot(birds) -> QuerySet[Photo]:
    """The newest photo of each foot of each bird; those without a date count only among themselves.

    One query; ``birds``: what ``__in`` takes.
    """
    newest = [F("taken").desc(nulls_last=True), F("added_at").desc(), F("pk").desc()]
    place = Window(RowNumber(), partition_by=["bird", "foot"], order_by=newest)
    photos = Photo.objects.filter(bird__in=birds, foot__in=Foot.values)
    return photos.annotate(place=place).filter(place=1).order_by("foot")


def last_shots(bird: Bird) -> dict[str, Shot]:
    """The newest photo of each foot, by foot."""
    return {
        photo.foot: Shot(photo, photo.measurements.order_by("at").last())
        for photo in last_of_each_foot([bird])
    }


def choose(shots: list[Shot], first: str, second: str) -> list[Shot]:
    """The two that were asked for by key, in time order; else the two newest measured ones.

    One alone where there are no two.
    """
    asked = [shot for shot in shots if shot.key in (first, second)]
    if len(asked) == 2:
        return asked
    measured = [shot for shot in shots if shot.measurement]
    latest = measured if len(measured) > 1 else [shot for shot in shots if shot.days]
    latest = latest if len(latest) > 1 else shots
    if len(asked) == 1:
        # The other one: the newest before it, else the next after it.
        place = shots.index(asked[0])
        others = [shot for shot in latest if shot is not asked[0]] or shots
        before = [shot for shot in others if shots.index(shot) < place]
        other = before[-1] if before else others[0]
        return sorted({id(s): s for s in (asked[0], other)}.values(), key=shots.index)
    return latest[-2:]


def measured_on(shots: list[Shot], days: Iterable[dt.date]) -> list[Shot]:
    """Of each of these days the one with the largest area; without those that there are none of."""
    found = []
    for day in days:
        of_day = [shot for shot in shots if shot.measurement and shot.days == (day, day)]
        found += sorted(of_day, key=lambda shot: shot.measurement.area_mm2)[-1:]
    return found


# --- Change


@dataclass(frozen=True)
class Change:
    """From one measurement to a later one.

    percent: of the first area, below zero where the sore became smaller. advance_mm: how far its
    edge moved in. days and advance_per_week: None where the days are not known, or the same.
    """

    verdict: str
    difference_mm2: float
    error_mm2: float
    percent: float
    advance_mm: float
    days: int | None
    advance_per_week: float | None


def change(before: Measurement, after: Measurement, days: int | None) -> Change:
    """The verdict calls a change only what is larger than both 95 % bounds, added in quadrature."""
    difference = after.area_mm2 - before.area_mm2
    error = hypot(before.area_error_mm2, after.area_error_mm2)
    verdict = NO_CHANGE
    if abs(difference) > error:
        verdict = LARGER if difference > 0 else SMALLER
    advance = planimetry.margin_advance(
        before.area_mm2, before.perimeter_mm, after.area_mm2, after.perimeter_mm
    )
    return Change(
        verdict=verdict,
        difference_mm2=difference,
        error_mm2=error,
        percent=-planimetry.area_reduction(before.area_mm2, after.area_mm2),
        advance_mm=advance,
        days=days,
        advance_per_week=7 * advance / days if days else None,
    )


def days_between(before: Shot, after: Shot) -> int | None:
    """None where the day of either is not known."""
    if not (before.days and after.days):
        return None
    (first, first_end), (second, second_end) = before.days, after.days
    if first != first_end or second != second_end:
        return None
    return (second - first).days


# --- Care between two photos


def care_before(shots: list[Shot], care: list[tuple[dt.date, str]]) -> dict[str, str]:
    """By key of a shot: the care given since the one before it, ``soaked 3 times, dressing on``.

    ``care``: days with what was done, oldest first. Only between photos whose days are known.
    """
    told, since = {}, None
    for shot in shots:
        if not shot.days or shot.days[0] != shot.days[1]:
            continue
        on = shot.days[0]
        if since:
            kinds = Counter(what for day, what in care if since < day <= on)
            told[shot.key] = ", ".join(
                what if count == 1 else f"{what} {count} times" for what, count in kinds.items()
            )
        since = on
    return told


# --- Laying one over the other


@dataclass(frozen=True)
class Pair:
    """How to lay two photos over each other.

    span_mm: side of a square that holds both sores and what is around them. to_mm: for each photo
    the affine map (a, b, c, d, e, f) of SVG from pixels of what is shown to mm about the middle
    of that square: x' = a·x + c·y + e, y' = b·x + d·y + f.
    """

    span_mm: float
    to_mm: tuple[tuple[float, ...], tuple[float, ...]]


def pair(before: Shot, after: Shot) -> Pair:
    """Both to one scale, the tilt at the sore taken out, each sore in the middle.

    The first stays as it is shown. Where both were scaled by the card, the second is turned so
    that both cards lie the same way; else it too stays as it is shown.
    """
    first, second = (_at_sore(shot) for shot in (before, after))
    turn_first, turn_second = (_rotation(local) for local, _ in (first, second))
    if before.measurement.scaled_by == after.measurement.scaled_by == Scaling.CARD:
        turn_second = turn_first
    return Pair(
        span_mm=_span((before, after)),
        to_mm=(_affine(*first, turn_first), _affine(*second, turn_second)),
    )


def aligned(shots: list[Shot]) -> tuple[float, dict[str, tuple[float, ...]]]:
    """The same for a whole series: span in mm, and the map of each measured shot by its key.

    Those scaled by the card lie as the first of them lies.
    """
    measured = [shot for shot in shots if shot.measurement]
    if not measured:
        return 0.0, {}
    maps, turned = {}, None
    for shot in measured:
        local, middle = _at_sore(shot)
        turn = _rotation(local)
        if shot.measurement.scaled_by == Scaling.CARD:
            turned = turn = turn if turned is None else turned
        maps[shot.key] = _affine(local, middle, turn)
    return _span(measured), maps


def _span(shots) -> float:
    longest = max(shot.measurement.longest_diameter_mm for shot in shots)
    return min(MOST_SPAN_MM, max(LEAST_SPAN_MM, SPAN_IN_DIAMETERS * longest))


def to_shown(photo: Photo) -> np.ndarray:
    """(2, 3): from pixels of the original to those of what is shown, both without size limits.

    Pixels of what is shown are counted at their edges, as SVG counts: the picture begins at 0.
    """
    left, top, right, bottom = photo.crop_box
    width, height = right - left, bottom - top
    turns, shifts = {
        0: (((1, 0), (0, 1)), (0, 0)),
        1: (((0, -1), (1, 0)), (height, 0)),
        2: (((-1, 0), (0, -1)), (width, height)),
        3: (((0, 1), (-1, 0)), (0, width)),
    }[photo.quarter_turns]
    turn = np.array(turns, dtype=float)
    shift = turn @ np.array([0.5 - left, 0.5 - top]) + shifts
    return np.column_stack([turn, shift])


def _at_sore(shot: Shot) -> tuple[np.ndarray, np.ndarray]:
    """mm per pixel of what is shown, (2, 2), at the sore's middle, and that middle in it, (2,)."""
    plane = np.array(shot.measurement.to_mm)
    middle = np.mean(shot.measurement.outline_px, axis=0)
    u, v, w = plane @ np.append(middle, 1.0)
    slope = (plane[:2, :2] - np.outer((u / w, v / w), plane[2, :2])) / w
    shown = to_shown(shot.photo)
    return slope @ shown[:, :2].T, shown @ np.append(middle, 1.0)


def _rotation(matrix: np.ndarray) -> np.ndarray:
    """The turn in it (polar decomposition)."""
    left, _, right = np.linalg.svd(matrix)
    return left @ right


def _affine(local: np.ndarray, middle: np.ndarray, turned: np.ndarray) -> tuple[float, ...]:
    straight = turned.T @ local
    shift = -straight @ middle
    return (*straight.T.ravel().tolist(), *shift.tolist())
