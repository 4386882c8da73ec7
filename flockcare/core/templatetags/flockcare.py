"""Filters that every template may use without loading them."""

from django import template

from flockcare.core.dates import PartialDate

register = template.Library()


@register.filter
def weight(grams, flock):
    """Grams in the flock's units, such as ``2.95 kg`` or ``6 lb 8 oz``."""
    if grams is None:
        return ""
    if flock.units == "imperial":
        ounces = round(grams / 28.349523125)
        return f"{ounces // 16} lb {ounces % 16} oz"
    return f"{grams / 1000:.2f} kg"


@register.filter
def partial_date(value):
    """A date known to the day, month or year, in words."""
    return PartialDate.parse(value).words() if value else ""
