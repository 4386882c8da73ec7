"""Print how every bird of a flock is and what is due, as Today, Birds and her page show it."""

import json
from datetime import date

from django.core.management.base import BaseCommand, CommandError
from django.db.models.functions import Lower
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.situation import worked_out
from flockcare.care.standing.answer import FootStanding, Sign, Standing
from flockcare.care.standing_words import (
    due_words,
    eggs_words,
    level_words,
    lines,
    reason_words,
    reasons,
    within,
)
from flockcare.people.commands import flock_called

LAST_YEAR = 9999


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser):
        parser.add_argument("--flock", required=True, metavar="NAME")
        parser.add_argument(
            "--owner",
            metavar="SIGN_IN_NAME",
            help="one of its keepers, if several flocks have that name",
        )
        parser.add_argument(
            "--on", metavar="YYYY-MM-DD", help="as at the end of that day, by the records up to it"
        )
        parser.add_argument("--json", action="store_true", help="every figure, as JSON")

    def handle(self, *, flock, owner, on, json: bool, **options):
        one = flock_called(flock, owner)
        day = _day(on) if on else timezone.localdate(timezone.now(), one.zone)
        found = worked_out(one, day).birds
        birds = [
            (bird, found[bird.pk])
            for bird in Bird.objects.filter(pk__in=list(found)).order_by(Lower("name"))
        ]
        self.stdout.write(as_json(birds) if json else "\n".join(spoken(birds)))


def _day(text: str) -> date:
    try:
        day = date.fromisoformat(text)
        # Other ISO forms, such as weeks, are not what is asked for, and the last days of the
        # calendar have no day after them.
        if day.isoformat() == text and day.year < LAST_YEAR:
            return day
    except ValueError:
        pass
    raise CommandError(f"“{text}” is not a date like 2026-05-14.")


def as_json(birds: list[tuple[Bird, Standing]]) -> str:
    said = {"birds": [plain(bird, standing) for bird, standing in birds]}
    return json.dumps(said, indent=2, ensure_ascii=False, allow_nan=False)


def plain(bird: Bird, standing: Standing) -> dict:
    """``due`` beside the feet: what is due of the whole bird. Sizes in mm²."""
    return {
        "bird": bird.name,
        "advice": standing.advice.name,
        "reasons": reasons(standing),
        "signs": [_sign(sign) for sign in standing.signs],
        "eggs": standing.eggs.state,
        "eggs_until": _iso(standing.eggs.until),
        "meat": standing.eggs.meat,
        "meat_until": _iso(standing.eggs.meat_until),
        "vet_plan_until": _iso(max((plan.until for plan in standing.plans), default=None)),
        "states": [
            {"state": state.kind, "since": _iso(state.since), "until": _iso(state.until)}
            for state in standing.states
        ],
        "due": [_due(due) for due in standing.due],
        "feet": {name: _foot(foot) for name, foot in standing.feet.items()},
    }


def _foot(foot: FootStanding) -> dict:
    return {
        "state": foot.state,
        "since": _iso(foot.since),
        "last_clear": _iso(foot.last_clear),
        "score": foot.score,
        "advice": foot.advice.name if foot.advice is not None else None,
        "course": str(foot.trend.course) if foot.is_case else None,
        "course_by": foot.trend.unit or None,
        "area_mm2": foot.areas and [round(size.value, 1) for size in foot.areas],
        "area_error_mm2": foot.areas and [round(size.error, 1) for size in foot.areas],
        "signs": [_sign(sign) for sign in foot.signs],
        "due": [_due(due) for due in foot.due],
    }


def _sign(sign: Sign) -> dict:
    return {"sign": sign.words, "on": sign.on.isoformat(), "by": sign.by}


def _due(due) -> dict:
    return {"what": due.what, "on": due.on.isoformat(), "who": due.who or None}


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def spoken(birds: list[tuple[Bird, Standing]]):
    for bird, standing in birds:
        yield f"{bird.name}: {within(level_words(standing))}"
        yield from (f"  {line}" for line in lines(standing))
        if because := reason_words(standing):
            yield f"  because: {because}"
        if said := eggs_words(standing.eggs):
            yield f"  {said}"
        of = standing.today, standing.last_check
        yield f"  next: {', '.join(due_words(due, *of) for due in standing.all_due)}"
