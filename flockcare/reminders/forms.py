from django import forms

from flockcare.core.forms import KeeperForm


def posted(request):
    """What a form is bound to: what was sent, were it nothing at all."""
    return request.POST if request.method == "POST" else None


class CalendarForm(KeeperForm):
    at_time = forms.TimeField(
        label="Time of the evening round",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text="Care stands in the calendar at this time. Empty: for the whole day.",
        error_messages={"invalid": "Give a time like 18:30."},
    )
