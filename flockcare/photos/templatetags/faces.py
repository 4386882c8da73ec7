"""``{% face bird %}``: her round picture, for rows and heads."""

from django import template

from flockcare.photos.faces import Face

register = template.Library()


@register.inclusion_tag("photos/face.html", takes_context=True)
def face(context, bird, size=""):
    """``bird``: anything with ``pk`` and ``name``. ``size``: ``large`` for the head of a page."""
    faces = context.get("faces") or {}
    return {"face": faces.get(bird.pk) or Face(bird.name), "size": size}
