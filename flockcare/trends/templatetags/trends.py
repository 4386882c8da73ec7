"""Figures as the folds of the page Trends write them."""

import math

from django import template

from flockcare.trends import words

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
