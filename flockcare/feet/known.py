"""What the last checks saw of a bird's feet, for the form of the next one.

Since when a foot is sore and how it goes stands above this; see ``care.standing``.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from django.db.models import F, OuterRef, Q, Subquery
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.drawing.dates import short_words
from flockcare.feet.models import FOOT_SIGNS, Check, FootFinding, Swelling
from flockcare.feet.words import BIRD_SIGNS, foot_signs
from flockcare.photos.models import Foot, Photo

# So many of her newest checks, and no older ones, are searched for signs that still hold.
CHECKS, DAYS = 8, 60
# A foot that was called clear since has these no more.
NOT_SINCE_CLEAR = ("swelling", "bleeding", "plug_or_hole")
OF_FOOT = ("foot", "score", "sites", "scab", "scab_mm", "swelling", *FOOT_SIGNS)
NOTHING = (None, "", False, 0, "none", "normal", "bright", "yes")


@dataclass(frozen=True)
class KnownFoot:
    """How a foot was when it was last checked; ``asked``: signs that nobody has seen gone since.

    ``state``: what is the matter with it since when; ``course``: whether it gets better, empty
    where nothing is; both in words.
    """

    foot: Foot
    today: dt.date
    on: dt.date | None = None
    check: Check | None = None
    finding: FootFinding | None = None
    photo: uuid.UUID | None = None
    asked: dict = field(default_factory=dict)
    state: str = ""
    course: str = ""

    @property
    def is_open(self) -> bool:
        return bool(self.finding and self.finding.affected)

    @property
    def details(self) -> str:
        """``main pad, brown scab 4 mm, checked 3 days ago``; empty where it was never checked."""
        if self.finding is None:
            return ""
        told = foot_signs(*(getattr(self.finding, name) for name in OF_FOOT[2:]))
        return ", ".join([*told, f"checked {self._ago}"])

    @property
    def _ago(self) -> str:
        days = (self.today - self.on).days
        near = {0: "today", 1: "yesterday"}
        return near.get(days) or (
            f"{days} days ago" if days < 100 else short_words(self.on, self.today)
        )


@dataclass(frozen=True)
class Known:
    """``asked``: signs of the bird herself that nobody has seen gone since."""

    feet: list[KnownFoot]
    asked: dict

    def told(self, words: Mapping[str, tuple[str, str]]) -> Known:
        """``words``: the state and the course of each foot."""
        feet = [
            replace(foot, state=words[foot.foot][0], course=words[foot.foot][1])
            for foot in self.feet
        ]
        return replace(self, feet=feet)

    @property
    def open_feet(self) -> list[KnownFoot]:
        return [foot for foot in self.feet if foot.is_open]

    @property
    def checked(self) -> bool:
        return any(foot.finding for foot in self.feet)

    @property
    def both_checked(self) -> bool:
        return all(foot.finding for foot in self.feet)


def known_of(bird: Bird, *, now: dt.datetime) -> Known:
    """Two queries. The bird must come with her flock."""
    zone = bird.flock.zone
    today, since = timezone.localdate(now, zone), now - dt.timedelta(DAYS)
    seen = _newest(bird, now)
    photos = _last_photos(bird)
    feet = []
    for foot in Foot:
        of_foot = [(check, finding) for check, finding in seen if finding and finding.foot == foot]
        # Clear on the same day as sore gives way to it, as in the cases.
        of_foot.sort(key=lambda one: (_day(one[0], zone), one[1].affected), reverse=True)
        told = KnownFoot(foot, today, photo=photos.get(foot))
        if of_foot:
            check, finding = of_foot[0]
            told = replace(
                told,
                on=_day(check, zone),
                check=check,
                finding=finding,
                asked=_of_foot([finding for check, finding in of_foot if check.at >= since]),
            )
        feet.append(told)
    return Known(feet, _of_bird([check for check, _ in seen if check.at >= since]))


def _day(check: Check, zone) -> dt.date:
    return timezone.localdate(check.at, zone)


def _newest(bird: Bird, now: dt.datetime) -> list[tuple[Check, FootFinding | None]]:
    """What was seen at her newest checks, with the check, the newest first.

    And at the newest two of each foot, which may be older than these.
    """
    checks = Check.objects.filter(bird=bird, at__lte=now).newest_first()
    newest = Q(pk__in=Subquery(checks.values("pk")[:CHECKS]))
    for foot in Foot:
        of_foot = checks.filter(findings__foot=foot).values("findings__pk")
        newest |= Q(findings__pk__in=Subquery(of_foot[:2]))
    rows = (
        # Of this bird, said again: else PostgreSQL reads the checks of all flocks for the keys.
        Check.objects.filter(newest, bird=bird)
        .newest_first()
        .values_list("pk", "at", *BIRD_SIGNS, *(f"findings__{name}" for name in OF_FOOT))
    )
    found = []
    check = None
    for row in rows:
        of_check, of_foot = row[: -len(OF_FOOT)], row[-len(OF_FOOT) :]
        if check is None or check.pk != of_check[0]:
            check = Check(**dict(zip(("pk", "at", *BIRD_SIGNS), of_check, strict=True)))
        finding = dict(zip(OF_FOOT, of_foot, strict=True))
        found.append((check, FootFinding(**finding) if finding["foot"] else None))
    return found


_LAST_PHOTOS = Bird.objects.values_list(
    *(
        Subquery(
            Photo.objects.filter(bird=OuterRef("pk"), foot=foot)
            .order_by(F("taken").desc(nulls_last=True), "-added_at")
            .values("pk")[:1]
        )
        for foot in Foot
    )
)


def _last_photos(bird: Bird) -> dict[str, uuid.UUID]:
    """The key of the newest photo of each foot."""
    newest = _LAST_PHOTOS.filter(pk=bird.pk).first() or ()
    return {foot: photo for foot, photo in zip(Foot, newest, strict=False) if photo}


def _of_foot(findings: list[FootFinding]) -> dict:
    """By name; the newest answer counts, and silence is none."""
    answers: dict = {}
    for finding in findings:
        for name in ("swelling", *FOOT_SIGNS):
            said = getattr(finding, name)
            if not finding.affected and name in NOT_SINCE_CLEAR:
                answers.setdefault(name, Swelling.NONE)
            elif said not in (None, ""):
                answers.setdefault(name, said)
    return {name: said for name, said in answers.items() if said not in NOTHING}


def _of_bird(checks: list[Check]) -> dict:
    answers: dict = {}
    for check in checks:
        for name in BIRD_SIGNS:
            said = getattr(check, name)
            if said not in (None, ""):
                answers.setdefault(name, said)
        if check.gait == 0:
            answers.setdefault("limps_on", "")  # Who walks well limps on no leg.
    return {name: said for name, said in answers.items() if said not in NOTHING}
