"""What a template asks of an answer of the rules."""

from django import template

from flockcare.care import recorded
from flockcare.care.dressing import UNTIL_VET
from flockcare.care.rules import Answer

register = template.Library()


@register.inclusion_tag("care/until_vet.html")
def until_vet():
    """Stands where the way to opening a foot would be, as long as she is for a vet."""
    return {"lines": UNTIL_VET}


@register.filter
def is_for_vet(answer: Answer) -> bool:
    return recorded.is_for_vet(answer.advice)
