"""What stands where a bird is for a vet; whose eggs are withheld."""

from django import template

from flockcare.birds.models import Bird
from flockcare.care.dressing import UNDER_PLAN, UNTIL_ASKED, UNTIL_VET
from flockcare.care.medicines import WHOSE_EGGS
from flockcare.care.rules import Advice

register = template.Library()


@register.simple_tag
def whose_eggs() -> str:
    return WHOSE_EGGS


@register.inclusion_tag("care/until_vet.html")
def until_vet(bird: Bird, level: Advice, *, brief: bool = False):
    """Stands where the way to opening a foot would be, as long as the bird is for a vet.

    ``level``: the advice that holds; below a vet's where a plan holds for all that the vet knows.
    ``brief``: where the plan itself stands above.
    """
    if level.is_urgent:
        title, lines = f"Until the vet sees {bird.pronouns.object}", UNTIL_VET
    elif level.is_for_vet:
        title, lines = "Until you have asked the vet", UNTIL_ASKED
    else:
        title, lines = "While the vet’s plan holds", UNDER_PLAN
        if brief:
            title, lines = "Ask the vet before you change the plan", UNDER_PLAN[1:]
    return {"title": title, "lines": lines}
