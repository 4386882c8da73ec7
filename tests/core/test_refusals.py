"""No form of the project refuses anything in the words of the framework."""

import pytest
from django import forms
from django.core.exceptions import ValidationError
from django.utils.functional import Promise

from flockcare import urls  # noqa: F401 (every form is known once all views are)
from flockcare.core.forms import KeeperForm, KeeperModelForm, saved
from flockcare.core.refusals import OUT_OF_DATE, reword
from flockcare.people.forms import FlockSettingsForm, RoleForm
from tests.core.test_access import IN_A_FLOCK, address, records

FRAMEWORK = ("This field", "Ensure", "Select a valid", "is not one of", "submitted")
FRAMEWORK += ("Enter a valid", "Enter a list", "Enter a number.", "Enter a whole number.")
FRAMEWORK += ("already exists", "is not a valid", "Upload a valid", "Null characters")


def subclasses(of) -> set:
    return {one for each in of.__subclasses__() for one in {each, *subclasses(each)}}


FORMS = sorted(
    (
        one
        for one in subclasses(KeeperForm) | {KeeperForm}
        if one.__module__.startswith("flockcare.") and one is not KeeperModelForm
    ),
    key=str,
)


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.__name__)
def test_every_refusal_of_every_field(form):
    bare = form.__new__(form)
    bare.fields = form.base_fields
    for name, field in bare.fields.items():
        refusals = list(field.error_messages.items())
        for validator in field.validators:
            told = getattr(validator, "messages", None)  # One for decimals has several.
            refusals += told.items() if told else [(validator.code, validator.message)]
        for code, message in refusals:
            if not isinstance(message, Promise):
                continue
            params = {"limit_value": 3, "show_value": 4, "max": 3, "length": 4, "value": "x"}
            error = ValidationError(message, code=code, params=params)
            reword(error, bare, name)
            assert type(error.message) is str and error.message, (name, code)
            said = " ".join(error)
            assert not any(words in said for words in FRAMEWORK), (name, code)
            assert "{" not in said and "None" not in said, (name, code)


def test_all_forms_are_looked_at():
    assert len(FORMS) > 30
    assert {"BirdForm", "CheckForm", "StepForm", "WeighingForm"} <= {f.__name__ for f in FORMS}


def forms_of(context) -> list[KeeperForm]:
    contexts = context if isinstance(context, list) else [context] if context else []
    shown = (layer for each in contexts for layer in each.dicts)
    return [value for layer in shown for value in layer.values() if isinstance(value, KeeperForm)]


@pytest.mark.parametrize("junk", ["", "no\x00thing", "9" * 90])
def test_no_page_says_it_in_other_words(cast, junk):
    """Also of the fields that a form makes for itself: each page is sent its own fields, spoilt."""
    found = records(cast.flock, cast.owner)
    sent = 0
    for name in IN_A_FLOCK:
        url = address(name, cast.flock, found)
        page = cast.clients.owner.get(url)
        made = forms_of(page.context)
        if not made:
            continue
        data = {form.add_prefix(field): junk for form in made for field in form.fields}
        answer = cast.clients.owner.post(url, {**data, "version": ""})
        if answer.streaming or answer.status_code == 405:
            continue
        sent += 1
        assert not [words for words in FRAMEWORK if words in answer.text], (name, answer.text)
    assert sent > 10


@pytest.mark.parametrize(
    ("days", "words"),
    [
        ("0", "Enter 1 to 60 days."),
        ("61", "Enter 1 to 60 days."),
        ("", "Enter a number here."),
        ("soon", "Enter a whole number, such as 7."),
    ],
)
def test_settings(cast, days, words):
    data = {"name": "Hill", "time_zone": "UTC", "units": "metric", "round_days": "14"}
    form = FlockSettingsForm({**data, "recheck_days": days}, instance=cast.flock)
    assert form.errors["recheck_days"] == [words]


class SomeForm(KeeperForm):
    day = forms.DateField()
    moment = forms.DateTimeField()
    some = forms.MultipleChoiceField(choices=[("a", "A")])
    sure = forms.BooleanField()
    file = forms.FileField()
    key = forms.UUIDField()
    share = forms.DecimalField(min_value=0, max_digits=4, decimal_places=1)
    word = forms.CharField(max_length=3)
    own = forms.CharField(error_messages={"required": "Say what it was."})


def test_of_each_kind_of_field():
    assert {name: errors[0] for name, errors in SomeForm({}).errors.items()} == {
        "day": "Enter a date.",
        "moment": "Enter a date and time.",
        "some": "Choose at least one.",
        "sure": "Tick this first.",
        "file": "Choose a file.",
        "key": OUT_OF_DATE,
        "share": "Enter a number here.",
        "word": "Fill this in.",
        "own": "Say what it was.",
    }
    wrong = SomeForm({"day": "soon", "some": ["b"], "share": "0.25", "word": "long words"}).errors
    assert wrong["day"] == ["Enter a date, like 2026-05-14."]
    assert wrong["some"] == ["“b” isn’t one of the choices. Choose again."]
    assert wrong["share"] == ["Too many digits after the point: at most 1."]
    assert wrong["word"] == ["This is too long: at most 3 characters fit here."]
    assert SomeForm({"share": "-1"}).errors["share"] == ["Enter at least 0."]


def test_what_a_record_refuses_about_something_not_in_the_form(cast):
    def deed():
        cast.flock.name, cast.flock.round_days, cast.flock.units = "", 500, "stones"
        cast.flock.full_clean()

    form = RoleForm({"role": "keeper"})
    assert not saved(form, deed)
    assert form.non_field_errors() == [
        "Fill this in.",
        "This can’t be read. Enter it differently.",
        "Enter at most 120.",
    ]
