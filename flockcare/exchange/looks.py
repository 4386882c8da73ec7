"""Checks of feet: who, when, what."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime

from django.core.exceptions import ValidationError

from flockcare.exchange import cells
from flockcare.exchange.columns import FILES, SIGNS, SITE_SEPARATOR
from flockcare.exchange.rows import KEYS, check_cells
from flockcare.feet.models import Check, FootFinding, Site
from flockcare.feet.services import CLOCK_TOLERANCE
from flockcare.photos.models import Foot

CHECK, FINDING = Check._meta.get_field, FootFinding._meta.get_field

# When the app received it tells no two checks apart.
_TOLD = FILES["checks.csv"].without("received")
_keeper_name = cells.for_field(CHECK("keeper_name"))
_gait = cells.for_field(CHECK("gait"))
_body_condition = cells.for_field(CHECK("body_condition"))
_general = {
    name: cells.for_field(CHECK(name))
    for name in ("manner", "eating", "droppings", "belly", "note")
}
score = cells.for_field(FINDING("score"))
_finding = {
    "sites": cells.listed(cells.one_of(Site.choices), SITE_SEPARATOR),
    "scab": cells.for_field(FINDING("scab")),
    "scab_mm": cells.for_field(FINDING("scab_mm"), cells.decimal),
    "swelling": cells.for_field(FINDING("swelling")),
    **dict.fromkeys(SIGNS, cells.yes_or_no),
    "clinical_grade": cells.for_field(FINDING("clinical_grade")),
}


def read_moment(work, row) -> tuple[datetime | None, bool]:
    """When it was, and whether the time of day is known; noon stands for an unknown one."""
    on = row.need("date", cells.not_after(work.today, cells.day))
    clock = row.get("time", cells.clock)
    if on is None:
        return None, False
    at = cells.moment(on, clock or cells.NOON, work.zone)
    if clock is None:
        return min(at, work.now), False
    if at > work.now + CLOCK_TOLERANCE:
        row.wrong("time", f"{on} {row.text('time')} is in the future.")
    return at, True


def read_keeper(work, row) -> dict:
    keeper = work.keepers.get(row.text("keeper"))
    name = "" if keeper else row.get("keeper", _keeper_name, "")
    return {"keeper": keeper, "keeper_name": name}


def every_check(work) -> Iterator[tuple[Check, list[FootFinding]]]:
    """The checks of the flock and those about to be added, each with its findings."""
    for check in Check.objects.filter(flock=work.flock).prefetch_related("findings"):
        yield check, list(check.findings.all())
    findings = defaultdict(list)
    for finding in work.plan.new[FootFinding]:
        findings[finding.check_record_id].append(finding)
    for check in work.plan.new[Check]:
        yield check, findings[check.pk]


def check_checks(work) -> None:
    planned = work.read("checks.csv").each(lambda row: _check(work, row))
    existing = []
    if planned:
        checks = Check.objects.filter(flock=work.flock)
        checks = checks.select_related("keeper").prefetch_related("findings")
        existing = [(check, list(check.findings.all())) for check in checks]

    def keyed(pairs):
        found = ((check_cells(*pair, KEYS, work.zone), pair) for pair in pairs)
        return [(tuple(told[at] for at in _TOLD), pair) for told, pair in found]

    for check, findings in work.add_unless_there("checks.csv", keyed(planned), keyed(existing)):
        work.plan.add(check, *findings)


def _check(work, row) -> tuple[Check, list[FootFinding]]:
    at, time_known = read_moment(work, row)
    check = Check(
        flock=work.flock,
        bird=row.find("bird", "bird", work.birds),
        at=at,
        time_known=time_known,
        gait=row.get("gait", _gait),
        body_condition=row.get("body_condition", _body_condition),
        **read_keeper(work, row),
        **{name: row.get(name, read, "") for name, read in _general.items()},
    )
    check.received_at = row.get("received", cells.instant(work.zone), check.received_at)
    findings = [_finding_of(row, check, foot) for foot in Foot.values]
    return check, [finding for finding in findings if finding]


_FINDING_COLUMNS = {
    foot: [name for name in FILES["checks.csv"].all if name.startswith(f"{foot}_")]
    for foot in Foot.values
}


def _finding_of(row, check, foot) -> FootFinding | None:
    value = row.get(f"{foot}_score", score)
    if value is None:
        told = next((name for name in _FINDING_COLUMNS[foot] if row.text(name)), None)
        if told and told != f"{foot}_score":
            row.wrong(f"{foot}_score", f"“{told}” is given, so the foot needs a score too.")
        return None
    details = {name: row.get(f"{foot}_{name}", read) for name, read in _finding.items()}
    given = {name: detail for name, detail in details.items() if detail is not None}
    finding = FootFinding(check_record=check, foot=foot, score=value, **given)
    if given:
        _fits_together(row, finding)
    return finding


def _fits_together(row, finding) -> None:
    try:
        finding.clean()
    except ValidationError as error:
        for name, messages in error.message_dict.items():
            row.wrong(f"{finding.foot}_{name}", " ".join(messages))
