"""Filters and tags that every template may use without loading them."""

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from flockcare.core.addresses import address, urls_of
from flockcare.core.dates import PartialDate

register = template.Library()
HERE = SafeString(' aria-current="page"')


@register.simple_tag(takes_context=True)
def place(context, view: str, label: str, icon: str):
    """A link of the main navigation, marked when the page is in that part of the app."""
    url = address(view, context["flock"].pk)
    here = context.get("here") == icon
    return format_html(
        '<a href="{}" class="place place-{}"{}><span>{}</span></a>',
        url,
        icon,
        HERE if here else "",
        label,
    )


@register.simple_tag(takes_context=True)
def to(context, view: str, *arguments) -> str:
    """The address of ``view`` in this flock, as ``url`` gives it in several times the time."""
    return SafeString(address(view, context["flock"].pk, *arguments))


@register.simple_tag(takes_context=True)
def history(context, record, look: str = "aside"):
    """A link to all that was changed in a record."""
    url = urls_of("people:history", context["flock"].pk, record._meta.model_name)(record.pk)
    return format_html('<a class="{}" href="{}">History</a>', look, url)


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
