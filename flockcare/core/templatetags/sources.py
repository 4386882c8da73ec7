"""The small mark that leads to the page of sources."""

from django import template

from flockcare.core.sources import cited, sources_of

register = template.Library()
register.filter(cited)


@register.inclusion_tag("core/sources.html", takes_context=True)
def sources(context, named):
    """``named``: sources, or a text that names some; a text that names none is shown as it is."""
    found = sources_of(named)
    words = named if isinstance(named, str) and not found else ""
    return {"sources": found, "words": words, "flock": context["flock"]}
