"""A bird's page: who she is, her cases and her timeline."""

import datetime as dt
from dataclasses import dataclass

from django.db import models
from django.db.models import OuterRef, Subquery
from django.http import Http404
from django.shortcuts import render
from django.utils import timezone
from django.utils.html import format_html_join
from django.utils.safestring import SafeString
from django.views.decorators.http import require_safe

from flockcare.birds.models import Bird, Breed, Weighing
from flockcare.core.addresses import address
from flockcare.core.dates import PartialDate
from flockcare.core.prepared import Prepared, columns, records
from flockcare.drawing.dates import date_words, span_words
from flockcare.feet import timeline as lines
from flockcare.feet import timeline_svg
from flockcare.feet.cases import Case, cases_of_bird
from flockcare.feet.models import Check
from flockcare.feet.scales import LESION
from flockcare.people.access import flock_view
from flockcare.photos.models import Foot

PAST_CASES_SHOWN = 2


def _first(records, order: str, value: str) -> Subquery:
    return Subquery(records.filter(bird=OuterRef("pk")).order_by(order).values(value)[:1])


HER_RECORDS = {
    "grams": _first(Weighing.objects, "-on", "grams"),
    "weighed_on": _first(Weighing.objects, "-on", "on"),
    "first_checked": _first(Check.objects, "at", "at"),
}
BIRD = Prepared(
    lambda flock, bird: (
        Bird.objects.filter(flock=flock, pk=bird)
        .annotate(**HER_RECORDS)
        .values_list(*HER_RECORDS, *columns(Bird), *columns(Breed, "breed__"))
    ),
    flock=models.UUIDField(),
    bird=models.UUIDField(),
)


@dataclass(frozen=True, slots=True)
class CaseLine:
    """A case in the words of the page."""

    case: Case
    care_url: str
    url: str
    foot: str
    when: str
    days: str
    worst: str
    last_look: str


@require_safe
@flock_view()
def bird(request, flock, bird_id):
    bird = _bird_or_404(flock, bird_id)
    context = _timeline(request, flock, bird)
    cases = context.pop("cases")
    current = [case for case in cases if case.current]
    past = [case for case in cases if not case.current]
    shown, older = past[:PAST_CASES_SHOWN], past[PAST_CASES_SHOWN:]
    last_day = context["last_day"]
    for name, some in (("current", current), ("past", shown)):
        context[name] = [_case_line(case, flock, last_day) for case in some]
    context["older"] = len(older)
    context["older_rows"] = format_html_join(
        "",
        '<li><a href="{}">{} {}</a>: {}, {}</li>',
        (_in_short(case, flock, last_day) for case in older),
    )
    context["of_adult"] = _share_of_adult(bird)
    return render(request, "feet/bird.html", context)


@require_safe
@flock_view()
def timeline(request, flock, bird_id):
    """Only the timeline and its table, for htmx; the whole page for whoever comes without it."""
    if not request.htmx:
        return bird(request, flock_id=flock.pk, bird_id=bird_id)
    context = _timeline(request, flock, _bird_or_404(flock, bird_id))
    return render(request, "feet/timeline_piece.html", context)


def _bird_or_404(flock, bird_id) -> Bird:
    """The bird with her last weighing and the time of her first check."""
    for row in BIRD.rows(flock=flock.pk, bird=bird_id):
        bird, breed = records(row[len(HER_RECORDS) :], Bird, Breed)
        bird.flock = flock
        bird.breed = breed if bird.breed_id else None
        for name, value in zip(HER_RECORDS, row, strict=False):
            setattr(bird, name, value)
        return bird
    raise Http404("No such bird.")


def _timeline(request, flock, bird) -> dict:
    last_day = _last_day(bird)
    stretch = lines.choose_stretch(
        request.GET.get("zoom", ""), request.GET.get("until", ""), last=last_day, zone=flock.zone
    )
    cases = cases_of_bird(bird)
    story = lines.story(bird, stretch, cases)
    page = address("feet:bird", flock.pk, bird.pk)
    piece = address("feet:timeline", flock.pk, bird.pk)
    return {
        "bird": bird,
        "here": "birds",
        "cases": cases,
        "last_day": last_day,
        "span": stretch.words,
        "steps": format_html_join(
            "\n",
            STEP,
            (
                (page, piece, name, name.capitalize(), query, HERE if here else "")
                for name, query, here in _steps(stretch, _begins(bird), last_day)
            ),
        ),
        "drawing": timeline_svg.draw(
            story, page=page, title=f"Timeline of {bird.name}, {stretch.words}"
        ),
        "rows": lines.table_rows(story),
    }


STEP = (
    '<a class="chip step-{2}" id="tl-{2}" href="{0}?{4}#timeline" hx-get="{1}?{4}"'
    ' hx-target="#timeline" hx-swap="outerHTML" hx-push-url="{0}?{4}"{5}><span>{3}</span></a>'
)
HERE = SafeString(' aria-current="true"')


def _steps(stretch, begins: dt.date, last_day: dt.date) -> list[tuple[str, str, bool]]:
    """Where one can go from here: name, query and whether one is there already."""
    here = stretch.window.last
    steps = [(zoom.value, f"zoom={zoom}&until={here}", zoom == stretch.zoom) for zoom in lines.Zoom]
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
    return PartialDate.parse(known).first() if known else lines.OLDEST


def _share_of_adult(bird: Bird) -> int | None:
    """The last weight in percent of a grown hen's of her breed."""
    adult = bird.breed and bird.breed.adult_grams
    return round(100 * bird.grams / adult) if adult and bird.grams else None


def _case_line(case: Case, flock, last_day: dt.date) -> CaseLine:
    last = case.last
    by = f", by {last.by}" if last.by else ""
    return CaseLine(
        case,
        address("care:case", flock.pk, case.bird_id, case.foot, case.first.check_id),
        *_in_short(case, flock, last_day),
        last_look=f"{date_words(case.episode.last_affected)}, score {last.score}{by}",
    )


def _in_short(case: Case, flock, last_day: dt.date) -> tuple[str, str, str, str, str]:
    """Address of the last look that saw it, foot, when, how long, how bad."""
    return (
        address("feet:check", flock.pk, case.last.check_id),
        Foot(case.foot).label.capitalize(),
        _when(case),
        _days(case, last_day),
        f"worst score {case.worst}, {LESION.step(case.worst).short.lower()}",
    )


def _when(case: Case) -> str:
    episode = case.episode
    if not case.current:
        return span_words(episode.first_affected, episode.last_affected)
    since = f"since {date_words(episode.first_affected)}"
    if episode.last_clear_before:
        return f"{since} (seen clear on {date_words(episode.last_clear_before)})"
    return f"{since} (sore already when first looked at)"


def _days(case: Case, last_day: dt.date) -> str:
    """How long at least, and how long at most where the looks around it tell."""
    episode = case.episode
    least = (last_day - episode.first_affected).days if case.current else case.least_days
    before = episode.last_clear_before
    most = before and ((episode.first_clear_after or last_day) - before).days
    if most is None or most == least:
        if not least:
            return "how long is not known" if most is None else "less than a day"
        return f"{'at least ' if most is None else ''}{least} day{'' if least == 1 else 's'}"
    return f"{least}–{most} days"
