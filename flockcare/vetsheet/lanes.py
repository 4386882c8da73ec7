"""From the records to the timeline of the sheet."""

from __future__ import annotations

from collections.abc import Iterator

from flockcare.care.layers import mark_kind
from flockcare.core.templatetags.flockcare import weight
from flockcare.drawing.timeline import Band, Mark, Timeline
from flockcare.feet.layers import bar
from flockcare.vetsheet.names import Names
from flockcare.vetsheet.records import Records


def lanes(records: Records, names: Names) -> Timeline:
    return Timeline(
        records.window,
        list(_marks(records)),
        [Band(stay.since, stay.until, "", names.text(stay.house.name)) for stay in records.lived],
        [bar(case) for case in records.cases],
    )


def _marks(records: Records) -> Iterator[Mark]:
    looks = list(records.of_period())
    for seen in looks:
        if seen.foot:
            yield Mark(seen.at, seen.foot, f"score-{seen.score}", value=seen.score)
    for at in {seen.check: seen.at for seen in looks if seen.odd}.values():
        yield Mark(at, "signs", "sign")
    for step in records.steps:
        yield Mark(step.at, "care", mark_kind(step.kind))
    for shot in records.shots:
        # One known to the month has no place on a line of days.
        if shot.days and shot.days[0] == shot.days[1]:
            yield Mark(shot.photo.taken, "photos", "photo")
    for one in records.weighed:
        words = weight(one.grams, records.bird.flock)
        yield Mark(one.on, "weight", "weight", short=words, value=one.grams)
    for stay in records.lived:
        for change in stay.changes:
            yield Mark(change.on, "house", "change")
