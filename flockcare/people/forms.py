"""Input about keepers and flocks."""

from django import forms
from django.contrib.auth.forms import UsernameField
from django.contrib.auth.password_validation import validate_password

from flockcare.core.forms import KeeperForm, KeeperModelForm
from flockcare.people.models import Flock, Keeper, Membership, Role, zones


def chips():
    return forms.RadioSelect(attrs={"class": "chips"})


class SignInNameField(UsernameField):
    def to_python(self, value):
        return super().to_python(value).lower()

    def widget_attrs(self, widget):
        return {**super().widget_attrs(widget), "spellcheck": "false"}


class SignInForm(KeeperForm):
    sign_in_name = SignInNameField(label="Sign-in name", max_length=60)
    password = forms.CharField(
        strip=False, widget=forms.PasswordInput(attrs={"autocomplete": "current-password"})
    )


class NewPasswordForm(KeeperForm):
    password = forms.CharField(
        label="Choose a password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least 10 characters. Three or four words that only you would put together.",
    )
    password_again = forms.CharField(
        label="Password again",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean_password(self):
        password = self.cleaned_data["password"]
        validate_password(password)
        return password

    def clean(self):
        super().clean()
        first, second = (self.cleaned_data.get(f) for f in ("password", "password_again"))
        if first and second and first != second:
            self.add_error("password_again", "The two passwords differ. Type this one again.")


class ChangePasswordForm(NewPasswordForm):
    old_password = forms.CharField(
        label="Your current password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    field_order = ["old_password"]

    def __init__(self, *args, keeper, **kwargs):
        super().__init__(*args, **kwargs)
        self.keeper = keeper

    def clean_old_password(self):
        if not self.keeper.check_password(self.cleaned_data["old_password"]):
            raise forms.ValidationError("That is not your password. Try again.")


class NewKeeperForm(NewPasswordForm, KeeperModelForm):
    class Meta:
        model = Keeper
        fields = ["name", "sign_in_name"]
        field_classes = {"sign_in_name": SignInNameField}
        widgets = {"name": forms.TextInput(attrs={"autocomplete": "given-name"})}

    field_order = ["name", "sign_in_name", "password", "password_again"]

    def fields_of_keeper(self) -> dict:
        return {key: self.cleaned_data[key] for key in ("name", "sign_in_name", "password")}


class KeeperNameForm(KeeperModelForm):
    versioned = False  # Nobody else edits it.

    class Meta:
        model = Keeper
        fields = ["name"]


def time_zones() -> list[str]:
    """Every zone that is called after a place, such as ``America/Lima``."""
    places = (name for name in zones() if "/" in name)
    return sorted(name for name in places if not name.startswith("Etc/"))


class ZoneInput(forms.TextInput):
    """A text field in which a part of a place’s name finds it."""

    template_name = "people/zone.html"

    def get_context(self, name, value, attrs):
        context = super().get_context(name, value, {**attrs, "list": "time-zones"})
        return {**context, "zones": time_zones()}


class ZoneField(forms.CharField):
    """A time zone by its whole name, or by the name of its place alone: ``Lima``."""

    widget = ZoneInput(attrs={"autocomplete": "off", "spellcheck": "false"})

    def to_python(self, value):
        text = super().to_python(value)
        asked = text.replace(" ", "_").lower()
        by_name = {name.lower(): name for name in (*zones(), "UTC")}
        if not asked or asked in by_name:
            return by_name.get(asked, text)
        found = [name for name in time_zones() if name.lower().rpartition("/")[2] == asked]
        # One may stand under its state too: America/Louisville, America/Kentucky/Louisville.
        if len({name.partition("/")[0] for name in found}) == 1:
            return min(found, key=len)
        if found:
            raise forms.ValidationError(f"“{text}” may be {' or '.join(found)}. Choose one.")
        raise forms.ValidationError(
            f"“{text}” is not known. Give the nearest large town, such as Paris, or the zone, "
            "such as Europe/Paris."
        )


class NewFlockForm(KeeperModelForm):
    time_zone = ZoneField(
        initial=Flock._meta.get_field("time_zone").default,
        max_length=Flock._meta.get_field("time_zone").max_length,
        help_text="Where the hens live: type the nearest large town.",
    )

    class Meta:
        model = Flock
        fields = ["name", "time_zone", "units"]
        labels = {"name": "Name of the flock"}
        widgets = {"units": chips()}

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        if self.instance._state.adding and not self.is_bound:
            self.fields["time_zone"].widget.attrs["data-guess-zone"] = True


class FlockSettingsForm(NewFlockForm):
    class Meta(NewFlockForm.Meta):
        fields = [*NewFlockForm.Meta.fields, "round_days", "recheck_days"]


class RoleForm(KeeperForm):
    role = forms.ChoiceField(
        choices=[(role, f"{role.label}: {role.may}") for role in Role],
        initial=Role.KEEPER,
        widget=chips(),
    )

    def __init__(self, *args, membership: Membership | None = None, **kwargs):
        super().__init__(*args, **kwargs)
        if membership:
            self.initial["role"] = membership.role
            self.remember(membership, ["role"])
