from django import forms

from flockcare.core.forms import KeeperModelForm
from flockcare.trends.models import WindowChoice


class WindowForm(KeeperModelForm):
    class Meta:
        model = WindowChoice
        fields = ["window_days", "lag_days"]
        widgets = {
            name: forms.NumberInput(attrs={"inputmode": "numeric"})
            for name in ("window_days", "lag_days")
        }
        help_texts = {
            "window_days": "365 has every season once on either side.",
            "lag_days": "For a change that needs time to show, such as bedding that must settle.",
        }
