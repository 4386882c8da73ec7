"""Several kinds of care ticked in one form: a record each, shown and undone as one."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from flockcare.care.layers import care_given
from flockcare.care.models import CareStep, KitItem
from flockcare.care.parts import in_order
from flockcare.drawing.timeline import Window
from flockcare.exchange.services import apply, check, export, read_folder
from flockcare.people.models import Flock, Revision
from tests.care.steps import day, form, step, today, url

pytestmark = pytest.mark.django_db
KINDS = ["soaked", "rinsed", "ointment", "dressing on"]


def log(cast, bird, **said):
    sent = form(who=str(cast.keeper.pk), **said)
    return sent, cast.clients.keeper.post(url(cast, "step_new", bird.pk), sent, follow=True)


def four(cast, bird, **said):
    for name, kind in (("Epsom salt", "epsom salt"), ("Gauze", "gauze")):
        KitItem.objects.create(flock=cast.flock, name=name, kind=kind, stock=3)
    plain = {"no_medicine": "on", "product": "Salve", "with_soak": "epsom SALT", "much_soak": "2"}
    return log(cast, bird, kind=KINDS, **plain, with_dressing="Gauze", **said)


def test_four_kinds_are_four_records_with_their_own_products(cast, birds):
    _, answer = four(cast, birds["Dill"], note="Quiet.")
    found = {one.kind: one for one in CareStep.objects.all()}
    assert set(found) == set(KINDS)
    assert len({(one.at, one.foot, one.keeper_id) for one in found.values()}) == 1
    assert {kind: one.product for kind, one in found.items()} == {
        **{"soaked": "Epsom salt", "rinsed": "", "ointment": "Salve", "dressing on": "Gauze"},
    }
    # One pad of gauze, where nobody says how many; salt is weighed.
    assert dict(KitItem.objects.values_list("name", "stock")) == {"Epsom salt": 1, "Gauze": 2}
    assert {one.next_due for one in found.values()} == {day(1)}
    assert [one.note for one in found.values() if one.note] == ["Quiet."]
    assert "A dressing is checked within a day." in answer.text


def test_they_are_one_line_and_one_mark(cast, birds):
    dill = birds["Dill"]
    four(cast, dill)
    whole = "left foot: ointment, spray or powder, Salve; dressing on, Gauze; rinsed; soaked"
    for address in (reverse("today", args=[cast.flock.pk]), url(cast, "bird", dill.pk)):
        assert whole in " ".join(cast.clients.keeper.get(address).text.split())
    (mark,) = care_given(dill, Window(today() - timedelta(3), today(), cast.flock.zone))
    assert mark.label.count(";") == 3
    one = CareStep.objects.get(kind="soaked")
    assert "Done in one go with:" in cast.clients.keeper.get(url(cast, "step", one.pk)).text


def test_undo_takes_all_back_and_the_kit_is_full_again(cast, birds):
    four(cast, birds["Dill"])
    one = CareStep.objects.get(kind="ointment")
    cast.clients.owner.post(url(cast, "undo", one.pk), {"whole": "1"})
    assert not CareStep.objects.exists()
    assert set(KitItem.objects.values_list("stock", flat=True)) == {3}
    assert (
        len(set(Revision.objects.filter(action="delete").values_list("first"))) == 2
    )  # None, first


def test_the_changeset_of_it_can_be_undone(cast, birds):
    four(cast, birds["Dill"])
    first = Revision.objects.get(first=None)
    assert first.words.startswith("Dill, left foot: ointment")
    cast.clients.keeper.post(reverse("pages:changeset", args=[cast.flock.pk, first.pk]))
    assert not CareStep.objects.exists()
    assert set(KitItem.objects.values_list("stock", flat=True)) == {3}


def test_one_of_them_is_deleted_alone(cast, birds):
    four(cast, birds["Dill"])
    cast.clients.keeper.post(url(cast, "undo", CareStep.objects.get(kind="rinsed").pk))
    assert CareStep.objects.count() == 3


def test_sent_again_nothing_is_doubled(cast, birds):
    sent, _ = four(cast, birds["Dill"])
    cast.clients.keeper.post(url(cast, "step_new", birds["Dill"].pk), sent)
    assert CareStep.objects.count() == 4
    assert KitItem.objects.get(name="Gauze").stock == 2


@pytest.mark.parametrize(
    ("kinds", "words"),
    [
        (["vet", "soaked"], "A visit to the vet is logged by itself"),
        (["vet", "medicine"], "What medicine the vet gave is asked below"),
        (["watched", "rinsed"], "Monitoring is logged by itself"),
        (["ointment", "medicine"], "days of their own"),
        (["dressing on", "dressing off"], "one for the dressing"),
    ],
)
def test_what_does_not_go_together_is_said(kinds, words):
    with pytest.raises(ValidationError, match=words):
        in_order(kinds)


def test_the_choice_is_kept_where_it_is_refused(cast, birds):
    _, answer = log(cast, birds["Dill"], kind=["vet", "soaked"], with_soak="warm water")
    assert answer.status_code == 422 and "by itself" in answer.text
    assert answer.text.count(" checked") >= 3 and "warm water" in answer.text
    assert not CareStep.objects.exists()


def test_what_was_lifted_keeps_how_it_went_beside_an_ointment(cast, birds):
    log(cast, birds["Dill"], kind=["scab lifted", "ointment"], outcome="partly", bleeding="some")
    lifted, ointment = (CareStep.objects.get(kind=kind) for kind in ("scab lifted", "ointment"))
    assert (lifted.outcome, lifted.bleeding) == ("partly", "some")
    assert (ointment.outcome, ointment.bleeding) == ("", "")


def test_the_round_trip_is_identical_and_still_one_line(cast, birds, tmp_path):
    four(cast, birds["Dill"])
    export(cast.flock, tmp_path / "a.zip")
    other = Flock.objects.create(name="Other", time_zone="Europe/London")
    apply(check(read_folder(tmp_path / "a.zip"), other))
    export(other, tmp_path / "b.zip")
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    assert len(set(CareStep.objects.filter(flock=other).values_list("at"))) == 1


# --- The kit


def test_changed_with_one_tap_counts_the_gauze_down_and_says_when_none_is_left(cast, birds):
    gauze = KitItem.objects.create(flock=cast.flock, name="Gauze", kind="gauze", stock=2)
    log(cast, birds["Dill"], kind="dressing on", item=str(gauze.pk))
    first = CareStep.objects.get()
    done = url(cast, "done", first.pk)
    answer = cast.clients.owner.post(done, {"kind": "dressing changed"}, follow=True)
    gauze.refresh_from_db()
    assert gauze.stock == 0
    assert "Gauze: none left in the kit, by the count." in answer.text


def test_a_dressing_from_before_with_its_gauze_uses_one_too(cast, birds):
    gauze = KitItem.objects.create(flock=cast.flock, name="Gauze", kind="gauze", stock=2)
    on = step(cast, birds["Dill"], "dressing on", days_ago=1, item=gauze, product="Gauze")
    cast.clients.owner.post(url(cast, "done", on.pk), {"kind": "dressing changed"})
    gauze.refresh_from_db()
    assert gauze.stock == 1


def test_less_than_nothing_is_refused_and_gauze_has_no_egg_days(cast):
    said = {"name": "Gauze", "kind": "gauze", "stock": "-5", "egg_days": "4", "days_from": "label"}
    answer = cast.clients.keeper.post(url(cast, "item_new"), said)
    assert answer.status_code == 422 and "Enter 0 or more" in answer.text
    cast.clients.keeper.post(url(cast, "item_new"), {**said, "stock": "5"})
    assert (KitItem.objects.get().egg_days, KitItem.objects.get().stock) == (None, 5)


def test_a_day_that_the_app_changes_is_explained(cast, birds):
    _, answer = log(
        cast, birds["Dill"], kind="dressing on", again="day", next_due=day(2).isoformat()
    )
    assert CareStep.objects.get().next_due == day(1)
    assert "A dressing is checked within a day." in answer.text
