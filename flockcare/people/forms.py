"""Input about keepers and flocks."""

import zoneinfo
from itertools import groupby

from django import forms
from django.contrib.auth.forms import UsernameField
from django.contrib.auth.password_validation import validate_password

from flockcare.core.forms import KeeperForm, KeeperModelForm
from flockcare.people.models import Flock, Keeper, Membership, Role


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
        label="The same again",
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
            self.add_error("password_again", "The two passwords differ.")


class ChangePasswordForm(NewPasswordForm):
    old_password = forms.CharField(
        label="Your present password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    field_order = ["old_password"]

    def __init__(self, *args, keeper, **kwargs):
        super().__init__(*args, **kwargs)
        self.keeper = keeper

    def clean_old_password(self):
        if not self.keeper.check_password(self.cleaned_data["old_password"]):
            raise forms.ValidationError("That is not your password.")


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


def time_zones(stored: str = "UTC") -> list:
    """Every named place, in groups by part of the world, as choices for a select.

    ``stored`` is offered as well when it is one of the few zones that are no place.
    """
    places = sorted(
        zone
        for zone in zoneinfo.available_timezones()
        if "/" in zone and not zone.startswith("Etc/")
    )
    groups = [
        (region, [(zone, zone.partition("/")[2].replace("_", " ")) for zone in zones])
        for region, zones in groupby(places, key=lambda zone: zone.partition("/")[0])
    ]
    return [*((zone, zone) for zone in sorted({"UTC", stored} - set(places))), *groups]


class NewFlockForm(KeeperModelForm):
    time_zone = forms.ChoiceField(choices=time_zones, help_text="Where the hens live.")

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

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["time_zone"].choices = time_zones(self.instance.time_zone)


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
