"""A vet's plans: which hold, which a new sign has ended, and whether the vet was rung."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, timedelta

from flockcare.care import sizes
from flockcare.care.rules import Advice, Answer, Rule, Situation, advise
from flockcare.care.rules.signs import LIMPS_TOO_LONG_DAYS
from flockcare.care.standing.advice import counted
from flockcare.care.standing.course import sizes_of
from flockcare.care.standing.records import FootLast, Records, VetPlan
from flockcare.care.standing.signs import signs_of
from flockcare.care.standing.situation import current_cases, situations_of
from flockcare.feet.cases import Case
from flockcare.feet.models import Swelling


def plans_that_hold(
    plans: Mapping[str, VetPlan], new: Mapping[str, set[str]], answers: Mapping[str, Answer]
) -> dict[str, VetPlan]:
    """By foot: those that have not run out, unless an urgent sign has come since on what they are
    about. ``new``: what ``new_signs`` says of each that has not run out.

    Where a vet is wanted today or within days, a plan of which nobody named the last day does not
    stand in for that: it may be no more than what was said on the telephone. Our choice, no
    published source.
    """
    broken = {
        plan
        for foot, plan in plans.items()
        if foot not in new or new[foot] or (plan.open_ended and _urgent(answers[foot]))
    }
    return {foot: plan for foot, plan in plans.items() if plan not in broken}


def broken_plans(
    plans: Mapping[str, VetPlan], new: Mapping[str, set[str]], answers: Mapping[str, Answer]
) -> tuple[VetPlan, ...]:
    """Those that have not run out, with the urgent signs that have come since; not that of a vet
    who has been asked again since.
    """
    last = max((plan.on for plan in plans.values()), default=None)
    found: dict[VetPlan, dict[str, str]] = {}
    for foot, keys in new.items():
        if plans[foot].on == last:
            rules = (*answers[foot].because, *answers[foot].also)
            signs = found.setdefault(plans[foot], {})
            signs |= {rule.key: rule.sign for rule in rules if rule.key in keys}
    return tuple(replace(plan, new=tuple(signs.values())) for plan, signs in found.items() if signs)


def asked_lately(
    records: Records, held: Iterable[VetPlan], new: Mapping[str, set[str]], today: date
) -> tuple[VetPlan, ...]:
    """The newest first: calls, and plans that do not stand in for the advice, but for those that a
    new sign broke."""
    told = {plan.step for plan in held} | {records.plans[foot].step for foot in new if new[foot]}
    left = {one.step: one for one in (*records.calls.values(), *records.plans.values())}
    left = {step: one for step, one in left.items() if step not in told and one.until >= today}
    asked = [replace(one, words="") for one in left.values()]
    return tuple(sorted(asked, key=lambda one: one.on, reverse=True))


def rung_for(
    records: Records,
    answers: Mapping[str, Answer],
    situations: Mapping[str, Situation],
    plans: Mapping[str, VetPlan],
    of_bird: Iterable[Rule],
    advice: Advice,
    today: date,
) -> VetPlan | None:
    """``plans``: those that hold, by foot. See ``Standing.rung``."""
    lately = timedelta(advice.seen_within_days)
    calls = {foot: call for foot, call in records.calls.items() if today - call.on <= lately}
    if not advice.is_urgent or not calls:
        return None
    wanted = {("", rule.key) for rule in of_bird if rule.advice.is_urgent}
    told = set()
    for foot, answer in answers.items():
        rules = counted([answer], "foot", under_plan=foot in plans)
        wanted |= {(foot, rule.key) for rule in rules if rule.advice.is_urgent}
        if foot in calls:
            new = new_signs(foot, records, answer, situations[foot], calls[foot])
            known = _urgent(answer) - new
            told |= {(of, key) for key in known for of in (foot, "")}
    return max(calls.values(), key=lambda call: call.on) if wanted <= told else None


def new_signs(
    foot: str, records: Records, answer: Answer, now: Situation, plan: VetPlan
) -> set[str]:
    """The urgent rules that hold ``now``, and neither held for what that visit knew nor would have
    held for it, had each of its signs been as mild as it is now.
    """
    case = current_cases(records).get(foot)
    then = _as_of(records, plan)
    if case and foot not in current_cases(then):
        return _urgent(answer)  # Another case than the vet saw, whatever the foot showed then.
    signs = signs_of(then.looks, today=plan.on, in_case=bool(then.cases))
    known = situations_of(then, signs, plan.on)[foot]
    milder = replace(_as_mild_as(now, known), days_limping=_known_limp(records, now, known, plan))
    return _urgent(answer) - _urgent(advise(known)) - _urgent(advise(milder))


def _as_mild_as(now: Situation, known: Situation) -> Situation:
    """What was ``known``, each sign that has degrees in the milder of the two."""
    both = {
        name: min(getattr(known, name), getattr(now, name))
        for name in ("score", "other_score", "gait", "grade")
        if getattr(known, name) is not None and getattr(now, name) is not None
    }
    if {known.swelling, now.swelling} <= {*Swelling.values}:
        both["swelling"] = min(known.swelling, now.swelling, key=Swelling.values.index)
    return replace(known, **both)


def _known_limp(records: Records, now: Situation, known: Situation, plan: VetPlan) -> int | None:
    """For how many days she has limped, of a limp that the visit knew: while it gets better, and
    until a check some days after the visit sees it as it was.
    """
    asked = next((look.on for look in records.looks if look.signs.get("gait") is not None), plan.on)
    long_since = (asked - plan.on).days >= LIMPS_TOO_LONG_DAYS
    if not known.gait or now.gait is None or now.gait > known.gait:
        return known.days_limping
    return known.days_limping if now.gait == known.gait and long_since else now.days_limping


def _urgent(answer: Answer) -> set[str]:
    return {rule.key for rule in (*answer.because, *answer.also) if rule.advice.is_urgent}


def larger_since(
    foot: str, records: Records, case: Case | None, plan: VetPlan, today: date
) -> bool | None:
    """Whether the last reading is larger than that which the visit knew, by more than both errors.

    None where one of the two is missing, for each way of measuring.
    """
    then = _as_of(records, plan)
    if not case or foot not in current_cases(then):
        return None
    before = {one[0].unit: one[0] for one in sizes.series(sizes_of(foot, then, case, today))}
    pairs = [
        (one[0], before[one[0].unit])
        for one in sizes.series(sizes_of(foot, records, case, today))
        if one[0].unit in before
    ]
    return any(sizes.beyond_error(now, was) for now, was in pairs) if pairs else None


def _as_of(records: Records, plan: VetPlan) -> Records:
    """What was known of her at that visit, as far as the advice goes."""
    looks = [
        look for look in records.looks if plan.knew(look.on, look.at if look.time_known else None)
    ]
    keys = {look.key for look in looks}
    last = {}
    for look in reversed(looks):
        for foot, seen in look.feet.items():
            before = last.get(foot)
            # Clear on the same day as sore gives way to it, as in the cases.
            if not (before and before.on == look.on and before.score > seen.score == 0):
                last[foot] = FootLast(seen.score, look.on)
    return replace(
        records,
        looks=looks,
        last=last,
        cases=[case for case in records.cases if case.current and case.first.check_id in keys],
        outlines=[one for one in records.outlines if plan.knew(one.on, one.at)],
        # A weighing has no time of day; that of the visit is one of the vet's.
        weights=[one for one in records.weights if one[0] <= plan.on],
    )
