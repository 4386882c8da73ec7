"""What is known of a bird's feet before she is checked again, for the form of the next check."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass, field, replace

from django.db.models import F, OuterRef, Subquery
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.feet.cases import Case, Sight, cases_from, cases_of_bird
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
    """How a foot was when it was last checked; ``asked``: signs that nobody has seen gone since."""

    foot: Foot
    today: dt.date
    on: dt.date | None = None
    check: Check | None = None
    finding: FootFinding | None = None
    case: Case | None = None
    photo: uuid.UUID | None = None
    asked: dict = field(default_factory=dict)

    @property
    def is_open(self) -> bool:
        return bool(self.finding and self.finding.affected)

    @property
    def words(self) -> str:
        """``mild since 26 Oct, main pad, brown scab 4 mm, checked 3 days ago``."""
        if self.finding is None:
            return "not checked yet"
        told = [self.finding.get_score_display().lower()]
        if self.case:
            told[0] += f" since {self._day(self.case.episode.first_affected)}"
        told += foot_signs(*(getattr(self.finding, name) for name in OF_FOOT[2:]))
        return ", ".join([*told, f"checked {self._ago}"])

    @property
    def since(self) -> str:
        return self._day(self.case.episode.first_affected) if self.case else ""

    def _day(self, day: dt.date) -> str:
        year = "" if day.year == self.today.year else f" {day.year}"
        return f"{day.day} {day:%b}{year}"

    @property
    def _ago(self) -> str:
        days = (self.today - self.on).days
        near = {0: "today", 1: "yesterday"}
        return near.get(days) or (f"{days} days ago" if days < 100 else self._day(self.on))


@dataclass(frozen=True)
class Known:
    """``asked``: signs of the bird herself that nobody has seen gone since."""

    feet: list[KnownFoot]
    asked: dict

    @property
    def open_feet(self) -> list[KnownFoot]:
        return [foot for foot in self.feet if foot.is_open]

    @property
    def checked(self) -> bool:
        return any(foot.finding for foot in self.feet)


def known_of(bird: Bird, *, now: dt.datetime) -> Known:
    """Two queries, three for a sore of long standing. The bird must come with her flock."""
    zone = bird.flock.zone
    today, since = timezone.localdate(now, zone), now - dt.timedelta(DAYS)
    seen = _newest(bird, now)
    photos = _last_photos(bird)
    feet = []
    for foot in Foot:
        of_foot = [(check, finding) for check, finding in seen if finding and finding.foot == foot]
        told = KnownFoot(foot, today, photo=photos.get(foot))
        if of_foot:
            check, finding = of_foot[0]
            told = replace(
                told,
                on=timezone.localdate(check.at, zone),
                check=check,
                finding=finding,
                case=_open_case(bird, foot, of_foot) if finding.affected else None,
                asked=_of_foot([finding for check, finding in of_foot if check.at >= since]),
            )
        feet.append(told)
    return Known(feet, _of_bird([check for check, _ in seen if check.at >= since]))


def _newest(bird: Bird, now: dt.datetime) -> list[tuple[Check, FootFinding | None]]:
    """What was seen at her newest checks, with the check, the newest first."""
    rows = (
        Check.objects.filter(bird=bird, at__lte=now)
        .order_by("-at", "-received_at", "pk")
        .values_list("pk", "at", *BIRD_SIGNS, *(f"findings__{name}" for name in OF_FOOT))
    )
    found = []
    check = None
    for row in rows[: CHECKS * len(Foot)]:
        of_check, of_foot = row[: -len(OF_FOOT)], row[-len(OF_FOOT) :]
        if check is None or check.pk != of_check[0]:
            check = Check(**dict(zip(("pk", "at", *BIRD_SIGNS), of_check, strict=True)))
        finding = dict(zip(OF_FOOT, of_foot, strict=True))
        found.append((check, FootFinding(**finding) if finding["foot"] else None))
    return found


def _open_case(bird: Bird, foot: Foot, seen: list[tuple[Check, FootFinding]]) -> Case | None:
    zone = bird.flock.zone
    sights = [
        Sight(timezone.localdate(check.at, zone), check.at, finding.score)
        for check, finding in reversed(seen)
    ]
    cases = cases_from(sights, bird_id=bird.pk, foot=foot)
    # One that is older than these checks is told by all of them.
    if cases[-1].episode.last_clear_before is None:
        cases = [case for case in reversed(cases_of_bird(bird)) if case.foot == foot]
    return next((case for case in cases if case.current), None)


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
    newest = _LAST_PHOTOS.get(pk=bird.pk)
    return {foot: photo for foot, photo in zip(Foot, newest, strict=True) if photo}


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
