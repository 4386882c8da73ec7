from datetime import timedelta

import pytest
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.people.models import Revision
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
        ("left", "", "This field is required."),
        ("left", "last week", "is not a date"),
        ("left", "2023-05-13", "This is before 2023-05-14."),
        (
            "left",
            lambda: (timezone.now() + timedelta(days=2)).date().isoformat(),
            "This date is still to come.",
        ),
        ("left_reason", "", "This field is required."),
        ("left_reason", "bored", "Select a valid choice"),
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
