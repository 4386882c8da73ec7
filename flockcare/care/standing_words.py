"""How a bird stands, in the words that every page says it in."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from flockcare.care.sizes import Size
from flockcare.care.standing import CHECK, Course, Due, Eggs, FootStanding, Sign, Standing, Trend
from flockcare.drawing.dates import MONTHS
from flockcare.feet.scales import LESION
from flockcare.photos.words import plus_minus


def day_words(day: date, today: date) -> str:
    """``3 Nov``, with the year where it is another one."""
    year = "" if day.year == today.year else f" {day.year}"
    return f"{day.day} {MONTHS[day.month - 1]}{year}"


def score_words(score: int) -> str:
    return LESION.step(score).short.lower()


def sign_words(sign: Sign, today: date) -> str:
    """``dull, since 3 Nov, seen by Ros``."""
    by = f", seen by {sign.by}" if sign.by else ""
    return f"{sign.words}, since {day_words(sign.on, today)}{by}"


def foot_words(foot: FootStanding, today: date) -> str:
    """``left foot: sore since 26 Oct (clear on 20 Oct)``."""
    if not foot.is_case:
        signs = "; ".join(sign[:1].lower() + sign[1:] for sign in foot.because)
        return f"{foot.words}: scored clear on {day_words(foot.checked, today)}, but {signs}"
    before = (
        f"clear on {day_words(foot.last_clear, today)}"
        if foot.last_clear
        else "already when first checked"
    )
    since = day_words(foot.since, today)
    return f"{foot.words}: {score_words(foot.score)} since {since} ({before})"


COURSES = {
    Course.BETTER: "Better",
    Course.SAME: "Same",
    Course.WORSE: "Worse",
    Course.NOT_KNOWN: "Better or worse: not known yet",
}
MARKS = {Course.BETTER: "↘", Course.SAME: "→", Course.WORSE: "↗", Course.NOT_KNOWN: "?"}


def course_words(trend: Trend, today: date) -> str:
    """``Better: 119 ± 6 → 34 ± 2 mm² since 26 Oct``, by what it was measured."""
    said = COURSES[trend.course]
    if trend.against is None:
        return said
    since = day_words(date.fromordinal(today.toordinal() - trend.against.days_ago), today)
    return f"{said}: {_figures(trend.against, trend.last)} since {since}"


def _figures(then: Size, now: Size) -> str:
    if now.unit == "score":
        return f"score {then.value:.0f} → {now.value:.0f}"
    what = "scab " if now.unit == "mm" else ""
    first, last = (plus_minus(size.value, size.error, "") for size in (then, now))
    return f"{what}{first} → {last} {now.unit}"


def what_words(due: Due) -> str:
    """A check covers both feet; all else is of one."""
    return f"{due.foot} foot: {due.what}" if due.foot and due.what != CHECK else due.what


def due_words(due: Due, today: date) -> str:
    """``left foot: dressing today (Ted)``, ``check by Fri 7 Nov``, ``check 2 days late``."""
    who = f" ({due.who})" if due.who else ""
    return f"{what_words(due)} {when_words(due, today)}{who}"


def when_words(due: Due, today: date) -> str:
    days = (today - due.on).days
    if days > 0:
        return f"{days} day{'' if days == 1 else 's'} late"
    return "today" if not days else f"by {due.on:%a} {day_words(due.on, today)}"


def eggs_words(eggs: Eggs, today: date) -> str:
    """Empty where her eggs and meat may be eaten."""
    parts = []
    for what, state, until in (
        ("eggs", eggs.state, eggs.until),
        ("meat", eggs.meat, eggs.meat_until),
    ):
        if state == "free":
            continue
        if state == "not known":
            products = f" of {', '.join(eggs.products)}" if eggs.products else ""
            parts.append((what, f"until you know the withdrawal{products}"))
        else:
            parts.append((what, f"up to and including {day_words(until, today)}"))
    if not parts:
        return ""
    if len(parts) == 2 and parts[0][1] == parts[1][1]:
        return f"Don’t eat her eggs or meat {parts[0][1]}"
    said = [f"her {what} {until}" for what, until in parts]
    return "Don’t eat " + "; ".join(said)


def state_words(standing: Standing) -> list[str]:
    """``moulting since 3 Nov``."""
    return [
        f"{state.words} since {day_words(state.since, standing.today)}" for state in standing.states
    ]


def lines(standing: Standing) -> Iterator[str]:
    """What is the matter, in plain sentences; the first ones are of the bird herself."""
    today = standing.today
    for sign in standing.signs:
        yield sign_words(sign, today)
    for foot in standing.cases:
        yield f"{foot_words(foot, today)}. {course_words(foot.trend, today)}"
    for foot in standing.concerns:
        if not foot.is_case:
            yield foot_words(foot, today)
    if not standing.signs and not standing.concerns:
        yield calm(standing)
    yield from state_words(standing)
    if standing.plan:
        yield plan_words(standing)


def calm(standing: Standing) -> str:
    """Of a bird without a case or a sign."""
    states = [foot.state for foot in standing.feet.values()]
    if states == ["clear", "clear"]:
        return f"both feet clear, checked {day_words(standing.last_check, standing.today)}"
    if states == ["never checked", "never checked"]:
        return "never checked"
    return ", ".join(f"{foot.words} {foot.state}" for foot in standing.feet.values())


def names(some: list[str], at_most: int = 4) -> str:
    """``Clove, Dill and Mace``; of many the first ones and how many more."""
    if len(some) > at_most:
        return f"{', '.join(some[:at_most])} and {len(some) - at_most} more"
    return " and ".join(filter(None, [", ".join(some[:-1]), *some[-1:]]))


def plan_words(standing: Standing) -> str:
    """``Vet since 18 Nov, plan until 16 Dec``; empty where no plan holds or a sign is new."""
    if standing.plan is None:
        return ""
    seen, until = (
        day_words(day, standing.today) for day in (standing.plan.on, standing.plan.until)
    )
    return f"Vet since {seen}, plan until {until}"
