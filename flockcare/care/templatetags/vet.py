from django import template

from flockcare.care.models import VetContact

register = template.Library()


@register.simple_tag(takes_context=True)
def usual_vet(context) -> VetContact | None:
    """The vet whom this flock rings; asked for once a page, however many boxes name it."""
    flock = context["flock"]
    if not hasattr(flock, "usual_vet"):
        flock.usual_vet = VetContact.objects.filter(flock=flock).usual()
    return flock.usual_vet
