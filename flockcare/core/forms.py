"""How every form looks and behaves."""

import uuid
from collections.abc import Iterable

from django import forms
from django.core.exceptions import ValidationError
from django.forms.renderers import TemplatesSetting


class Renderer(TemplatesSetting):
    field_template_name = "core/field.html"


class KeeperForm(forms.Form):
    """A form whose first wrong field takes the focus after it was refused."""

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **{"label_suffix": "", **kwargs})

    def full_clean(self):
        super().full_clean()
        for name in self.errors:
            if name in self.fields:
                self.fields[name].widget.attrs["autofocus"] = True
                break


class KeeperModelForm(KeeperForm, forms.ModelForm):
    pass


def saved(form, deed, **kwargs) -> bool:
    """Do the deed; what the records themselves object to is said on the form."""
    try:
        deed(**kwargs)
    except ValidationError as error:
        form.add_error(None, error.messages)
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
