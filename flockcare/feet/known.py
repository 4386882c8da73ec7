"""What is known of a bird's feet before she is checked again, for the form of the next check."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from django.db.models import F, Q, Subquery
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.feet.cases import Case, cases_of_bird
from flockcare.feet.models import FOOT_SIGNS, Check, FootFinding, Swelling
from flockcare.feet.words import BIRD_SIGNS, foot_signs
from flockcare.photos.models import Foot, Photo

# So many of her newest checks, and no older ones, are searched for signs that still hold.
CHECKS, DAYS = 8, 60
# A foot that was called clear since has these no more.
NOT_SINCE_CLEAR = ("swelling", "bleeding", "plug_or_hole")
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
    photo: Photo | None = None
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
        of_foot = ("sites", "scab", "scab_mm", "swelling", *FOOT_SIGNS)
        told += foot_signs(*(getattr(self.finding, name) for name in of_foot))
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
    """At most four queries, however much there is. The bird must come with her flock."""
    zone = bird.flock.zone
    today = timezone.localdate(now, zone)
    checks = list(
        Check.objects.filter(bird=bird, at__lte=now)
        .newest_first()
        .prefetch_related("findings")[:CHECKS]
    )
    findings = {
        foot: [(c, f) for c in checks for f in c.findings.all() if f.foot == foot] for foot in Foot
    }
    photos = _last_photos(bird)
    is_open = any(found and found[0][1].affected for found in findings.values())
    cases = cases_of_bird(bird) if is_open else []
    since = now - dt.timedelta(DAYS)
    feet = []
    for foot, found in findings.items():
        told = KnownFoot(foot, today, photo=photos.get(foot))
        if found:
            check, finding = found[0]
            case = next((c for c in cases if c.foot == foot and c.current), None)
            recent = [finding for check, finding in found if check.at >= since]
            on = timezone.localdate(check.at, zone)
            told = KnownFoot(
                foot, today, on, check, finding, case, photos.get(foot), _of_foot(recent)
            )
        feet.append(told)
    return Known(feet, _of_bird([check for check in checks if check.at >= since]))


def _last_photos(bird: Bird) -> dict[str, Photo]:
    newest = [
        Photo.objects.filter(bird=bird, foot=foot)
        .order_by(F("taken").desc(nulls_last=True), "-added_at")
        .values("pk")[:1]
        for foot in Foot
    ]
    left, right = (Q(pk=Subquery(one)) for one in newest)
    return {photo.foot: photo for photo in Photo.objects.filter(left | right)}


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
