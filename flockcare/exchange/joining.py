"""Which checks and steps of care the photos belong to.

A photo of a bird belongs to the check that ``check`` names, else to the check of that bird at the
same moment, else to the only one of that day. With a score and no check on that day it becomes a
check of its own.
"""

from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import date
from itertools import chain, islice

from flockcare.care.models import CareStep
from flockcare.exchange import cells
from flockcare.exchange.limits import MOST_NAMED
from flockcare.exchange.tables.care import step_name
from flockcare.exchange.tables.checks import every_check, moment_name
from flockcare.exchange.taken import taken_text
from flockcare.feet.models import Check, FootFinding
from flockcare.photos.models import Photo, Precision

NO_CHECK = "none"


@dataclass
class Candidate:
    """A photo row that was read, with what decides about its check."""

    row: object
    photo: Photo
    score: int | None
    check: str
    care: str

    def day(self, zone) -> str:
        """The day it was taken, empty when that is not known to the day."""
        known = self.photo.taken_precision in (Precision.MOMENT, Precision.DAY)
        return taken_text(self.photo, zone)[:10] if known else ""


def join(work, candidates: list[Candidate]) -> None:
    """Plan what each photo is attached to; what cannot be found is a problem of its row."""
    candidates = [candidate for candidate in candidates if _names_few(candidate)]
    if candidates:
        _Checks(work).attach(candidates)
    if tended := [candidate for candidate in candidates if candidate.care]:
        _attach_to_steps(work, tended)


def _names_few(candidate) -> bool:
    wrong = [name for name in ("check", "care") if getattr(candidate, name).count(";") > MOST_NAMED]
    for column in wrong:
        candidate.row.wrong(column, f"More than {MOST_NAMED} are named here.")
    return not wrong


def _attach_to_steps(work, candidates) -> None:
    steps = defaultdict(dict)
    for step in (
        *CareStep.objects.filter(flock=work.flock),
        *work.plan.new[CareStep],
    ):
        steps[step.bird_id].setdefault(step_name(step, work.keys), []).append(step)
    for candidate in candidates:
        hers = steps[candidate.photo.bird_id]
        for name, step in _named(candidate.care, lambda called, hers=hers: hers.get(called, ())):
            if step:
                work.plan.attached.append((step, candidate.photo))
            else:
                candidate.row.wrong("care", f"She has no care record “{name}”.")


def _named(text: str, records_called):
    """Each name in ``text`` with its record, or None; named again it means the next one called so.

    ``records_called(name)`` gives all of that name.
    """
    for name, times in Counter(part.strip() for part in text.split(";")).items():
        for record in list(islice(records_called(name), times)) or [None]:
            yield name, record


class _Checks:
    """The checks that photos can belong to: those of the flock and those about to be added."""

    def __init__(self, work):
        self.work = work
        self.by_moment, self.by_day = defaultdict(list), defaultdict(list)
        self.scores, self._by_score = {}, {}
        for check, findings in every_check(work):
            self._know(check, findings)

    def _know(self, check, findings) -> None:
        moment = moment_name(check, self.work.keys)
        self.by_day[check.bird_id, moment[:10]].append(check)
        self.by_moment[check.bird_id, moment].append(check)
        self.scores.update({(check.pk, finding.foot): finding.score for finding in findings})

    def attach(self, candidates) -> None:
        candidates = [one for one in candidates if one.check != NO_CHECK]
        groups = defaultdict(list)
        for candidate in candidates:
            if self._needs_a_check(candidate):
                groups[candidate.photo.bird_id, candidate.day(self.work.zone)].append(candidate)
        for (_, on), group in groups.items():
            self._make_check(date.fromisoformat(on), group)
        for candidate in candidates:
            for check in self._checks_of(candidate):
                self._join(candidate, check)

    def _needs_a_check(self, candidate) -> bool:
        if candidate.score is None or candidate.check:
            return False
        photo, day = candidate.photo, candidate.day(self.work.zone)
        if not (photo.bird_id and photo.foot and day):
            candidate.row.wrong("score", "Give the bird, the foot and the day of this score.")
            return False
        return not self.by_day.get((photo.bird_id, day))

    def _checks_of(self, candidate) -> list[Check]:
        bird, day = candidate.photo.bird_id, candidate.day(self.work.zone)
        if candidate.check:
            return self._as_told(candidate)
        same_moment = self.by_moment.get((bird, taken_text(candidate.photo, self.work.zone)))
        that_day = self.by_day.get((bird, day), [])
        if same_moment or len(that_day) == 1:
            return (same_moment or that_day)[:1]
        if that_day and candidate.score is not None:
            message = "She has several checks on that day: name one under “check”."
            candidate.row.wrong("score", message)
        return []

    def _as_told(self, candidate) -> list[Check]:
        def called(moment):
            """Of several checks at one moment those that say what the photo says come first."""
            photo = candidate.photo
            same = self._at(photo.bird_id, moment, photo.foot).get(candidate.score, ())
            others = (
                check
                for check in self.by_moment.get((photo.bird_id, moment), ())
                if self.scores.get((check.pk, photo.foot)) != candidate.score
            )
            return chain(same, others)

        found = []
        for moment, check in _named(candidate.check, called):
            if check:
                found.append(check)
            else:
                candidate.row.wrong("check", f"She has no check at “{moment}”.")
        return found

    def _at(self, bird_id, moment: str, foot: str) -> dict[int | None, list[Check]]:
        """By what they say of the foot: her checks at that moment, once all are known."""
        key = bird_id, moment, foot
        if key not in self._by_score:
            found = self._by_score[key] = defaultdict(list)
            for check in self.by_moment.get((bird_id, moment), ()):
                found[self.scores.get((check.pk, foot))].append(check)
        return self._by_score[key]

    def _join(self, candidate, check) -> None:
        known = self.scores.get((check.pk, candidate.photo.foot))
        if candidate.score is None or candidate.score == known:
            self.work.plan.attached.append((check, candidate.photo))
            return
        said = "nothing about this foot" if known is None else known
        candidate.row.wrong("score", f"Her check of that day says {said}.")

    def _make_check(self, on, group) -> None:
        moments = [c.photo.taken for c in group if c.photo.taken_precision == Precision.MOMENT]
        noon = cells.moment(on, cells.NOON, self.work.zone)
        check = Check(
            flock=self.work.flock,
            bird=group[0].photo.bird,
            at=min(moments, default=min(noon, self.work.now)),
            time_known=bool(moments),
        )
        by_foot = {one.photo.foot: one.score for one in reversed(group)}
        findings = [
            FootFinding(check_record=check, foot=foot, score=score)
            for foot, score in by_foot.items()
        ]
        for finding in findings:
            finding.clean()
        self.work.plan.add(check, *findings)
        self._know(check, findings)
