from datetime import date, timedelta

import pytest
from django.utils import timezone

from flockcare.birds.models import Weighing
from flockcare.birds.services import breed_named
from flockcare.people.models import Revision
from tests.people.rows import FORM_PAGE, NOT_WRITERS, READ_PAGE, refused, same_queries, seen

GOOD = {"on": "2024-06-01", "grams": "2.95"}


def url(cast, bird):
    return f"/f/{cast.flock.pk}/birds/{bird.pk}/weighings/"


@pytest.fixture
def dill(birds):
    dill = birds["Dill"]
    dill.hatched = "2023-05"
    dill.save()
    return dill


@pytest.fixture
def imperial(cast):
    cast.flock.units = "imperial"
    cast.flock.save()


def test_who_may(cast, dill):
    assert seen(cast, url(cast, dill)) == READ_PAGE
    assert refused(cast, url(cast, dill), GOOD) == NOT_WRITERS
    assert "Save the weighing" not in cast.clients.viewer.get(url(cast, dill)).text
    assert not Weighing.objects.exists()


def test_today_is_proposed_as_browsers_want_it(cast, dill):
    today = timezone.localdate(timezone=cast.flock.zone).isoformat()
    assert f'name="on" value="{today}"' in cast.clients.keeper.get(url(cast, dill)).text


@pytest.mark.parametrize("typed", ["2.95", "2,95", "2.950"])
def test_weigh_in_kilograms(cast, dill, typed):
    assert cast.clients.keeper.post(url(cast, dill), {**GOOD, "grams": typed}).status_code == 302
    weighing = Weighing.objects.get()
    assert (weighing.grams, weighing.on, weighing.keeper) == (2950, date(2024, 6, 1), cast.keeper)


@pytest.mark.parametrize(
    ("pounds", "ounces", "grams"),
    # 1 lb = 453.59237 g and 16 oz make one (international yard and pound agreement, 1959).
    [("6", "8", 2948), ("6", "", 2722), ("", "14.5", 411), ("0", "104", 2948)],
)
def test_weigh_in_pounds_and_ounces(cast, dill, imperial, pounds, ounces, grams):
    cast.clients.keeper.post(
        url(cast, dill), {"on": "2024-06-01", "grams_lb": pounds, "grams_oz": ounces}
    )
    assert Weighing.objects.get().grams == grams
    if grams == 2948:
        assert "6 lb 8 oz" in cast.clients.viewer.get(url(cast, dill)).text


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("grams", "80", "No hen weighs more than 9 kg (20 lb). Check the number and unit."),
        ("grams", "2950", "No hen weighs more than 9 kg (20 lb). Check the number and unit."),
        ("grams", "9" * 30, "No hen weighs more than 9 kg (20 lb). Check the number and unit."),
        ("grams", "0", "That is lighter than a day-old chick."),
        ("grams", "-2", "“-2” is not a number."),
        ("grams", "nan", "“nan” is not a number."),
        ("grams", "heavy", "“heavy” is not a number."),
        ("grams", "", "Enter a number here."),
        (
            "on",
            lambda: (timezone.now() + timedelta(days=2)).date().isoformat(),
            "This day is in the future.",
        ),
        ("on", "2023-04-30", "This is before she hatched (May 2023)."),
        ("on", "2024-02-30", "Enter a date, like"),
    ],
)
def test_wrong_field_is_named_and_the_other_stays(cast, dill, field, value, words):
    value = value() if callable(value) else value
    response = cast.clients.keeper.post(url(cast, dill), {**GOOD, field: value})
    assert list(response.context["form"].errors) == [field]
    assert words in response.text
    other = "on" if field == "grams" else "grams"
    assert f'value="{GOOD[other]}"' in response.text
    assert not Weighing.objects.exists()


def test_wrong_pounds(cast, dill, imperial):
    page = cast.clients.keeper.post(
        url(cast, dill), {"on": "2024-06-01", "grams_lb": "80", "grams_oz": "3"}
    )
    assert "No hen weighs more than 9 kg (20 lb)." in page.text
    assert 'value="80"' in page.text and 'value="3"' in page.text


def test_once_a_day(cast, dill):
    cast.clients.keeper.post(url(cast, dill), GOOD)
    page = cast.clients.keeper.post(url(cast, dill), {**GOOD, "grams": "3"})
    assert "She has been weighed on this day already." in page.text
    assert Weighing.objects.get().grams == 2950


def test_beside_the_adult_weight_of_the_breed(cast, dill):
    dill.breed = breed_named(flock=cast.flock, name="Wyandotte")
    dill.save()
    cast.clients.keeper.post(url(cast, dill), {**GOOD, "grams": "2.36"})
    page = cast.clients.viewer.get(url(cast, dill)).text
    assert "A grown Wyandotte hen weighs about 2.95 kg" in page and "/about/sources/#apa" in page
    assert "2.36 kg</td><td>80%</td>" in page.replace("\n", "")


def test_delete_keeps_what_it_was(cast, dill):
    cast.clients.keeper.post(url(cast, dill), GOOD)
    weighing = Weighing.objects.get()
    delete = f"{url(cast, dill)}{weighing.pk}/delete/"
    assert refused(cast, delete) == NOT_WRITERS
    assert cast.clients.keeper.get(delete).status_code == 405
    cast.clients.keeper.post(delete)
    assert not Weighing.objects.exists()
    revision = Revision.objects.get(record=weighing.pk)
    assert (revision.action, revision.before["grams"]) == ("delete", 2950)


def test_weighing_of_another_bird_is_not_found(cast, birds, dill):
    weighing = Weighing.objects.create(flock=cast.flock, bird=dill, on="2024-06-01", grams=2000)
    delete = f"{url(cast, birds['Mace'])}{weighing.pk}/delete/"
    assert cast.clients.keeper.post(delete).status_code == 404


def test_queries(cast, dill):
    def grow():
        for n in range(20):
            Weighing.objects.create(
                flock=cast.flock,
                bird=dill,
                on=date(2024, 1, 1) + timedelta(days=n),
                grams=2000,
                keeper=cast.keeper,
            )

    cast.clients.owner.post(url(cast, dill), GOOD)
    cast.clients.owner.get(url(cast, dill))
    same_queries(cast.clients.owner, url(cast, dill), grow=grow)


@pytest.fixture
def weighed(cast, dill):
    return Weighing.objects.create(flock=cast.flock, bird=dill, on=date(2026, 3, 1), grams=2450)


def page_of(cast, weighing):
    return f"{url(cast, weighing.bird)}{weighing.pk}/"


def test_who_may_mend_a_weighing(cast, weighed):
    assert seen(cast, page_of(cast, weighed)) == FORM_PAGE
    assert refused(cast, page_of(cast, weighed), GOOD) == NOT_WRITERS
    assert Weighing.objects.get().grams == 2450


def test_a_mended_weighing_keeps_what_it_said(cast, weighed):
    mended = {"on": "2026-03-02", "grams": "2.54"}
    assert cast.clients.keeper.post(page_of(cast, weighed), mended).status_code == 302
    stored = Weighing.objects.get()
    assert (stored.on, stored.grams) == (date(2026, 3, 2), 2540)
    assert Revision.objects.get(record=weighed.pk).before["grams"] == 2450


def test_a_weighing_is_not_mended_onto_the_day_of_another(cast, weighed):
    Weighing.objects.create(flock=cast.flock, bird=weighed.bird, on=date(2026, 3, 2), grams=2500)
    page = cast.clients.keeper.post(page_of(cast, weighed), {"on": "2026-03-02", "grams": "2.54"})
    assert "She has been weighed on this day already." in page.text


def test_grams_that_nobody_touched_stay_though_ounces_are_coarser(cast, weighed, imperial):
    page = cast.clients.keeper.get(page_of(cast, weighed)).text
    assert 'value="5"' in page and 'value="6"' in page  # 2450 g, 5 lb 6 oz
    mended = {"on": "2026-03-02", "grams_lb": "5", "grams_oz": "6"}
    cast.clients.keeper.post(page_of(cast, weighed), mended)
    assert Weighing.objects.get().grams == 2450
