"""What a phone keeps to read without signal: how each bird stands, in the pages' own words.

Ready pieces of pages, made of the same templates as Today, Birds and a bird's page, without the
buttons that need the server.
"""

import hashlib
from dataclasses import dataclass
from datetime import date, datetime

from django.template.loader import render_to_string
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.models import CarePlan
from flockcare.care.rows import DueLine, Row, checks_due, rows_of, told_first
from flockcare.care.situation import FlockStanding, mark_of, standings
from flockcare.care.tasks import tasks_due
from flockcare.feet.models import RoundBird
from flockcare.feet.services import BEFORE_THE_ROUND, open_round
from flockcare.feet.views_round import progress
from flockcare.offline import shell
from flockcare.pages.views_birds import by_name
from flockcare.people.fresh import kept
from flockcare.photos.pictures import Picture
from flockcare.photos.series import last_of_each_foot, when

# About 8 kB each: both feet and the face of sixty birds.
MOST_PICTURES = 180


@dataclass(frozen=True)
class LastPhoto:
    """``width``, ``height``: as it is shown at the smallest size."""

    url: str
    words: str
    width: int
    height: int


@dataclass(frozen=True)
class Taps:
    """One thing that is due, with what one tap logs of it: words, and kinds of care.

    ``due``: as ``offline.kinds`` reads it; empty where nothing is logged with one tap.
    """

    line: DueLine
    due: str
    buttons: list[tuple[str, str]]


def tag_of(request, flock, mark: tuple) -> str:
    """A name for all that this keeper's phone is told of the flock."""
    keeper = request.user.pk, request.user.name
    told = (mark, flock.name, flock.units, flock.time_zone, keeper, shell.version())
    return hashlib.sha256(repr(told).encode()).hexdigest()[:20]


def mark_now(flock) -> tuple:
    return mark_of(flock, now=timezone.now())


def to_read(flock, mark: tuple) -> dict:
    """``birds``, those first that something is due of: each with ``html``, how she stands, and the
    days from which she is ``due`` in a round and when she was ``checked`` last (empty: never).

    ``today``, ``list``: the pages Today and Birds, as HTML. ``pictures``: addresses of what all
    that shows. Worked out once until a record changes, for whichever phone asks first.
    """
    told = mark, flock.name, flock.units, shell.version()
    return kept(f"offline:{flock.pk}", told, lambda: _made(flock, mark, timezone.now()))


def _made(flock, mark: tuple, now: datetime) -> dict:
    found = standings(flock, now=now, mark=mark)
    flock.usual_vet = found.vet
    rows = rows_of(found, Bird.objects.filter(flock=flock))
    today = timezone.localdate(now, flock.zone)
    live = CarePlan.objects.filter(flock=flock).live(today)
    plans = {plan.pk: plan.kinds for plan in live}
    for row in rows:
        row.bird.taps = [_taps(line, plans) for line in row.due if line.is_due]
    photos = _photos([row.bird for row in rows])
    shown = {"flock": flock, "faces": found.faces, "may_write": False}
    around = _today(flock, found, rows, today)
    urls = [photo.url for row in rows for photo in photos.get(row.bird.pk, ())]
    urls += [face.url for row in rows if (face := found.faces.get(row.bird.pk)) and face.url]
    return {
        # Nothing is carried from one in quarantine to the flock: she is checked last.
        "birds": [
            _told(row, photos.get(row.bird.pk, []), shown)
            for row in sorted(rows, key=lambda row: row.standing.in_quarantine)
        ],
        "today": render_to_string("offline/kept_today.html", {**shown, **around}),
        "list": render_to_string("pages/bird_rows.html", {**shown, "birds": _listed(rows)}),
        "pictures": urls[:MOST_PICTURES],
    }


def _told(row: Row, photos: list[LastPhoto], shown: dict) -> dict:
    bird, feet = row.bird, row.standing.feet
    context = {**shown, "row": row, "bird": bird, "photos": photos}
    return {
        "id": str(bird.pk),
        "name": bird.name,
        "colour": bird.band_colour,
        "band": bird.band,
        "due": _day(row.standing.round_on),
        "checked": _day(row.standing.last_check),
        "was": {name: str(foot.check) for name, foot in feet.items() if foot.check},
        "sore": [foot for foot, hers in feet.items() if hers.score],
        "html": render_to_string("offline/kept_bird.html", context),
    }


def _day(day: date | None) -> str:
    return day.isoformat() if day else ""


def round_now(flock) -> dict | None:
    """The round that is on: its ``birds`` by key, each ``left``, ``checked`` or ``skipped``;
    ``since``: from when on a check counts for it, as a form says the time.
    """
    if (shown := progress(open_round(flock))) is None:
        return None
    since = (shown["record"].started_at - BEFORE_THE_ROUND).astimezone(flock.zone)
    places = [place for place in shown["places"] if not place.bird.left]
    return {
        "since": f"{since:%Y-%m-%dT%H:%M}",
        "birds": {str(place.bird_id): _state(place) for place in places},
    }


def _state(place: RoundBird) -> str:
    if place.check_record_id:
        return "checked"
    return "skipped" if place.passed_over else "left"


def _taps(line: DueLine, plans: dict) -> Taps:
    due = line.due
    if not line.taps:
        return Taps(line, "", [])
    again = ",".join(plans.get(due.plan, ())) if line.is_plan else due.line
    of = f"plan:{due.plan}" if line.is_plan else f"step:{due.step}"
    return Taps(line, of, [(words, str(kind or again)) for words, kind in line.taps])


def _today(flock, found: FlockStanding, rows: list[Row], today: date) -> dict:
    of_care = [row for row in rows if row.standing.of_care]
    tasks = tasks_due(flock, today)
    return {**told_first(found, rows, of_care), **checks_due(rows), "tasks": tasks}


def _listed(rows: list[Row]) -> list[Bird]:
    birds = []
    for row in rows:
        row.bird.row = row
        birds.append(row.bird)
    return sorted(birds, key=by_name)


def _photos(birds: list[Bird]) -> dict[object, list[LastPhoto]]:
    found = {}
    for photo in last_of_each_foot(birds):
        words = f"{photo.get_foot_display().capitalize()}, {when(photo)}"
        last = LastPhoto(Picture(photo).url_240, words, *photo.shown_at(240))
        found.setdefault(photo.bird_id, []).append(last)
    return found
