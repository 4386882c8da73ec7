from django import template

register = template.Library()


@register.inclusion_tag("feet/chips.html")
def chips(field, marks: bool = False, numbered: bool = False) -> dict:
    """A choice field as large chips; ``marks``: its values are scores and shown as their marks."""
    given = field.value()
    chosen = {
        "" if value is None else str(value)
        for value in (given if isinstance(given, list) else [given])
    }
    widget = field.field.widget
    return {
        "field": field,
        "kind": widget.input_type,
        "options": [(value, label, str(value) in chosen) for value, label in field.field.choices],
        "autofocus": widget.attrs.get("autofocus"),
        "marks": marks,
        "numbered": numbered,
    }
