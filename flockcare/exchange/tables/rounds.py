"""Rounds through the birds that were due: rows of one number are one round."""

from collections import defaultdict

from flockcare.exchange.tables.base import Grouped, keys, read_all, write_all
from flockcare.exchange.tables.checks import Checks, every_check, moment_name
from flockcare.exchange.tables.columns import Column, Kind, bird, code, fields_of, person
from flockcare.feet.models import Check, Round, RoundBird

_round, _place = fields_of(Round), fields_of(RoundBird)
_OF_ROUND = (
    _round("started", "When it was begun.", field="started_at", needed=True),
    person("Who began it, by name.", "started_by"),
    _round("ended", "When it was ended; empty: it is still open.", field="ended_at"),
)
_OF_BIRD = (
    bird("A bird of the round; empty: it had none.", required=False),
    _place("passed_over", "She was skipped."),
)


class Rounds(Grouped):
    """An item is a round with its birds."""

    name = "rounds.csv"
    about = "Rounds through all birds that were due: rows of one number are one round."
    model = Round
    number = "round"
    of_group = _OF_ROUND
    columns = (
        Column("round", "Number of the round in this file.", Kind.INTEGER, required=True),
        *_OF_ROUND,
        _OF_BIRD[0],
        _place("place", "Her place in the order.", attr=""),
        code("check", "Day and time of the check she was given."),
        _OF_BIRD[1],
    )

    def items(self, flock):
        for round_ in super().items(flock).prefetch_related("birds"):
            yield round_, list(round_.birds.all())

    def parts(self, item):
        round_, birds = item
        return round_, *birds

    def group(self, item, names):
        round_, birds = item
        start = write_all(_OF_ROUND, round_, names)
        of_birds = [
            write_all(_OF_BIRD, one, names)
            | {"place": str(one.place), "check": names.checks.get(one.check_record_id, "")}
            for one in birds
            if one.bird_id in names.birds
        ]
        of_birds.sort(key=self.cells)
        return [(start | row, keys(round_)) for row in of_birds or [{}]]

    def plan(self, work) -> None:
        if work.tables[self.name]:
            work.checks = _checks_by_name(work)
        super().plan(work)

    def told(self, work, item):
        round_, _ = item
        return round_.started_at, round_.ended_at

    def from_rows(self, rows):
        first, *_ = rows
        round_ = Round(flock=first.work.flock, **read_all(_OF_ROUND, first))
        birds = [self._bird(row, round_) for row in rows if row.text("bird")]
        if len({one.bird_id for one in birds}) < len(birds):
            first.wrong("bird", f"A bird is twice in round {first.text('round')}.")
        return round_, birds

    def _bird(self, row, round_) -> RoundBird:
        place = self.column("place").value(row) or 0
        one = RoundBird(round=round_, place=place, **read_all(_OF_BIRD, row))
        one.check_record = _check_named(row, one.bird)
        return one

    def add(self, row, item) -> None:
        round_, _ = item
        others = (*self.model.objects.filter(flock=round_.flock), *row.work.plan.new[Round])
        if round_.ended_at is None and any(other.ended_at is None for other in others):
            row.wrong("ended", "Another round is still open. End that first.")
        super().add(row, item)


def _checks_by_name(work) -> dict:
    """The checks of each bird by their moments, in the order of the files where there are many."""
    table = Checks()
    found = [(table.to_row(item, work.keys), item[0]) for item in every_check(work)]
    found.sort(key=lambda pair: table.cells(pair[0]))
    checks = defaultdict(list)
    for _, check in found:
        checks[check.bird_id, moment_name(check, work.keys)].append(check)
    return checks


def _check_named(row, bird) -> Check | None:
    name = row.text("check")
    if not name or bird is None:
        return None
    moment, _, number = name.partition(" (")
    number = number.removesuffix(")") or "1"
    called = row.work.checks.get((bird.pk, moment), ())
    if number.isdecimal() and 0 < int(number) <= len(called):
        return called[int(number) - 1]
    row.wrong("check", f"She has no check at “{name}”.")
    return None
