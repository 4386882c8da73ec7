"""Django's own refusals in a keeper's words.

What the project refuses itself is said where it is refused; only Django's are put off until they
are shown, which tells them apart.
"""

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.functional import Promise

from flockcare.core.dates import PartialDateFormField

OUT_OF_DATE = "This page is out of date. Reload it."
CHOOSE_AGAIN = "That isn’t one of the choices. Choose again."
EMPTY, WRONG = 0, 1
# The first that fits: what to say where nothing is given, and where it is not understood.
KINDS = [
    (forms.UUIDField, (OUT_OF_DATE, OUT_OF_DATE)),
    (forms.MultipleChoiceField, ("Choose at least one.", CHOOSE_AGAIN)),
    (forms.ModelMultipleChoiceField, ("Choose at least one.", CHOOSE_AGAIN)),
    ((forms.ChoiceField, forms.ModelChoiceField), ("Choose one of these.", CHOOSE_AGAIN)),
    (forms.BooleanField, ("Tick this first.", "Tick this, or leave it blank.")),
    (forms.FileField, ("Choose a file.", "This file cannot be read. Choose another.")),
    (
        forms.DateTimeField,
        ("Enter a date and time.", "Enter a date and time, like 2026-05-14 18:30."),
    ),
    (forms.DateField, ("Enter a date.", "Enter a date, like 2026-05-14.")),
    (PartialDateFormField, ("Enter a date; the year is enough.", CHOOSE_AGAIN)),
    # Before the field of whole numbers, from which these are derived.
    (
        (forms.DecimalField, forms.FloatField),
        ("Enter a number here.", "Enter a number, such as 2.5."),
    ),
    (forms.IntegerField, ("Enter a number here.", "Enter a whole number, such as 7.")),
    (forms.MultiValueField, ("Fill this in.", "Fill in all parts.")),
    (forms.Field, ("Fill this in.", "This can’t be read. Enter it differently.")),
]
WORDS = {
    "max_length": "This is too long: at most {limit} characters fit here.",
    "min_length": "This is too short: enter at least {limit} characters.",
    "max_digits": "This number is too long.",
    "max_whole_digits": "This number is too long.",
    "max_decimal_places": "Too many digits after the point: at most {limit}.",
    "step_size": "This can only go in steps of {limit}.",
    "null_characters_not_allowed": "It has a character that can’t be saved.",
    "empty": "This file is empty. Choose another.",
    "contradiction": "Choose a file or tick the box, not both.",
    "incomplete": "Fill in all parts.",
    "overflow": "There is no such date.",
    "unique": "There is one like this already.",
    "unique_together": "There is one like this already.",
    "unique_for_date": "There is one like this already.",
}
NOT_GIVEN = {"required", "missing", "blank", "null"}


def reword(error: ValidationError, form: forms.BaseForm, name: str) -> None:
    """Put a refusal of Django, of the field ``name``, into words; leave all others alone."""
    if not isinstance(error.message, Promise):
        return
    field = form.fields.get(name) or forms.Field()
    error.message, error.params = _words(error, form, name, field), None


def _words(error: ValidationError, form, name: str, field: forms.Field) -> str:
    if error.code in {"min_value", "max_value"}:
        return _range_words(error, form, name, field)
    if error.code in WORDS:
        given = error.params or {}
        limit = given.get("limit_value", given.get("max"))
        return WORDS[error.code].format(limit=limit)
    # A record is chosen by its key, which nobody has seen.
    named = isinstance(field, forms.ChoiceField) and not isinstance(field, forms.ModelChoiceField)
    if error.code == "invalid_choice" and named and error.params:
        return f"“{error.params['value']}” isn’t one of the choices. Choose again."
    said = next(said for kind, said in KINDS if isinstance(field, kind))
    return said[EMPTY if error.code in NOT_GIVEN else WRONG]


def _range_words(error: ValidationError, form, name: str, field: forms.Field) -> str:
    low, high = _bounds([*field.validators, *_of_the_record(form, name)])
    if low is None and high is None:
        limit = error.params["limit_value"]
        low, high = (limit, None) if error.code == "min_value" else (None, limit)
    unit = " days" if "days" in (field.label or "").lower() else ""
    if low is None or high is None:
        return f"Enter at most {high}{unit}." if low is None else f"Enter at least {low}{unit}."
    return f"Enter {low} to {high}{unit}."


def _bounds(validators) -> tuple:
    lowest = (_limit(one) for one in validators if isinstance(one, MinValueValidator))
    highest = (_limit(one) for one in validators if isinstance(one, MaxValueValidator))
    return max(lowest, default=None), min(highest, default=None)


def _limit(validator):
    limit = validator.limit_value
    return limit() if callable(limit) else limit


def _of_the_record(form, name: str) -> list:
    if not isinstance(form, forms.BaseModelForm):
        return []
    columns = {column.name: column for column in form._meta.model._meta.fields}
    return columns[name].validators if name in columns else []
