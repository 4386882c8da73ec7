"""How one foot stands."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from flockcare.care import sizes
from flockcare.care.rules import Advice, Answer, Rule, Situation
from flockcare.care.rules.table import EVERY_DAY
from flockcare.care.standing.advice import of_foot
from flockcare.care.standing.answer import CASE, CLEAR, NEVER, FootStanding, Sign, Trend
from flockcare.care.standing.course import AREA, scores_of, sizes_of, trend_of
from flockcare.care.standing.records import Records
from flockcare.care.standing.signs import OF_FOOT, seen_for, seen_of_foot
from flockcare.feet.cases import Case


def _older(rules: Iterable[Rule], foot: FootStanding) -> tuple[Sign, ...]:
    signs = {sign.name: sign for rule in rules for sign in seen_for(rule, foot, ())}
    said = (foot.checked, foot.by)
    return tuple(sign for sign in signs.values() if (sign.on, sign.by) != said)


def _shows_a_sign(situation: Situation) -> bool:
    """Of a foot that was scored clear: whether something else was seen on it."""
    told = (getattr(situation, name) for name in OF_FOOT)
    return any(sign not in ("", "none", False, None) for sign in told) or bool(situation.grade)


def foot_standing(
    foot: str,
    records: Records,
    case: Case | None,
    answer: Answer,
    situation: Situation,
    today: date,
) -> FootStanding:
    last = records.last.get(foot)
    if last is None:
        return FootStanding(foot, NEVER, situation=situation)
    own = of_foot(situation, answer)
    signs = seen_of_foot(foot, records.looks, case)
    if case is None:
        shows = _shows_a_sign(situation)
        return FootStanding(
            foot,
            CLEAR,
            last.score,
            last.on,
            last.by,
            last_clear=last.on,
            check=last.check,
            advice=own.advice if shows else None,
            because=tuple(rule.sign for rule in own.because) if shows else (),
            look_again_days=_look_again_days(situation, own) if shows else None,
            signs=signs,
            situation=situation,
        )
    # The rules are told of none that were measured long ago; they are shown all the same.
    long_ago = situation.seen_long_ago
    measured = sizes_of(foot, records, case, today) if long_ago else situation.sizes
    areas = [size for size in measured if size.unit == AREA]
    found = FootStanding(
        foot,
        CASE,
        last.score,
        last.on,
        last.by,
        since=case.episode.first_affected,
        last_clear=case.episode.last_clear_before,
        first_check=case.first.check_id,
        check=last.check,
        days=(today - case.episode.first_affected).days,
        trend=Trend()
        if long_ago
        else trend_of(measured, scores_of(foot, records.looks, case, today)),
        areas=(areas[0], sizes.peak(areas), areas[-1]) if areas else None,
        advice=own.advice,
        because=tuple(rule.sign for rule in own.because),
        look_again_days=_look_again_days(situation, own),
        signs=signs,
        situation=situation,
    )
    return replace(found, older=_older(own.because, found))


def _look_again_days(situation: Situation, own: Answer) -> int | None:
    """As the rules say; at once where too little is known of a foot and no vet has planned for it.

    ``own``: of this foot alone. Common practice, no published source.
    """
    if own.advice is Advice.LOOK and not situation.under_vet_plan:
        return own.look_again_days or EVERY_DAY
    return own.look_again_days
