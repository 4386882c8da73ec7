"""How a bird stands: what is the matter, since when, whether it gets better, what comes next.

A pure function of her records up to the end of a day: no queries, no clock. Pages, the calendar and
``manage.py today`` all show this one answer. All days are those of the flock's time zone.

How long a sign holds that later checks do not mention:

- a sign of a foot, as long as the case in which it was seen goes on;
- a sign of the bird for 14 days (``SIGNS_STAND``, our choice), and as long as no check later than
  that was made while a case is open, since time alone makes no bird well.

A later answer ends either at once. A check that did not ask changes neither the sign nor its day.
What nobody has looked at for weeks (``feet.due.LONG_LATE``) is still shown, with its day, but asks
for a check and for no vet.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from flockcare.care.rules import Advice, advise
from flockcare.care.rules.signs import OTHERS_NEW
from flockcare.care.standing.advice import counted, strongest
from flockcare.care.standing.answer import CLEAR, Standing
from flockcare.care.standing.due import bird_again, due_of, each_once, usual_check, with_checks
from flockcare.care.standing.foot import foot_standing
from flockcare.care.standing.records import FEET, Records, Rounds
from flockcare.care.standing.signs import shown_signs, signs_of
from flockcare.care.standing.situation import current_cases, situations_of
from flockcare.care.standing.vet import (
    asked_lately,
    broken_plans,
    larger_since,
    new_signs,
    plans_that_hold,
    rung_for,
)


def standing_of(
    records: Records, *, today: date, rounds: Rounds, others_new: int | None = None
) -> Standing:
    """``others_new``: how many other birds got a sore foot in the last 14 days.

    Of a bird that was never checked nothing follows from them but that she is to be checked.
    """
    check_first = records.last_check is None and (others_new or 0) >= OTHERS_NEW
    current = current_cases(records)
    signs = signs_of(records.looks, today=today, in_case=bool(current))
    situations = situations_of(records, signs, today, None if check_first else others_new)
    answers = {foot: advise(situation) for foot, situation in situations.items()}
    new = {
        foot: new_signs(foot, records, answers[foot], situations[foot], plan)
        for foot, plan in records.plans.items()
        if plan.answers and plan.until >= today
    }
    plans = plans_that_hold(records.plans, new, answers)
    broken = broken_plans(records.plans, new, answers)
    for foot in plans:
        situations[foot] = replace(
            situations[foot],
            under_vet_plan=True,
            larger_since_visit=larger_since(foot, records, current.get(foot), plans[foot], today),
        )
        answers[foot] = advise(situations[foot])
    feet = {
        foot: foot_standing(
            foot, records, current.get(foot), answers[foot], situations[foot], today
        )
        for foot in FEET
    }
    of_bird = counted(answers.values(), "bird", under_plan=bool(plans))
    bird_advice = strongest(rule.advice for rule in of_bird) if of_bird else None
    feet = with_checks(feet, records, rounds, today, bird_again(feet, of_bird, bird_advice))
    all_clear = all(foot.state == CLEAR for foot in feet.values())
    levels = [foot.advice for foot in feet.values() if foot.advice is not None]
    signs_shown, concern = shown_signs(signs), bool(levels)
    levels += [Advice.LEAVE if all_clear else Advice.LOOK] if not levels else []
    levels += [bird_advice] if of_bird else []
    advice = strongest(levels)
    return Standing(
        today=today,
        advice=advice,
        because=tuple(rule.sign for rule in of_bird if rule.advice is bird_advice),
        bird_advice=bird_advice,
        signs=signs_shown,
        feet=feet,
        eggs=records.eggs,
        due=(due := tuple(due_of(asked) for asked in records.asked if not asked.foot)),
        all_due=each_once((*due, *(one for foot in feet.values() for one in foot.due))),
        last_check=records.last_check,
        plans=tuple(dict.fromkeys(plans.values())),
        asked=asked_lately(records, plans.values(), new, today) if concern or signs_shown else (),
        rung=rung_for(records, answers, situations, plans, of_bird, advice, today),
        broken=broken,
        states=tuple(records.states),
        round_on=usual_check(records, rounds),
        notifiable=any(answer.notifiable for answer in answers.values()),
        others_new=others_new if check_first else 0,
    )
