"""Photos on a bird's timeline: a date that is not sure looks and reads as such."""

import datetime as dt

import pytest
from django.urls import reverse

from flockcare.drawing.timeline import Window
from flockcare.photos.layers import photos
from flockcare.photos.models import DateSource, Precision
from tests.photos.test_series import photo

pytestmark = pytest.mark.django_db
MAY = Window(dt.date(2026, 5, 1), dt.date(2026, 5, 31), dt.UTC)


@pytest.mark.parametrize(
    ("precision", "source", "said"),
    [
        (Precision.MOMENT, DateSource.CAMERA, ""),
        (Precision.DAY, DateSource.FILE_NAME, ""),
        (Precision.DAY, DateSource.HAND, ""),
        (Precision.MONTH, DateSource.HAND, " (day not known)"),
        (Precision.YEAR, DateSource.HAND, " (only the year known)"),
        (Precision.MOMENT, DateSource.FILE_TIME, " (date doubtful: the time of the file)"),
        (Precision.MOMENT, DateSource.UPLOAD, " (date doubtful: when it was sent)"),
    ],
)
def test_a_date_that_is_not_sure_says_so(cast, birds, precision, source, said):
    photo(cast.flock, birds["Dill"], "2026-05-14", precision, taken_source=source)
    (mark,) = photos(birds["Dill"], MAY)
    assert mark.label == f"photo of the left foot{said}"
    assert mark.kind.startswith("unsure") == bool(said)


@pytest.mark.parametrize(("source", "drawn"), [(DateSource.FILE_TIME, 1), (DateSource.CAMERA, 0)])
def test_its_picture_has_a_broken_frame_and_a_question_mark(cast, birds, source, drawn):
    photo(cast.flock, birds["Dill"], "2026-05-14", taken_source=source)
    url = reverse("bird", args=[cast.flock.pk, birds["Dill"].pk])
    text = cast.clients.viewer.get(url, {"zoom": "month", "until": "2026-05-31"}).content.decode()
    assert text.count('class="thumb') == 1
    assert text.count('class="thumb unsure"') == text.count(">?</text>") == drawn
