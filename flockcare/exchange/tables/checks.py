"""Checks of feet, the clear ones too."""

from collections import Counter, defaultdict
from collections.abc import Iterator

from flockcare.exchange.tables.base import Table, counted_name, keys, read_all, write_all
from flockcare.exchange.tables.columns import (
    Day,
    Kind,
    bird,
    clock,
    fields_of,
    keeper,
    labels,
)
from flockcare.feet.models import FOOT_SIGNS, SIGN_WORDS, Check, FootFinding, RoundBird, Site
from flockcare.photos.models import Foot

# Read in parts, so that those of ten years are not in memory at once.
AT_ONCE = 1000
# These came first, so that the columns of the others stand at the end.
SIGNS, MORE_SIGNS = FOOT_SIGNS[:3], FOOT_SIGNS[3:]
_check, _finding = fields_of(Check), fields_of(FootFinding)


DATE = Day("date", "The day.", Kind.DAY, required=True, past=True, attr="at")
TIME = clock(lambda check, _: check.time_known)


def _seen(foot: str):
    def column(name, meaning, kind=None, **more):
        return _finding(f"{foot}_{name}", meaning, kind, field=name, part=foot, **more)

    score = f"Lesion score of the {foot} foot; empty: this foot was not checked."
    places = "Places on the foot, separated by “;”."
    return (
        column("score", score),
        column("sites", places, Kind.CHOICES, values=labels(Site.choices)),
        column("scab", "The scab."),
        column("scab_mm", "Width of the scab.", unit="mm"),
        column("swelling", "Swelling."),
    )


def _signs(foot: str, names):
    return tuple(
        _finding(
            f"{foot}_{name}",
            f"Of the {foot} foot, {SIGN_WORDS[name]}; empty: not checked.",
            field=name,
            part=foot,
        )
        for name in names
    )


def _grade(foot: str):
    name, meaning = f"{foot}_clinical_grade", f"Grade, {foot} foot."
    return _finding(name, meaning, field="clinical_grade", part=foot)


class Checks(Table):
    """An item is a check with its findings."""

    name = "checks.csv"
    about = "Checks of feet, the clear ones too."
    model = Check
    columns = (
        bird(),
        DATE,
        TIME,
        keeper(Check, "Who checked, by name."),
        _check("gait", "Gait score."),
        *_seen("left"),
        *_seen("right"),
        _check("note"),
        # These may be left out.
        *_signs("left", SIGNS),
        *_signs("right", SIGNS),
        _check("manner", "How she was."),
        _check("eating", "Whether she was eating."),
        _check("droppings", "Her droppings."),
        _check("belly", "Her belly."),
        _check("body_condition", "Body condition."),
        _grade("left"),
        _grade("right"),
        _check("received", "When the app received it.", field="received_at"),
        *_signs("left", MORE_SIGNS),
        *_signs("right", MORE_SIGNS),
        _check("limps_on", "On which leg she limps."),
        _check("comb", "Colour of her comb."),
    )
    silent = ("received",)

    # --- Writing

    def items(self, flock) -> Iterator[tuple[Check, list[FootFinding]]]:
        checks = super().items(flock).prefetch_related("findings")
        for check in checks.order_by("at", "received_at", "pk").iterator(AT_ONCE):
            yield check, list(check.findings.all())

    def parts(self, item):
        check, findings = item
        return check, *findings

    def to_row(self, item, names):
        check, findings = item
        row = super().to_row(check, names)
        for finding in findings:
            row |= write_all(self.columns_of(finding.foot), finding, names)
        return row

    def rows(self, outgoing):
        found = [
            (self.cells(self.to_row(item, outgoing.names)), keys(item[0]))
            for item in self.items(outgoing.flock)
            if outgoing.is_in_time(item[0])
        ]
        found.sort(key=lambda pair: pair[0])
        self._name_those_of_rounds(found, outgoing)
        yield from found

    def _name_those_of_rounds(self, found, outgoing) -> None:
        """A round calls its checks by their moments, numbered where a bird has several at one."""
        seen = RoundBird.objects.filter(round__flock=outgoing.flock, check_record__isnull=False)
        wanted, counted = set(seen.values_list("check_record", flat=True)), Counter()
        bird, date, time = (self.all.index(name) for name in ("bird", "date", "time"))
        for cells, (key,) in found:
            moment = f"{cells[date]} {cells[time]}".strip()
            counted[cells[bird], moment] += 1
            if key.pk in wanted:
                number = counted[cells[bird], moment]
                outgoing.names.checks[key.pk] = counted_name(moment, number)

    # --- Reading

    def from_row(self, row):
        values = self.values(row) | {"time_known": bool(row.text("time"))}
        check = self.checked(row, Check(flock=row.work.flock, **values))
        findings = (self._finding(row, check, foot) for foot in Foot)
        return check, [finding for finding in findings if finding]

    def _finding(self, row, check, foot) -> FootFinding | None:
        score, *others = self.columns_of(foot)
        if not row.text(score.name):
            told = next((column.name for column in others if row.text(column.name)), None)
            if told:
                row.wrong(score.name, f"“{told}” is given, so the foot needs a score too.")
            return None
        finding = FootFinding(check_record=check, foot=foot, **read_all(self.columns_of(foot), row))
        return self.checked(row, finding, foot)


def moment_name(check, names) -> str:
    """Day and time of a check, as other files name it."""
    return f"{DATE.write(check, names)} {TIME.write(check, names)}".strip()


def every_check(work) -> Iterator[tuple[Check, list[FootFinding]]]:
    """The checks of the flock and those about to be added, each with its findings."""
    yield from Checks().items(work.flock)
    findings = defaultdict(list)
    for finding in work.plan.new[FootFinding]:
        findings[finding.check_record_id].append(finding)
    for check in work.plan.new[Check]:
        yield check, findings[check.pk]
