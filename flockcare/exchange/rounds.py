"""Rounds through the birds that were due: rows of one number are one round."""

from collections import defaultdict

from flockcare.exchange import cells
from flockcare.exchange.looks import every_check
from flockcare.exchange.rows import KEYS, check_cells
from flockcare.feet.models import Check, Round, RoundBird

FILE = "rounds.csv"
_place = cells.for_field(RoundBird._meta.get_field("place"), cells.integer)
_OF_ROUND = ("started", "started_by", "ended")


def check_rounds(work) -> None:
    if not work.tables[FILE]:
        return
    known = {(one.started_at, one.ended_at) for one in Round.objects.filter(flock=work.flock)}
    checks = _checks_by_name(work)
    for rows in work.read(FILE).groups("round", _OF_ROUND):
        _round(work, rows, known, checks)


def _checks_by_name(work) -> dict:
    """The checks of each bird by their moments, in the order of the files where there are many."""
    found = [
        (check_cells(check, findings, KEYS, work.zone), check)
        for check, findings in every_check(work)
    ]
    found.sort(key=lambda pair: [str(cell) for cell in pair[0]])
    checks = defaultdict(list)
    for told, check in found:
        checks[check.bird_id, " ".join(told[1:3]).strip()].append(check)
    return checks


def _round(work, rows, known, checks) -> None:
    before = len(work.problems)
    first = rows[0]
    moment = cells.instant(work.zone)
    round_ = Round(
        flock=work.flock,
        started_at=first.need("started", moment),
        ended_at=first.get("ended", moment),
    )
    birds = [_bird(work, row, round_, checks) for row in rows if row.text("bird")]
    keys = [one.bird_id for one in birds]
    if len(set(keys)) < len(keys):
        first.wrong("bird", f"A bird is twice in round {first.text('round')}.")
    if len(work.problems) > before:
        return
    if (round_.started_at, round_.ended_at) in known:
        work.plan.already_there[FILE] += len(rows)
        return
    if round_.ended_at is None and (
        any(ended is None for _, ended in known)
        or any(other.ended_at is None for other in work.plan.new[Round])
    ):
        first.wrong("ended", "Another round is still open. End that first.")
        return
    work.sign(first, round_, "started_by")
    work.plan.add(round_, *birds)


def _bird(work, row, round_, checks) -> RoundBird:
    bird = row.find("bird", "bird", work.birds)
    return RoundBird(
        round=round_,
        bird=bird,
        place=row.get("place", _place, 0),
        passed_over=row.get("passed_over", cells.yes_or_no, False),
        check_record=_check_named(row, bird, checks),
    )


def _check_named(row, bird, checks) -> Check | None:
    name = row.text("check")
    if not name or bird is None:
        return None
    moment, _, number = name.partition(" (")
    number = number.removesuffix(")") or "1"
    called = checks.get((bird.pk, moment), ())
    if number.isdecimal() and 0 < int(number) <= len(called):
        return called[int(number) - 1]
    row.wrong("check", f"She has no check at “{name}”.")
    return None
