"""The rows of the list of birds, which say also whose foot is sore.

Put together here and not in a template for the same reason as the pieces of the check pages.
"""

from django import template
from django.utils import timezone
from django.utils.html import format_html, format_html_join

from flockcare.core.addresses import urls_of
from flockcare.feet.due import birds_for_today
from flockcare.feet.templatetags.feet import ROW, sore_feet, who

register = template.Library()


@register.simple_tag
def listed_birds(birds, flock) -> str:
    """Rows of birds that are here, each with the feet that are sore now. One query."""
    if not birds:
        return ""
    url_of = urls_of("feet:bird", flock.pk)
    looks = birds_for_today(flock, now=timezone.now())
    sore = {bird.pk: _marks(bird) for bird in looks if bird.sore}
    rows = (
        (*who(bird, url_of(bird.pk), _about(bird)), sore.get(bird.pk, ""), "") for bird in birds
    )
    return format_html_join("", ROW, rows)


def _about(bird) -> str:
    parts = (bird.band or "no band", bird.breed and bird.breed.name, bird.weight_class)
    return " · ".join(filter(None, parts))


def _marks(bird) -> str:
    return format_html('<span class="visually-hidden">Sore: </span>{}', sore_feet(bird))
