"""How a bird stands, in the words that every page says it in."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from datetime import date, timedelta

from flockcare.care.rules import Advice
from flockcare.care.sizes import Size
from flockcare.care.standing.answer import CHECK, Course, Due, FootStanding, Sign, Standing, Trend
from flockcare.care.standing.records import Eggs, VetPlan
from flockcare.drawing.dates import short_words
from flockcare.feet.due import is_long_late
from flockcare.feet.scales import LESION
from flockcare.photos.words import plus_minus


def score_words(score: int) -> str:
    return LESION.step(score).short.lower()


def sign_words(sign: Sign, today: date) -> str:
    """``dull, seen 3 Nov by Ros``: on the day it was seen last, however long she has it."""
    by = f" by {sign.by}" if sign.by else ""
    return f"{sign.words}, seen {short_words(sign.on, today)}{by}"


def signs_words(signs: Iterable[Sign], today: date) -> str:
    """Each with its own check: ``swelling moderate, seen 21 Nov by Ted; mild, seen today by …``."""
    return "; ".join(sign_words(sign, today) for sign in signs)


def foot_words(
    foot: FootStanding, today: date, *, brief: bool = False, shown: Iterable[Sign] = ()
) -> str:
    """``left foot: mild, sore since 26 Oct (clear on 20 Oct)``; brief without what stands in
    brackets. ``shown``: signs to name after the score: ``left foot: swollen, hot, sore since …``.
    """
    return f"{foot.words}: {state_of_foot(foot, today, brief=brief, shown=shown)}"


def state_of_foot(
    foot: FootStanding, today: date, *, brief: bool = False, shown: Iterable[Sign] = ()
) -> str:
    """The same where the foot is named already: ``mild, sore since 26 Oct (clear on 20 Oct)``."""
    if not foot.is_case:
        if not foot.because:
            return foot.state
        signs = "; ".join(sign[:1].lower() + sign[1:] for sign in foot.because)
        return f"scored clear on {short_words(foot.checked, today)}, but {signs}"
    seen = ", ".join((score_words(foot.score), *(sign.words for sign in shown)))
    said = f"{seen}, sore since {short_words(foot.since, today)}"
    if brief:
        return said
    before = (
        f"clear on {short_words(foot.last_clear, today)}"
        if foot.last_clear
        else "already when first checked"
    )
    return f"{said} ({before})"


COURSES = {
    Course.BETTER: "Better",
    Course.SAME: "Same",
    Course.WORSE: "Worse",
}
MARKS = {Course.BETTER: "↘", Course.SAME: "→", Course.WORSE: "↗"}


def course_words(trend: Trend, today: date) -> str:
    """``Better: 119 ± 6 → 34 ± 2 mm² since 26 Oct``, by what it was measured; empty where nothing
    tells, as at the first check of a sore."""
    if trend.against is None:
        return ""
    said = COURSES[trend.course]
    return f"{said}: {_figures(trend.against, trend.last)} {_since(trend, today)}"


def course_in_row(trend: Trend, today: date) -> str:
    """``Better since 26 Oct``: the same without its figures."""
    return f"{COURSES[trend.course]} {_since(trend, today)}" if trend.against else ""


def _since(trend: Trend, today: date) -> str:
    return f"since {short_words(today - timedelta(trend.against.days_ago), today)}"


def _figures(then: Size, now: Size) -> str:
    if now.unit == "score":
        return f"score {then.value:.0f} → {now.value:.0f}"
    what = "scab " if now.unit == "mm" else ""
    first, last = (plus_minus(size.value, size.error, "") for size in (then, now))
    return f"{what}{first} → {last} {now.unit}"


def what_words(due: Due) -> str:
    """A check covers both feet, but where one alone is due; all else is of one."""
    of_one = due.alone if due.what == CHECK else due.foot
    return f"{due.foot} foot: {due.what}" if of_one else due.what


def due_words(due: Due, today: date, last_check: date | None = None) -> str:
    """``left foot: dressing today (Ted)``, ``check by Fri 7 Nov``, ``check 2 days late``; see
    ``when_words``."""
    who = f" ({due.who})" if due.who else ""
    when = when_words(due, today, last_check)
    what = f"{what_words(due)} "
    if when.startswith(NO_CHECK):
        what = what.removesuffix(f"{CHECK} ")
    return f"{what}{when}{who}"


def why_words(due: Due, standing: Standing) -> str:
    """Why it is due then, or at all; empty where nothing but its days asks for it.

    What keepers planned and the advice now leaves alone is said to be of that plan.
    """
    if due.what == CHECK and standing.others_new:
        return f"{standing.others_new} other birds got a sore foot within two weeks"
    foot = standing.feet.get(due.foot)
    left = foot and foot.advice is Advice.LEAVE and not foot.situation.under_vet_plan
    if due.keepers_since and left:
        on = short_words(due.keepers_since, standing.today)
        whose = f"by the plan of {on}; the advice now is to leave the foot alone"
        return "; ".join(filter(None, (due.why, whose)))
    return due.why


# What a check is called that is so late that nobody counts the days any more.
NO_CHECK = "no check since"


def when_words(due: Due, today: date, last_check: date | None = None) -> str:
    """``2 days late``; of a check that is long late: ``no check since 8 Oct 2024``."""
    days = (today - due.on).days
    last = due.checked if due.alone else last_check
    if due.what == CHECK and last and is_long_late(due.on, today):
        return f"{NO_CHECK} {short_words(last, today)}"
    if days > 0:
        return f"{days} day{'' if days == 1 else 's'} late"
    return "today" if not days else f"by {due.on:%a} {short_words(due.on, today)}"


def eggs_words(eggs: Eggs) -> str:
    """Empty where her eggs and meat may be eaten."""
    return eggs.words[:1].upper() + eggs.words[1:]


# What a check says of a foot that the advice asks for first.
ASKED_FIRST = {
    "scab": "scab",
    "swelling": "swelling",
    "hot": "heat",
    "oozing": "oozing",
    "gait": "lameness",
}


def reasons(standing: Standing, said_already: Container[str] = ()) -> list[str]:
    """What led to the advice, each foot named once: ``dull``, ``left foot: hot, oozing``; or what
    is missing for one: ``left foot: heat, oozing not recorded``.

    ``said_already``: the signs of rules that stand beside it in other words.
    """
    own = standing.because if standing.bird_advice is standing.advice else ()
    said = [within(sign) for sign in own if sign not in said_already]
    for foot in standing.concerns:
        if foot.advice is not standing.advice:
            continue
        if foot.situation.seen_long_ago:
            said.append(f"{foot.words}: signs of {short_words(foot.checked, standing.today)}")
        elif foot.because:
            signs = [within(sign) for sign in foot.because if sign not in said_already]
            said += [f"{foot.words}: {', '.join(signs)}"] if signs else []
        elif foot.is_case:
            asked = [
                words
                for name, words in ASKED_FIRST.items()
                if getattr(foot.situation, name) is None
            ]
            said.append(f"{foot.words}: {', '.join(asked) or 'too little'} not recorded")
    return said


def reason_words(standing: Standing, said_already: Container[str] = ()) -> str:
    """``dull; left foot: hot, oozing``."""
    return "; ".join(reasons(standing, said_already))


def state_words(standing: Standing) -> list[str]:
    """``moulting since 3 Nov``."""
    return [
        f"{state.words} since {short_words(state.since, standing.today)}"
        for state in standing.states
    ]


def lines(standing: Standing) -> Iterator[str]:
    """What is the matter, in plain sentences; the first ones are of the bird herself."""
    today = standing.today
    for sign in standing.signs:
        yield sign_words(sign, today)
    for foot in standing.cases:
        yield ". ".join(filter(None, (foot_words(foot, today), course_words(foot.trend, today))))
        if foot.older:
            yield f"{foot.words}: {signs_words(foot.older, today)}"
    for foot in standing.concerns:
        if not foot.is_case:
            yield foot_words(foot, today)
    if not standing.signs and not standing.concerns:
        yield calm(standing)
    yield from state_words(standing)
    for plan in (*standing.plans, *standing.broken, *standing.asked):
        yield plan_words(plan, standing)


def calm(standing: Standing) -> str:
    """Of a bird without a case or a sign."""
    today = standing.today
    states = [foot.state for foot in standing.feet.values()]
    if states == ["clear", "clear"]:
        left, right = (short_words(foot.checked, today) for foot in standing.feet.values())
        each = left if left == right else f"left {left}, right {right}"
        return f"both feet clear, checked {each}"
    if states == ["never checked", "never checked"]:
        return "never checked"
    return ", ".join(f"{foot.words} {foot.state}" for foot in standing.feet.values())


def names(some: list[str], at_most: int = 4) -> str:
    """``Clove, Dill and Mace``; of many the first ones and how many more."""
    if len(some) > at_most:
        return f"{', '.join(some[:at_most])} and {len(some) - at_most} more"
    return " and ".join(filter(None, [", ".join(some[:-1]), *some[-1:]]))


def plan_words(plan: VetPlan, standing: Standing, *, brief: bool = False) -> str:
    """``Vet asked on 18 Nov. Vet’s plan for the left foot until 12 Dec: soak daily``, since nobody
    recorded whether she was seen; brief without what is new since and the advice that stands, where
    those stand beside it."""
    if plan.new:
        on = short_words(plan.on, standing.today)
        new = "" if brief else f": {', '.join(map(within, plan.new))}"
        return f"New since the vet was asked on {on}{new}. {plan.words}"
    if plan.answers:
        return f"Vet asked on {short_words(plan.on, standing.today)}. {plan.words}"
    asked = asked_words(plan, standing.today, brief=brief)
    # Under a plan for the other foot the level is that plan.
    if brief or (standing.plans and not standing.urgent):
        return asked
    # What the keepers decided alone is no answer of a vet, whatever its last day.
    no_end = plan.open_ended and plan.by_vet
    stands = "The plan has no last day, so the" if no_end else "The"
    return f"{asked} {stands} advice stands: {within(standing.advice.words)}."


def asked_words(call: VetPlan, today: date, *, brief: bool = False) -> str:
    """``Vet asked on 18 Nov: Bring her tomorrow at 10.``; brief: ``Vet asked today: …``."""
    on = "today" if brief and call.on == today else f"on {short_words(call.on, today)}"
    said = f": {call.said.rstrip('.')}" if call.said else ", no answer recorded"
    return f"Vet asked {on}{said}."


def level_words(standing: Standing) -> str:
    """Of the bird with her feet: ``Vet within days``, or under which plan she is."""
    if standing.advice is Advice.LOOK and standing.last_check is None:
        return "Check first"
    return _level(standing.advice, standing)


def foot_level_words(foot: FootStanding, standing: Standing) -> str:
    held = foot.situation.under_vet_plan
    return _level(foot.advice, standing) if held else foot.advice.words


def within(said: str) -> str:
    """As it stands within a line."""
    return said[:1].lower() + said[1:]


def _level(advice: Advice, standing: Standing) -> str:
    if standing.plans and not advice.is_urgent:
        until = max(plan.until for plan in standing.plans)
        return f"Vet’s plan until {short_words(until, standing.today)}"
    return advice.words
