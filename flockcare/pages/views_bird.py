"""A bird's page: who she is, her cases and her timeline."""

import datetime as dt
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Subquery
from django.shortcuts import get_object_or_404, render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_safe

from flockcare.birds.age import growing_words
from flockcare.birds.models import Bird, Weighing
from flockcare.care.situation import mark_of
from flockcare.care.views_today import care_of, care_tag
from flockcare.core.dates import PartialDate
from flockcare.drawing.dates import date_words, span_words
from flockcare.drawing.timeline import Stretch, Window, Zoom
from flockcare.drawing.timeline_svg import draw
from flockcare.feet.cases import Case, cases_of_bird
from flockcare.feet.models import Check
from flockcare.pages.timeline import OLDEST, choose_stretch, newest_day, table_rows
from flockcare.pages.timeline import timeline as timeline_of
from flockcare.people.access import flock_view
from flockcare.people.fresh import kept
from flockcare.photos.models import Foot, Photo
from flockcare.photos.shots import to_measure

PAST_CASES_SHOWN = 2


def _first(records, order: str, value: str) -> Subquery:
    return Subquery(records.filter(bird=OuterRef("pk")).order_by(order).values(value)[:1])


@dataclass(frozen=True, slots=True)
class CaseLine:
    """A case in the words of the page."""

    case: Case
    foot: str
    when: str
    days: str
    worst: str

    @property
    def last_look(self) -> str:
        last = self.case.last
        by = f", by {last.by}" if last.by else ""
        return f"{date_words(self.case.episode.last_affected)}, score {last.score}{by}"


@require_safe
@flock_view()
def bird(request, flock, bird_id):
    bird = _bird_or_404(flock, bird_id)
    mark = mark_of(flock, now=timezone.now())
    cases, listed = _kept_cases(request, bird, mark)
    context = {
        "cases": cases,
        "case_list": listed,
        "current": any(case.current for case in cases),
        "of_adult": _share_of_adult(bird),
        **care_of(bird, cases, mark),
        **bird.states_on(_last_day(bird)),
        "to_measure": to_measure(bird),
        "growing": growing_words(bird.hatched, bird.weighed_on or _last_day(bird)),
        **_kept_timeline(request, bird, cases, mark),
    }
    context["tag"] = care_tag(request, context["mark"])
    return render(request, "pages/bird.html", context)


@require_safe
@flock_view()
def timeline(request, flock, bird_id):
    """Only the timeline and its table, for htmx; the whole page for whoever comes without it."""
    if not request.htmx:
        return bird(request, flock_id=flock.pk, bird_id=bird_id)
    hen = _bird_or_404(flock, bird_id)
    context = _timeline(request, hen, cases_of_bird(hen))
    context["timeline"] = _drawn(request, context)
    return render(request, "pages/timeline_piece.html", context)


HER_RECORDS = {
    "grams": _first(Weighing.objects, "-on", "grams"),
    "weighed_on": _first(Weighing.objects, "-on", "on"),
    "first_checked": _first(Check.objects, "at", "at"),
    **{
        f"photo_{foot}": Exists(Photo.objects.filter(bird=OuterRef("pk"), foot=foot))
        for foot in Foot.values
    },
}


def _bird_or_404(flock, bird_id) -> Bird:
    """The bird with her states, her last weighing, the time of her first check, and whether there
    are photos of each foot."""
    birds = Bird.objects.select_related("breed").prefetch_related("birdstate_set")
    birds = birds.annotate(**HER_RECORDS)
    bird = get_object_or_404(birds, flock=flock, pk=bird_id)
    bird.flock = flock
    return bird


def _kept_cases(request, bird: Bird, mark: tuple) -> tuple[list[Case], str]:
    """All she ever had, and the list of them as it is shown; kept until a record or the day is
    another.
    """

    def make() -> tuple[list[Case], str]:
        cases = cases_of_bird(bird)
        lines = [_case_line(case, _last_day(bird)) for case in cases]
        past = [line for line in lines if not line.case.current]
        context = {
            "bird": bird,
            "lines": [line for line in lines if line.case.current] + past[:PAST_CASES_SHOWN],
            "older": past[PAST_CASES_SHOWN:],
        }
        return cases, render_to_string("pages/case_list.html", context, request)

    return kept(f"cases:{bird.pk}", mark, make)


def _kept_timeline(request, bird: Bird, cases: list[Case], mark: tuple) -> dict:
    """Her timeline as drawn and as a table.

    Kept for the stretch that she is shown with at first, until a record or the day is another.
    """

    def make() -> dict:
        shown = _timeline(request, bird, cases)
        table = render_to_string("pages/timeline_table.html", shown)
        return {"table": table, "timeline": _drawn(request, shown)}

    if request.GET:
        return make()
    return kept(f"timeline:{bird.pk}", mark, make)


def _drawn(request, shown: dict) -> str:
    return render_to_string("pages/timeline.html", shown, request)


def _timeline(request, bird: Bird, cases: list[Case]) -> dict:
    last_day = _last_day(bird)
    asked, zone = request.GET, bird.flock.zone
    zoom, until = asked.get("zoom", ""), asked.get("until", "")
    stretch = choose_stretch(zoom, until, last=last_day, zone=zone)
    shown = timeline_of(bird, stretch.window, cases)
    if not (zoom or until or newest_day(shown)):
        # An old record opens where it ends, not on months without anything.
        whole = timeline_of(bird, Window(OLDEST, last_day, zone), cases)
        if newest := newest_day(whole):
            stretch = choose_stretch(zoom, newest.isoformat(), last=last_day, zone=zone)
            shown = timeline_of(bird, stretch.window, cases)
    title = f"Timeline of {bird.name}, {stretch.words}"
    return {
        "bird": bird,
        "here": "birds",
        "span": stretch.words,
        "steps": _steps(stretch, _begins(bird), last_day),
        "drawing": draw(shown, stretch, page=bird.get_absolute_url(), title=title),
        "rows": table_rows(shown),
    }


def _steps(stretch: Stretch, begins: dt.date, last_day: dt.date) -> list[tuple[str, str, bool]]:
    """Where one can go from here: name, query and whether one is there already."""
    here = stretch.window.last
    steps = [(zoom.value, f"zoom={zoom}&until={here}", zoom == stretch.zoom) for zoom in Zoom]
    if stretch.earlier > begins:
        steps.insert(0, ("earlier", f"zoom={stretch.zoom}&until={stretch.earlier}", False))
    if here < last_day:
        later = min(stretch.later, last_day)
        steps.append(("later", f"zoom={stretch.zoom}&until={later}", False))
    return steps


def _last_day(bird: Bird) -> dt.date:
    """Today, or the day a bird left: her timeline ends there."""
    today = timezone.localdate()
    return min(today, PartialDate.parse(bird.left).last()) if bird.left else today


def _begins(bird: Bird) -> dt.date:
    """The day before which nothing can be known of her."""
    known = bird.hatched or bird.joined
    return PartialDate.parse(known).first() if known else OLDEST


def _share_of_adult(bird: Bird) -> int | None:
    """The last weight in percent of a grown hen's of her breed; None of one that was growing."""
    if not bird.grams:
        return None
    adult = bird.adult_grams_on(bird.weighed_on)
    return round(100 * bird.grams / adult) if adult else None


def _case_line(case: Case, last_day: dt.date) -> CaseLine:
    return CaseLine(
        case,
        Foot(case.foot).label.capitalize(),
        _when(case),
        _days(case, last_day),
        "swollen at worst" if case.worst == 2 else "mild at worst",
    )


def _when(case: Case) -> str:
    episode = case.episode
    if not case.current:
        return span_words(episode.first_affected, episode.last_affected)
    since = f"since {date_words(episode.first_affected)}"
    if episode.last_clear_before:
        return f"{since} (seen clear on {date_words(episode.last_clear_before)})"
    return f"{since} (sore already when first checked)"


def _days(case: Case, last_day: dt.date) -> str:
    """How long at least, and how long at most where the looks around it tell.

    A bird that left may have been checked after the day that was given for it.
    """
    episode = case.episode
    last_day = max(last_day, episode.last_affected)
    least = (last_day - episode.first_affected).days if case.current else case.least_days
    before = episode.last_clear_before
    most = before and ((episode.first_clear_after or last_day) - before).days
    if most is None or most == least:
        if not least:
            return "how long is not known" if most is None else "less than a day"
        return f"{'at least ' if most is None else ''}{least} day{'' if least == 1 else 's'}"
    return f"{least}–{most} days"
