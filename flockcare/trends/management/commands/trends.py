"""Print what the page Trends says about a flock: the sentences, or with --json every figure.

With --summary it writes counts without names or days instead, to pool with those of other flocks.
"""

import json
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from flockcare.people.commands import flock_called
from flockcare.trends.report import plain
from flockcare.trends.report_cache import report_of
from flockcare.trends.summary import summary_of


class Command(BaseCommand):
    help = __doc__

    def add_arguments(self, parser):
        parser.add_argument("--flock", required=True, metavar="NAME")
        parser.add_argument(
            "--owner",
            metavar="SIGN_IN_NAME",
            help="one of its keepers, if several flocks have that name",
        )
        what = parser.add_mutually_exclusive_group()
        what.add_argument("--json", action="store_true", help="every figure, as JSON")
        what.add_argument(
            "--summary", type=Path, metavar="FILE", help="write a summary for `pool` into FILE"
        )

    def handle(self, *, flock, owner, json: bool, summary: Path | None, **options):
        one = flock_called(flock, owner)
        if summary:
            try:
                summary.write_text(summary_of(one), encoding="utf-8")
            except OSError as error:
                raise CommandError(f"{summary} cannot be written: {error.strerror}.") from error
            return
        report = report_of(one, timezone.now().astimezone(one.zone).date())
        self.stdout.write(as_json(report) if json else "\n".join(spoken(report)))


def as_json(report) -> str:
    return json.dumps(plain(report), indent=2, ensure_ascii=False, allow_nan=False)


def spoken(report):
    """The sentences of the page, part by part."""
    yield from report.headline
    for change in report.changes:
        yield f"\n{change.number}. {change.title}"
        yield from change.sentences
        if change.else_changed:
            yield f"What else changed: {'; '.join(change.else_changed)}."
        yield f"What would tell more: {change.tells_more}"
    if report.apart:
        yield f"\n{report.apart}"
    for title, part in (
        ("When the rate changed", report.scan),
        *((grouping.title, grouping) for grouping in report.groupings),
        ("Birds with repeated cases", report.repeats),
        ("Healing", report.healing),
    ):
        yield f"\n{title}"
        yield from part.sentences
    yield "\nWhat to record next"
    yield from (step.sentence for step in report.steps)
