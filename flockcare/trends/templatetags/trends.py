"""Figures as the folds of the page Trends write them, and its lines as other pages show them."""

import math

from django import template
from django.utils import timezone

from flockcare.trends import answer_rows, charts, words

register = template.Library()


@register.filter
def figure(value) -> str:
    """Two significant digits; ``not reached`` for infinite, ``not known`` for no figure."""
    if value is None or math.isnan(value):
        return "not known"
    if math.isinf(value):
        return "not reached"
    if value and abs(value) < 0.001:
        return "less than 0.001"
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.2g}"


@register.filter
def percent(share) -> str:
    return f"{share:.0%}"


@register.filter
def hens(foot_days) -> str:
    """Foot-days as days of watching: one hen, both feet, one day."""
    return f"{foot_days / words.FEET_PER_HEN:,.0f}"


@register.filter
def per_ten(rate) -> str:
    return words.rate(rate)


@register.filter
def verdict_mark(row):
    return charts.mark_shape(row.mark.shape)


@register.filter
def answer_plot(row):
    """The range of one change on the axis of `answer_axis`."""
    return charts.answer_range(row.figure, told=row.told)


@register.simple_tag
def answer_axis():
    return charts.answer_axis()


@register.simple_tag
def answers_of_house(house, on=None):
    """Day and lines of its changes, or of its change of one day, as Trends last had them, and
    where no day is asked for whether several of its birds fell ill lately.

    None where nothing is kept.
    """
    found = answer_rows.kept(house.flock)
    return found and found._replace(
        rows=[row for row in found.rows if house.name in row.houses and (not on or row.on == on)],
        outbreaks=[one for one in found.lately(timezone.localdate()) if one.house == house.name]
        if not on
        else [],
    )


@register.simple_tag
def new_answer(flock):
    """A change whose answer has just become possible, else None; no query, nothing computed."""
    return answer_rows.new_answer(flock, timezone.localdate())
