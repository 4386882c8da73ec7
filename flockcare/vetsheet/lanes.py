"""From the records to the timeline of the sheet."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable

from flockcare.care.models import StepKind
from flockcare.core.templatetags.flockcare import weight
from flockcare.drawing.dates import day_position
from flockcare.feet.cases import Case
from flockcare.photos.models import Foot
from flockcare.vetsheet.drawing import Bar, Lanes, Look, Stay, Weight
from flockcare.vetsheet.names import Names
from flockcare.vetsheet.records import Records, Seen

OF_A_VET = (StepKind.VET, StepKind.MEDICINE)
# Where something lies in the period: 0 when it begins, 1 when it ends.
Share = Callable[[dt.datetime | dt.date], float]


def lanes(records: Records, names: Names) -> Lanes:
    window = records.window
    start, days = window.first.toordinal(), window.days

    def share(at: dt.datetime | dt.date) -> float:
        return (day_position(at, window.zone) - start) / days

    def edge(day: dt.date | None, default: float) -> float:
        place = (day.toordinal() - start) / days if day else default
        return min(1.0, max(0.0, place))

    looks = list(records.of_period())
    return Lanes(
        window.first,
        window.last,
        looks={
            foot: tuple(Look(share(seen.at), seen.score) for seen in looks if seen.foot == foot)
            for foot in Foot.values
        },
        bars={
            foot: tuple(_bar(case, share) for case in records.cases if case.foot == foot)
            for foot in Foot.values
        },
        dots=_dots(records, looks, share),
        weights=tuple(
            Weight(share(one.on), one.grams, weight(one.grams, records.bird.flock))
            for one in records.weighed
        ),
        stays=tuple(
            Stay(edge(stay.since, 0.0), edge(stay.until, 1.0), names.text(stay.house.name))
            for stay in records.lived
        ),
        changes=tuple(share(one.on) for stay in records.lived for one in stay.changes),
    )


def _dots(records: Records, looks: list[Seen], share: Share) -> dict[str, tuple[float, ...]]:
    """What is one sign at one moment, by its row; without the rows in which nothing stands."""
    signs = {seen.check: seen.at for seen in looks if seen.odd}
    moments = {
        "signs": signs.values(),
        "care": (step.at for step in records.steps if step.kind not in OF_A_VET),
        "vet": (step.at for step in records.steps if step.kind in OF_A_VET),
        # One known to the month has no place on a line of days.
        "photos": (
            shot.photo.taken for shot in records.shots if shot.days and shot.days[0] == shot.days[1]
        ),
    }
    dots = {row: _shares(share, of_row) for row, of_row in moments.items()}
    return {row: shares for row, shares in dots.items() if shares}


def _shares(share: Share, moments: Iterable[dt.datetime]) -> tuple[float, ...]:
    return tuple(sorted(place for at in moments if 0 <= (place := share(at)) <= 1))


def _bar(case: Case, share: Share) -> Bar:
    before, after = case.episode.last_clear_before, case.episode.first_clear_after
    return Bar(
        share(case.first.at),
        share(case.last.at),
        share(before) if before else None,
        share(after) if after else None,
        case.worst,
    )
