from datetime import date, timedelta

import pytest
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.core.versions import VERSION
from flockcare.housing.models import Stay
from flockcare.housing.services import correct_stay
from flockcare.people.models import Revision
from tests.housing.rows import house, stay
from tests.people.rows import FORM_PAGE, NOT_WRITERS, refused, seen

GOOD = {
    "left": "2024-02",
    "left_reason": "culled for the feet",
    "left_note": "Swelling went down to the bone.",
}


def url(cast, bird, tail="leave/"):
    return f"/f/{cast.flock.pk}/birds/{bird.pk}/{tail}"


@pytest.fixture
def dill(birds):
    dill = birds["Dill"]
    dill.joined = "2023-05-14"
    dill.save()
    return dill


def test_who_may(cast, dill):
    assert seen(cast, url(cast, dill)) == FORM_PAGE
    for tail in ("leave/", "came-back/"):
        assert refused(cast, url(cast, dill, tail), GOOD) == NOT_WRITERS
    assert Bird.objects.present().count() == 3


def test_leave_and_come_back_with_the_history_of_both(cast, dill):
    response = cast.clients.keeper.post(url(cast, dill), GOOD)
    assert response.headers["Location"] == f"/f/{cast.flock.pk}/birds/{dill.pk}/"
    dill.refresh_from_db()
    assert (dill.left, dill.left_reason, dill.left_note) == tuple(GOOD.values())

    cast.clients.keeper.post(url(cast, dill, "came-back/"))
    dill.refresh_from_db()
    assert (dill.left, dill.left_reason, dill.left_note) == ("", "", "")
    before = Revision.objects.filter(record=dill.pk).order_by("pk")
    assert [revision.before["left"] for revision in before] == ["", "2024-02"]
    assert before[1].before["left_note"] == "Swelling went down to the bone."


def test_today_is_proposed(cast, dill):
    page = cast.clients.keeper.get(url(cast, dill)).text
    assert f'value="{timezone.localdate(timezone=cast.flock.zone)}"' in page


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("left", "", "Enter a date; the year is enough."),
        ("left", "last week", "is not a date"),
        ("left", "2023-05-13", "This is before she came to this flock (14 May 2023)."),
        (
            "left",
            lambda: (timezone.now() + timedelta(days=2)).date().isoformat(),
            "This date is in the future.",
        ),
        ("left_reason", "", "Choose one of these."),
        ("left_reason", "bored", "isn’t one of the choices."),
    ],
)
def test_wrong_field_is_named_and_the_note_stays(cast, dill, field, value, words):
    value = value() if callable(value) else value
    response = cast.clients.keeper.post(url(cast, dill), {**GOOD, field: value})
    assert list(response.context["form"].errors) == [field]
    assert words in response.text
    assert "Swelling went down to the bone." in response.text
    dill.refresh_from_db()
    assert dill.left == ""


def test_no_way_back_while_another_has_her_name(cast, dill):
    cast.clients.keeper.post(url(cast, dill), GOOD)
    Bird.objects.create(flock=cast.flock, name="dill")
    page = cast.clients.keeper.post(url(cast, dill, "came-back/"), follow=True)
    assert "Another bird of this flock has that name already." in page.text
    dill.refresh_from_db()
    assert dill.left == "2024-02"


class TestHouse:
    """Her stay ends with her leaving, and goes on when she is put back."""

    @pytest.fixture
    def barn(self, cast, dill):
        barn = house(cast.flock, "Barn")
        stay(dill, barn, timezone.localdate() - timedelta(30))
        return barn

    def spans(self, dill):
        return [(one.house.name, one.until) for one in Stay.objects.filter(bird=dill)]

    def leave(self, cast, dill):
        cast.clients.keeper.post(url(cast, dill), {**GOOD, "left": str(timezone.localdate())})
        dill.refresh_from_db()

    def back(self, cast, dill):
        return cast.clients.keeper.post(url(cast, dill, "came-back/"), follow=True).text

    def test_goes_on_where_she_lived(self, cast, dill, barn):
        self.leave(cast, dill)
        assert self.spans(dill) == [("Barn", timezone.localdate())]
        page = self.back(cast, dill)
        assert "She lives in Barn as before." in page
        assert self.spans(dill) == [("Barn", None)]

    def test_a_year_that_is_not_over_ends_it_today(self, cast, dill, barn):
        today = timezone.localdate(timezone=cast.flock.zone)
        cast.clients.keeper.post(url(cast, dill), {**GOOD, "left": str(today.year)})
        assert self.spans(dill) == [("Barn", today)]

    def test_goes_on_when_the_history_brings_her_back(self, cast, dill, barn):
        self.leave(cast, dill)
        first = Revision.objects.get(record=dill.pk)
        where = f"/f/{cast.flock.pk}/history/{dill.pk}/bird/{first.pk}/"
        version = cast.clients.keeper.get(where).context["version"]
        cast.clients.keeper.post(where, {VERSION: version})
        dill.refresh_from_db()
        assert dill.left == ""
        assert self.spans(dill) == [("Barn", None)]

    def test_an_end_that_a_keeper_set_stays(self, cast, dill, barn):
        self.leave(cast, dill)
        there = Stay.objects.get(bird=dill)
        there.until = timezone.localdate() - timedelta(3)
        correct_stay(stay=there, by=cast.keeper)
        page = self.back(cast, dill)
        assert "She is in no house now." in page
        assert f'href="/f/{cast.flock.pk}/houses/move/"' in page
        assert self.spans(dill) == [("Barn", timezone.localdate() - timedelta(3))]

    def test_a_move_from_before_she_left_is_no_leaving(self, cast, dill, barn):
        there = Stay.objects.get(bird=dill)
        there.until = timezone.localdate() - timedelta(5)
        correct_stay(stay=there, by=cast.keeper)
        self.leave(cast, dill)
        assert "She is in no house now." in self.back(cast, dill)

    def test_an_end_that_a_keeper_set_right_after_she_left_stays(self, cast, dill, barn):
        """Of a stay that began only after she had left, and that her leaving did not end."""
        until = timezone.localdate() - timedelta(10)
        cast.clients.keeper.post(url(cast, dill), {**GOOD, "left": f"{until - timedelta(30)}"})
        there = Stay.objects.get(bird=dill)
        assert there.until is None
        there.until = until
        correct_stay(stay=there, by=cast.keeper)
        assert "She is in no house now." in self.back(cast, dill)
        assert self.spans(dill) == [("Barn", until)]

    def test_only_the_year_she_left_is_known(self, cast, dill, barn):
        """This year is not over: she lived there until today at most."""
        today = timezone.localdate(timezone=cast.flock.zone)
        cast.clients.keeper.post(url(cast, dill), {**GOOD, "left": f"{today.year}"})
        assert self.spans(dill) == [("Barn", today)]

    def test_a_year_that_is_over_ends_with_its_last_day(self, cast, dill, barn):
        Stay.objects.update(since=None)
        cast.clients.keeper.post(url(cast, dill), {**GOOD, "left": "2024"})
        assert self.spans(dill) == [("Barn", date(2024, 12, 31))]

    def test_all_of_her_leaving_is_undone_from_the_history(self, cast, dill, barn):
        self.leave(cast, dill)
        done = Revision.objects.get(record=dill.pk)
        cast.clients.keeper.post(f"/f/{cast.flock.pk}/history/{done.pk}/")
        dill.refresh_from_db()
        assert dill.left == ""
        assert self.spans(dill) == [("Barn", None)]

    def test_a_flock_without_houses_hears_nothing_of_them(self, cast, dill):
        self.leave(cast, dill)
        page = self.back(cast, dill)
        assert "Dill is in the flock again." in page
        assert "no house now" not in page
