"""Texts of one line: names, bands, products."""

from django.core.validators import RegexValidator
from django.db import models

# Line breaks of every kind and other control characters: they break lists, cards, calendars and
# tables, and cannot be seen in a field of one line.
one_line = RegexValidator(
    r"[\x00-\x1f\x7f-\x9f\u2028\u2029]",
    "Write this on one line, without line breaks or tabs.",
    inverse_match=True,
)


class LineField(models.CharField):
    """A text that a keeper writes on one line; in the database no other than a CharField."""

    default_validators = [one_line]

    def deconstruct(self):
        name, _, args, kwargs = super().deconstruct()
        return name, "django.db.models.CharField", args, kwargs
