"""The shape of what a keeper wants to be reminded of, and of a phone that takes it."""

import base64
import binascii

from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, EllipticCurvePublicKey
from django import forms
from django.core.exceptions import ValidationError

from flockcare.core.forms import KeeperForm, KeeperModelForm
from flockcare.reminders.models import Phone, Reminders


def posted(request):
    """What a form is bound to: what was sent, were it nothing at all."""
    return request.POST if request.method == "POST" else None


class CalendarForm(KeeperForm):
    at_time = forms.TimeField(
        label="Time of the evening round",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text="When care is shown in the calendar. Blank: all day.",
        error_messages={"invalid": "Enter a time like 18:30."},
    )


class RemindersForm(KeeperModelForm):
    """``can_push``, ``can_mail``: whether these ways are open; what was chosen of them stays."""

    # One's own, and all of it is seen at once.
    versioned = False
    WHAT, WAYS = (
        ("care", "mine_only", "checks", "withdrawal"),
        ("by_calendar", "by_push", "by_mail"),
    )

    class Meta:
        model = Reminders
        fields = [
            *("care", "mine_only", "checks", "withdrawal", "hour"),
            *("by_calendar", "by_push", "by_mail", "address"),
        ]
        error_messages = {"address": {"invalid": "Enter an address like name@example.org."}}

    def __init__(self, *args, can_push: bool, can_mail: bool, **kwargs):
        super().__init__(*args, use_required_attribute=False, **kwargs)
        if not can_push:
            del self.fields["by_push"]
        if not can_mail:
            del self.fields["by_mail"], self.fields["address"]

    @property
    def what(self):
        return [self[name] for name in self.WHAT]

    @property
    def ways(self):
        return [self[name] for name in self.WAYS if name in self.fields]

    def clean(self):
        said = super().clean()
        if said.get("by_mail") and not said.get("address") and "address" not in self.errors:
            self.add_error("address", "Enter an e-mail address.")
        return said


def _bytes(text: str) -> bytes:
    try:
        return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except (ValueError, binascii.Error):
        raise ValidationError("This is not a key.") from None


class PhoneForm(KeeperModelForm):
    """What the browser says of itself; a script fills it in."""

    versioned = False

    class Meta:
        model = Phone
        fields = ["endpoint", "p256dh", "auth"]
        widgets = dict.fromkeys(fields, forms.HiddenInput)

    def clean_p256dh(self):
        text = self.cleaned_data["p256dh"]
        try:
            EllipticCurvePublicKey.from_encoded_point(SECP256R1(), _bytes(text))
        except ValueError:
            raise ValidationError("This is not a key.") from None
        return text

    def clean_auth(self):
        if len(_bytes(self.cleaned_data["auth"])) != 16:
            raise ValidationError("This is not a secret of 16 bytes.")
        return self.cleaned_data["auth"]

    def validate_unique(self):
        """A phone that signed up before, for whom ever, is this keeper's now."""
