"""One bird's story in a stretch of time: which stretch, what happened in it, and as a table."""

from __future__ import annotations

import datetime as dt
import enum
from collections.abc import Iterable
from dataclasses import dataclass
from operator import itemgetter

from django.db import models

from flockcare.birds import layers
from flockcare.birds.layers import Band, Mark, Window
from flockcare.birds.models import Bird
from flockcare.core.addresses import urls_of
from flockcare.core.prepared import Prepared, as_text, moment_of
from flockcare.drawing.dates import WEEK, add_months, date_words, day_position, span_words
from flockcare.drawing.markup import Markup, element, join, text
from flockcare.feet.cases import Case
from flockcare.feet.models import Check
from flockcare.feet.scales import LESION
from flockcare.feet.words import foot_signs, odd_signs
from flockcare.photos.models import Foot

DAY = dt.timedelta(1)
# No record here is older; see core.dates.
OLDEST = dt.date(1950, 1, 1)


class Zoom(enum.StrEnum):
    YEAR = "year"
    SEASON = "season"
    MONTH = "month"

    @property
    def months(self) -> int:
        return {Zoom.YEAR: 12, Zoom.SEASON: 3, Zoom.MONTH: 1}[self]


@dataclass(frozen=True, slots=True)
class Stretch:
    """What the timeline shows: whole months that end with the day ``window.last``."""

    zoom: Zoom
    window: Window

    @classmethod
    def ending(cls, last: dt.date, zoom: Zoom, zone: dt.tzinfo) -> Stretch:
        return cls(zoom, Window(add_months(last + DAY, -zoom.months), last, zone))

    @property
    def words(self) -> str:
        return span_words(self.window.first, self.window.last)

    @property
    def earlier(self) -> dt.date:
        """The last day of the stretch before this one."""
        return self.window.first - DAY

    @property
    def later(self) -> dt.date:
        """The last day of the stretch after this one."""
        return add_months(self.window.last + DAY, self.zoom.months) - DAY

    def slots(self) -> list[tuple[dt.date, dt.date]]:
        """The stretch cut into months (of a year), weeks (of a season) or days, from its end.

        What is left over at the beginning of a season belongs to its first week.
        """
        first, after = self.window.first, self.window.last + DAY
        if self.zoom is Zoom.YEAR:
            starts = [add_months(after, -count) for count in range(12, 0, -1)]
        else:
            step = WEEK if self.zoom is Zoom.SEASON else 1
            weeks = self.window.days // step
            starts = [after - count * step * DAY for count in range(weeks, 0, -1)]
            starts[0] = first
        return list(zip(starts, [start - DAY for start in [*starts[1:], after]], strict=True))


def choose_stretch(
    zoom: str, until: str, *, last: dt.date, zone: dt.tzinfo, default: Zoom = Zoom.SEASON
) -> Stretch:
    """The stretch that an address asks for; what it does not say well is taken as not said.

    ``last`` is the newest day there is to show.
    """
    try:
        chosen = Zoom(zoom)
    except ValueError:
        chosen = default
    try:
        day = dt.date.fromisoformat(until)
    except ValueError:
        day = last
    if not OLDEST < day <= last:
        day = last
    return Stretch.ending(day, chosen, zone)


@dataclass(frozen=True, slots=True)
class Story:
    stretch: Stretch
    marks: list[Mark]
    bands: list[Band]
    cases: list[Case]


def story(bird: Bird, stretch: Stretch, cases: Iterable[Case]) -> Story:
    """What happened to her in a stretch, in time order; ``cases`` are all she ever had."""
    window = stretch.window
    marks, bands = layers.gather(bird, window)
    return Story(
        stretch,
        looks(bird, window) + marks,
        bands,
        [case for case in cases if _touches(case, window)],
    )


def _touches(case: Case, window: Window) -> bool:
    episode = case.episode
    begin = episode.last_clear_before or episode.first_affected
    end = episode.first_clear_after or window.last
    return begin <= window.last and end >= window.first


def _looks(bird, start, end):
    return (
        Check.objects.filter(bird=bird, at__gte=start, at__lt=end)
        .order_by("at", "received_at")
        .annotate(moment=as_text("at"))
        .values_list(
            "pk",
            "moment",
            "keeper__name",
            "keeper_name",
            "gait",
            "manner",
            "eating",
            "droppings",
            "belly",
            "note",
            "findings__foot",
            "findings__score",
            "findings__sites",
            "findings__scab",
            "findings__scab_mm",
            "findings__swelling",
            "findings__hot",
            "findings__oozing",
            "findings__cold_or_dark",
        )
    )


LOOKS = Prepared(
    _looks, bird=models.UUIDField(), start=models.DateTimeField(), end=models.DateTimeField()
)


def looks(bird: Bird, window: Window) -> list[Mark]:
    """A mark for each foot that was looked at, and one for what else was seen of the bird."""
    start, end = window.moments
    url_of = urls_of("feet:check", bird.flock_id)
    rows = LOOKS.rows(bird=bird.pk, start=start, end=end)
    marks: list[Mark] = []
    newest = None
    for pk, moment, keeper, name, *seen in rows:
        at, url, by = moment_of(moment), url_of(pk), keeper or name
        general, (foot, score, *signs) = seen[:6], seen[6:]
        if foot:
            label = _foot_words(foot, score, *signs)
            short = str(score)
            marks.append(Mark(at, foot, f"score-{score}", label, url, by, short, float(score)))
        if pk != newest:
            newest = pk
            kind, words = _general_words(*general)
            if words or not foot:
                words = words or "a check without findings"
                marks.append(Mark(at, "signs", kind, words, url, by))
    return marks


def _foot_words(foot, score, *signs) -> str:
    return ", ".join([_SCORED[foot, score], *foot_signs(*signs)])


_SCORED = {
    (foot.value, step.value): f"{foot.label} {step.value} {step.short.lower()}"
    for foot in Foot
    for step in LESION.steps
}


def _general_words(gait, manner, eating, droppings, belly, note) -> tuple[str, str]:
    """The kind of mark and the words for how the bird was; no words when nothing stood out."""
    odd = odd_signs(gait, manner, eating, droppings, belly)
    return ("sign" if odd else "note"), ": ".join(filter(None, (", ".join(odd), note)))


def row_id(day: dt.date) -> str:
    """The table row of a day's newest record, for links that mean several records."""
    return f"on-{day.isoformat()}"


def table_rows(story: Story) -> Markup:
    """Rows of an HTML table, the newest record first: date, what, by whom."""
    zone = story.stretch.window.zone
    records: dict[object, list[Mark]] = {}
    for mark in story.marks:
        # Without an address there is nothing to tell that two marks are one record.
        records.setdefault((mark.at, mark.url or mark.label), []).append(mark)
    placed = [(day_position(marks[0].at, zone), marks) for marks in records.values()]
    # At the bottom what was so always; a move before the records of its day.
    placed += [(band.since.toordinal() if band.since else 0, band) for band in story.bands]
    placed.sort(key=itemgetter(0), reverse=True)
    written, newest = [], None
    for position, record in placed:
        if isinstance(record, Band):
            written.append(_band_row(record))
            continue
        day = dt.date.fromordinal(int(position))
        written.append(_row(day, record, f' id="{row_id(day)}"' if day != newest else ""))
        newest = day
    return join(written)


def _row(day: dt.date, marks: list[Mark], attributes: str) -> Markup:
    first, date = marks[0], text(date_words(day))
    if first.url:
        date = f'<a href="{text(first.url)}">{date}</a>'
    image = (
        f'<img src="{text(first.picture)}" alt="" loading="lazy" width="64" height="64"/>'
        if first.picture
        else ""
    )
    words = text("; ".join([mark.label for mark in marks]))
    return Markup(
        f"<tr{attributes}><td>{date}</td><td>{image}{words}</td><td>{text(first.by)}</td></tr>"
    )


def _band_row(band: Band) -> Markup:
    label = band.label + (f", until {date_words(band.until)}" if band.until else "")
    shown = element("a", {"href": band.url}, label) if band.url else label
    since = date_words(band.since) if band.since else "always"
    return element("tr", {}, *(element("td", {}, words) for words in (since, shown, "")))
