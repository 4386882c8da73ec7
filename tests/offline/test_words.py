"""What waits on a phone is said in the words of the forms it was made with."""

import re

from django.conf import settings

from flockcare.care.models import StepKind
from flockcare.care.standing_words import score_words

ENTRIES = (settings.BASE_DIR / "static/js/outbox/entries.js").read_text()


def table(name: str) -> dict[str, str]:
    inside = re.search(rf"const {name} = {{(.+?)}};", ENTRIES)[1]
    return dict(re.findall(r'"?(\w[^":,]*?)"?: "([^"]+)"', inside))


def test_a_score_is_called_as_everywhere():
    assert table("SCORES") == {str(score): score_words(score) for score in (0, 1, 2)}


def test_care_is_called_as_on_its_form():
    """But for what the form's own value says well enough: "scab lifted"."""
    other = {kind.value: kind.label for kind in StepKind if kind.value != kind.label}
    del other[StepKind.LIFTED], other[StepKind.OINTMENT]
    assert table("CARE") == other
