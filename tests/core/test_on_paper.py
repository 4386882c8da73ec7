"""What a page says on paper that a screen says elsewhere: whose it is, and of which day."""

import pytest
from django.utils import timezone
from django.utils.formats import date_format

from flockcare.offline.shell import page as kept_page

pytestmark = pytest.mark.django_db


def test_a_printed_page_says_whose_it_is_and_of_which_day(cast):
    today = date_format(timezone.localdate(timezone=cast.flock.zone), "j M Y")
    line = f'<p class="print-only quiet">{cast.flock.name}, {today}</p>'
    for place in ("trends/", "birds/", "today/"):
        assert line in cast.clients.viewer.get(f"/f/{cast.flock.pk}/{place}").text
    # Pages that are laid out for paper say it themselves.
    record = cast.clients.viewer.get(f"/f/{cast.flock.pk}/care/medicine/record/")
    assert record.status_code == 200 and "print-only" not in record.text


def test_what_a_phone_keeps_has_no_day_of_its_own():
    """Else it would be another page each day."""
    assert "print-only" not in kept_page("step")
