"""How every form looks and behaves."""

import uuid
from collections.abc import Iterable

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import IntegrityError
from django.forms.renderers import TemplatesSetting

from flockcare.core.refusals import reword
from flockcare.core.versions import VERSION, Basis


class Renderer(TemplatesSetting):
    field_template_name = "core/field.html"


class KeeperForm(forms.Form):
    """A form whose first wrong field takes the focus after it was refused in a keeper's words.

    One that edits a record remembers what it was made from; see ``core.versions``.
    """

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **{"label_suffix": "", **kwargs})

    def add_error(self, field, error):
        """Also what is said after validation, as services do, decides where the focus goes.

        A field that is wrong already has its message; what only follows from that is left out.
        """
        before = {name: len(errors) for name, errors in self.errors.items()}
        before.pop(NON_FIELD_ERRORS, None)
        super().add_error(field, error)
        for name, number in before.items():
            del self._errors[name].data[number:]
        for name, errors in self._errors.items():
            for each in errors.data:
                reword(each, self, name)
        wrong = [name for name in self.fields if name in self._errors]
        for name in wrong:
            self.fields[name].widget.attrs.pop("autofocus", None)
        if wrong:
            self.fields[wrong[0]].widget.attrs["autofocus"] = True

    def remember(self, record, names: Iterable[str]) -> None:
        """Carry the version of the record, of which these values are shown; 0: it is to be made."""
        self.remembered = tuple(names)
        self.fields[VERSION] = forms.CharField(
            widget=forms.HiddenInput,
            required=False,
            initial=0 if record._state.adding else record.version,
        )

    @property
    def basis(self) -> Basis | None:
        """What the edit was made from, as a service wants to know it.

        Without the fields that say themselves (``show_hidden_initial``) that nobody touched them.
        """
        if VERSION not in self.fields:
            return None
        untouched = {
            name
            for name, field in self.fields.items()
            if field.show_hidden_initial and name not in self.changed_data
        }
        return Basis.of(self.data, [name for name in self.remembered if name not in untouched])


class KeeperModelForm(KeeperForm, forms.ModelForm):
    """``also_shown``: fields of the record that the form sets though they are not its own."""

    versioned = True
    also_shown: tuple[str, ...] = ()

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        if self.versioned and not self.instance._state.adding:
            self.remember(self.instance, self.shown_names())

    def shown_names(self) -> list[str]:
        """The plain values of the record that this form shows."""
        own = [self.instance._meta.get_field(name).attname for name in self._meta.fields]
        return [*own, *self.also_shown]


def saved(form, service, **kwargs) -> bool:
    """Call the service; what the records themselves object to is said on the form.

    PostgreSQL lets two begin, and refuses the one that comes second to what there may be once only,
    or that belongs to what the first removed. The next try finds what the first has done.
    """
    try:
        service(**kwargs)
    except IntegrityError:
        form.add_error(None, "Somebody else saved at the same moment. Save again.")
        return False
    except ValidationError as error:
        by_field = getattr(error, "error_dict", {})
        if by_field and not set(by_field) <= set(form.fields):
            error = ValidationError([each for some in by_field.values() for each in some])
        form.add_error(None, error)
        return False
    return True


def record_keys(texts: Iterable[str]) -> list[uuid.UUID]:
    """The keys of records among what a form sent; what is no key is left out."""
    found = []
    for text in texts:
        try:
            found.append(uuid.UUID(text))
        except ValueError:
            continue
    return found
