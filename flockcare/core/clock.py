"""Whether the clock of the computer that serves can be believed.

A clock without a battery starts years back, a mistyped year lies ahead. What was seen of it is
marked in the database, at the start and every hour. After a jump nothing is removed for its age
until the clock has run on for a week, and the pages say what it did, so that nobody looks for the
fault in their phone.
"""

from datetime import date, datetime, timedelta

from django.db import transaction
from django.utils import timezone

from flockcare.core.models import ClockMark

# This version was written then; no clock that is right says less.
WRITTEN = date(2026, 11, 29)
# As far as clocks are set right by the network, and as long as nobody may have looked.
BACK, AHEAD = timedelta(minutes=10), timedelta(days=30)
# Switched off for longer than that, a computer is worth a word.
WORTH_A_WORD = timedelta(days=180)
PROVEN = timedelta(days=7)

_noticed = ""


def look(*, now: datetime | None = None) -> str:
    """Mark what the clock says; what is wrong with it in words, empty where nothing is."""
    global _noticed
    now = now or timezone.now()
    if now.date() >= WRITTEN:
        _mark(now)
    _noticed = _in_words(_newest_mark(), now)
    return _noticed


def noticed() -> str:
    """As ``look``, for every page: asks the database only while something was wrong."""
    return look() if _noticed else ""


def behind_in_words() -> str:
    """For what seems to lie ahead, where the clock has shown a later time before; else empty."""
    now = timezone.now()
    problem = look(now=now)
    mark = _newest_mark()
    behind = now.date() < WRITTEN or (mark and mark.before and now < mark.before - BACK)
    return problem if behind else ""


def is_proven(say, *, now: datetime | None = None) -> bool:
    """Whether things may be removed for their age. ``say`` takes what is wrong in words."""
    now = now or timezone.now()
    if problem := look(now=now):
        say(problem)
    mark = _newest_mark()
    return mark is not None and mark.since <= now - PROVEN


def _newest_mark() -> ClockMark | None:
    return ClockMark.objects.filter(pk=1).first()


@transaction.atomic
def _mark(now: datetime) -> None:
    ClockMark.objects.get_or_create(pk=1, defaults={"seen": now, "since": now})
    mark = ClockMark.objects.select_for_update().get(pk=1)
    if not mark.seen - BACK <= now <= mark.seen + AHEAD:
        mark.before, mark.since = mark.seen, now
    mark.seen = now
    mark.save()


def _is_fresh(mark: ClockMark, now: datetime) -> bool:
    """Whether a jump is still to be spoken of."""
    return mark.before is not None and now < mark.since + PROVEN


def _in_words(mark: ClockMark | None, now: datetime) -> str:
    if now.date() < WRITTEN:
        return (
            "The clock of the computer that runs Flockcare is wrong: it says "
            f"{_words(now)}, which is before this version was made. Set it right."
        )
    if mark is None or not _is_fresh(mark, now):
        return ""
    if mark.before - BACK <= now <= mark.before + WORTH_A_WORD:
        return ""
    return (
        "The clock of the computer that runs Flockcare jumped from "
        f"{_words(mark.before)} to {_words(mark.since)}. If it is not {_words(now)} now, set it "
        "right before anyone records anything. If it is, there is nothing to do."
    )


def _words(at: datetime) -> str:
    local = timezone.localtime(at)
    return f"{local.day} {local:%B %Y, %H:%M %Z}"
