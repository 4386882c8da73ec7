from django import template

register = template.Library()


@register.inclusion_tag("people/history_link.html", takes_context=True)
def history(context, record, look: str = "aside") -> dict:
    """A link to all that was changed in a record."""
    kind = record._meta.model_name
    return {"flock": context["flock"], "record": record, "kind": kind, "look": look}
