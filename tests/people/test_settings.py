import pytest

from flockcare.people.models import Revision
from tests.people.rows import NOT_WRITERS, OWNER_PAGE, refused, seen

GOOD = {
    "name": "Hill Flock",
    "time_zone": "America/New_York",
    "units": "imperial",
    "round_days": "10",
    "recheck_days": "3",
}


def url(cast):
    return f"/f/{cast.flock.pk}/settings/"


def test_who_may(cast):
    assert seen(cast, url(cast)) == OWNER_PAGE
    assert refused(cast, url(cast), GOOD) == NOT_WRITERS
    assert cast.clients.keeper.post(url(cast), GOOD).status_code == 403


def test_saved_with_the_value_before(cast):
    assert cast.clients.owner.post(url(cast), GOOD).status_code == 302
    cast.flock.refresh_from_db()
    assert (cast.flock.time_zone, cast.flock.units) == ("America/New_York", "imperial")
    assert (cast.flock.round_days, cast.flock.recheck_days) == (10, 3)
    revision = Revision.objects.get()
    assert revision.before["time_zone"] == "Europe/London"
    assert (revision.flock, revision.by) == (cast.flock, cast.owner)


@pytest.mark.parametrize(
    ("field", "value"), [("round_days", "0"), ("round_days", "often"), ("time_zone", "Mars/Base")]
)
def test_wrong_value_keeps_the_rest(cast, field, value):
    page = cast.clients.owner.post(url(cast), {**GOOD, "name": "Renamed", field: value}).text
    assert 'class="field wrong"' in page and 'value="Renamed"' in page
    assert not Revision.objects.exists()


def test_zone_that_is_no_place_can_stay(cast):
    cast.flock.time_zone = "EST5EDT"
    cast.flock.save()
    page = cast.clients.owner.get(url(cast)).text
    assert 'value="EST5EDT"' in page
    saved = cast.clients.owner.post(url(cast), {**GOOD, "time_zone": "EST5EDT"})
    assert saved.status_code == 302
    assert "data-guess-zone" not in page
