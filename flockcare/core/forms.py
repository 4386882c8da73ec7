"""How every form looks and behaves."""

from django import forms
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
