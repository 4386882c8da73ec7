"""What comes next, when and by whom."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, timedelta

from flockcare.care.due import DRESSING, LOOK
from flockcare.care.rules import Advice, Rule
from flockcare.care.rules.table import EVERY_DAY
from flockcare.care.standing.answer import CHECK, Due, FootStanding
from flockcare.care.standing.records import Asked, Records, Rounds
from flockcare.care.standing.situation import current_cases


def due_of(asked: Asked) -> Due:
    by = asked.who, asked.who_key
    of = asked.step, asked.line, asked.foot, asked.plan, asked.why, asked.terms
    return Due(asked.what, asked.on, *by, *of, asked.keepers_since)


def usual_check(records: Records, rounds: Rounds) -> date | None:
    """When the flock's own days ask for the next check; None: she was never checked."""
    if records.last_check is None:
        return None
    days = [_by_flock(records.last_check, records, rounds)]
    if records.new_since:
        asked = (records.new_since + timedelta(number) for number in rounds.new_bird_days)
        days += [day for day in asked if day > records.last_check]
    return min(days)


def _by_flock(checked: date, records: Records, rounds: Rounds) -> date:
    """When the flock asks again for what was checked that day: the days of birds with a sore foot
    count from the day on which the sore was found, at the earliest."""
    clear = checked + timedelta(rounds.clear_days)
    if not (current := current_cases(records)):
        return clear
    found = min(case.first.on for case in current.values())
    return min(clear, max(checked, found) + timedelta(rounds.sore_days))


def each_once(dues: Iterable[Due]) -> tuple[Due, ...]:
    """One check covers both feet; of two days the earlier counts."""
    found: dict[tuple, Due] = {}
    for due in dues:
        key = (due.what, None if due.what == CHECK else due.step or due.plan)
        if key not in found or (due.on, not due.who) < (found[key].on, not found[key].who):
            found[key] = due
    return tuple(sorted(found.values(), key=lambda due: (due.on, due.what)))


def bird_again(
    feet: Mapping[str, FootStanding], of_bird: Iterable[Rule], bird_advice: Advice | None
) -> int | None:
    """Days until a bird for a vet, or one whose own signs ask for it, is checked again."""
    if Advice.NOW in (bird_advice, *(foot.advice for foot in feet.values())):
        return EVERY_DAY
    if bird_advice is Advice.SOON:
        return EVERY_DAY
    return min((rule.look_again_days for rule in of_bird if rule.look_again_days), default=None)


def _seen_at_a_dressing(foot: FootStanding, hers: Iterable[Asked], by: date) -> bool:
    """Whether a change of its dressing shows the foot by that day, so that no check is due besides.

    A wrap that is only felt shows nothing of the sore. Under a vet's plan the vet has said how
    often it is opened.
    """
    if foot.situation.under_vet_plan:
        return any(asked.line == DRESSING or asked.dresses for asked in hers)
    return any(asked.dresses and asked.on <= by for asked in hers)


def with_checks(
    feet: Mapping[str, FootStanding],
    records: Records,
    rounds: Rounds,
    today: date,
    bird_again: int | None,
) -> dict[str, FootStanding]:
    """Each foot with what is due of it: each thing once, on the earliest day that is asked for.

    A check is asked for by the flock's own days, by the advice, and by a step that left the foot to
    be watched. The days of a foot that the last check left out count from when it was checked; one
    that never was is due today.
    """
    usual = usual_check(records, rounds) or today
    if bird_again and records.last_check:
        usual = min(usual, records.last_check + timedelta(bird_again))
    checks, others = {}, {}
    for name, foot in feet.items():
        hers = [asked for asked in records.asked if asked.foot == name]
        watch = next((asked for asked in hers if asked.line == LOOK), None)
        days = [usual, _by_flock(foot.checked, records, rounds) if foot.checked else today]
        again = foot.look_again_days
        if again and not watch:
            seen = max(foot.checked, records.looked_at.get(name, foot.checked))
            if not _seen_at_a_dressing(foot, hers, wanted := seen + timedelta(again)):
                days.append(wanted)
        if watch:
            days.append(watch.on)
        checks[name] = Due(CHECK, min(days), line=LOOK, foot=name, checked=foot.checked)
        if watch:
            by = {"who": watch.who, "who_key": watch.who_key, "step": watch.step}
            checks[name] = replace(checks[name], **by)
        others[name] = [due_of(asked) for asked in hers if asked.line != LOOK]
    if sum(check.on <= today for check in checks.values()) == 1:
        checks = {name: replace(due, alone=due.on <= today) for name, due in checks.items()}
    return {
        name: replace(
            foot, due=tuple(sorted((checks[name], *others[name]), key=lambda due: due.on))
        )
        for name, foot in feet.items()
    }
