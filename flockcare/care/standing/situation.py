"""What the rules of the advice are asked about a foot."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta

from flockcare.care.rules import Situation
from flockcare.care.rules.signs import BANTAM_G
from flockcare.care.standing.answer import Sign
from flockcare.care.standing.course import sizes_of
from flockcare.care.standing.records import FEET, Records, State
from flockcare.care.standing.signs import days_limping, foot_signs, signs_in
from flockcare.feet.cases import Case
from flockcare.feet.due import is_long_late
from flockcare.feet.scales import AFFECTED_FROM

YEAR = timedelta(days=365)


FOUR_WEEKS, A_MONTH = timedelta(days=28), timedelta(days=31)


def current_cases(records: Records) -> dict[str, Case]:
    return {case.foot: case for case in records.cases if case.current}


def situations_of(
    records: Records, signs: Mapping[str, Sign], today: date, others_new: int | None = None
) -> dict[str, Situation]:
    current = current_cases(records)
    if records.last_check and is_long_late(records.last_check, today):
        signs = {}
    return {
        foot: situation_of(
            foot, records, signs, current.get(foot), today=today, others_new=others_new
        )
        for foot in FEET
    }


def situation_of(
    foot: str,
    records: Records,
    signs: Mapping[str, Sign],
    case: Case | None,
    *,
    today: date,
    others_new: int | None = None,
) -> Situation:
    """What the rules of advice want to know of one foot and its bird: nothing of a sore foot that
    nobody has looked at for weeks, but that.
    """
    last = records.last.get(foot)
    other_foot = "right" if foot == "left" else "left"
    other = records.last.get(other_foot)
    long_ago = case is not None and _seen_long_ago(foot, records, today)
    if long_ago:
        case, last = None, None
    if other and other.score >= AFFECTED_FROM and _seen_long_ago(other_foot, records, today):
        other = None

    def value(name):
        return signs[name].value if name in signs else None

    return Situation(
        score=last.score if last else None,
        other_score=other.score if other else None,
        **signs_in(value),
        moulting=_holds(records.states, "moulting"),
        broody=_holds(records.states, "broody"),
        days_limping=days_limping(records.looks, today) if value("gait") else None,
        days_affected=(today - case.episode.first_affected).days if case else None,
        cases_in_foot_12_months=None if long_ago else _cases_in_a_year(foot, records.cases, today),
        others_new_14_days=others_new,
        weight_g=records.weights[-1][1] if records.weights else _usual_weight(records),
        weight_change_28_days=weight_change(records.weights, today),
        age_days=records.age_days,
        **({} if long_ago else foot_signs(foot, records.looks, case)),
        sizes=sizes_of(foot, records, case, today) if case else (),
        seen_long_ago=long_ago,
    )


def _seen_long_ago(foot: str, records: Records, today: date) -> bool:
    """Whether neither a check nor care nor a measured photo tells of a foot any more."""
    days = [one.on for one in records.outlines if one.foot == foot]
    days += [records.looked_at[foot]] if foot in records.looked_at else []
    return is_long_late(max([records.last[foot].on, *days]), today)


def _usual_weight(records: Records) -> float | None:
    """Of a bird that was never weighed: as much as a bantam weighs at most, where she is one."""
    return BANTAM_G if records.bantam else None


def _cases_in_a_year(foot: str, cases: Iterable[Case], today: date) -> int:
    """Those that went on within the last twelve months, the one that is open now too."""
    since = today - YEAR
    return sum(case.foot == foot and case.episode.last_affected >= since for case in cases)


def weight_change(weights: Sequence[tuple[date, int]], today: date) -> float | None:
    """From the heaviest weighing of the four weeks before the last one to that, as a fraction.

    None where she was not weighed in the last four weeks, or not before that. The earlier one may
    be as old as the last month is long, for who weighs on the first of each.
    """
    if not weights or today - weights[-1][0] > FOUR_WEEKS:
        return None
    last_on, last = weights[-1]
    before = [grams for on, grams in weights[:-1] if last_on - on <= A_MONTH]
    return last / max(before) - 1 if before else None


def _holds(states: Iterable[State], kind: str) -> bool | None:
    """What nobody recorded is not known."""
    return True if any(state.kind == kind for state in states) else None
