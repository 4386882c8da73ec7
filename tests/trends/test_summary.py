"""The summary that a flock gives away: right counts, and nothing that names anybody."""

import dataclasses
import datetime as dt
import json
import re

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from flockcare.housing.models import ChangeKind, HousingChange
from flockcare.trends import changes, pooling, summary
from flockcare.trends.records import Chosen
from flockcare.trends.watch import Watch
from tests.people.rows import FORM_PAGE, seen
from tests.trends.flocks import birds_of, simulated
from tests.trends.yard import CHANGED, fill

NUMBER = "0" * 32
CLASSES = ["bantam"] * 2 + ["light"] * 4 + ["heavy"] * 8 + ["very heavy"] * 6


@pytest.fixture(scope="module")
def records():
    """Twenty birds, two of them bantams, and one change a year in."""
    return dataclasses.replace(simulated(rate=0.003), birds=birds_of(20, weight_class=CLASSES))


def test_counts_are_those_of_trends(records):
    found = changes.answers(Watch.of(records))[0].found
    (told,) = summary.counted(records, NUMBER)["changes"]
    total = {
        name: sum(one[name] for one in told["strata"])
        for name in ("cases_before", "cases_across", "cases_after")
    }
    assert total == {
        "cases_before": found.cases_before,
        "cases_across": found.straddling,
        "cases_after": found.cases_after,
    }
    days = sum(one["foot_days_before"] for one in told["strata"])
    assert days == pytest.approx(found.days_before, abs=len(told["strata"]))
    assert total["cases_before"] > 10
    assert (told["rounds_before_days"], told["rounds_after_days"]) == (14, 14)
    assert (told["kind"], told["quarter"], told["other_changes"]) == ("height", "2026-Q1", 0)


def test_small_classes_are_joined(records):
    (told,) = summary.counted(records, NUMBER)["changes"]
    assert [one["weight"] for one in told["strata"]] == ["bantam+light", "heavy", "very heavy"]


def test_fewer_than_five_birds_give_nothing():
    few = simulated(birds=4, rate=0.003)
    assert summary.counted(few, NUMBER)["changes"] == []
    five = simulated(birds=5, rate=0.003)
    (told,) = summary.counted(five, NUMBER)["changes"]
    assert [one["weight"] for one in told["strata"]] == ["not known"]


def test_a_chosen_period_is_not_used(records):
    """Somebody may have chosen the one that fitted best."""
    plain = summary.counted(records, NUMBER)
    row = records.changes[0]
    house = records.houses[row.house].key
    chosen = dataclasses.replace(records, choices=[Chosen(house, row.day, 100, 30, row.day - 200)])
    assert summary.counted(chosen, NUMBER) == plain


def test_each_kind_of_change_has_its_word():
    for kind in ChangeKind:
        if kind != ChangeKind.FOUND:
            assert summary._KIND_OF[kind.label] == kind.value
    assert set(summary.KINDS) == set(summary._KIND_OF.values())


@pytest.mark.parametrize(
    ("day", "quarter"),
    [("2025-01-01", 1), ("2025-03-31", 1), ("2025-04-01", 2), ("2025-09-30", 3), ("2025-12-31", 4)],
)
def test_a_quarter_is_the_finest_time(day, quarter):
    assert summary._quarter(dt.date.fromisoformat(day)) == f"2025-Q{quarter}"


@pytest.mark.parametrize(
    ("birds", "band"),
    [
        (0, "under 10"),
        (9, "under 10"),
        (10, "10-19"),
        (39, "20-39"),
        (60, "40-60"),
        (61, "over 60"),
    ],
)
def test_size_is_a_band(birds, band):
    assert summary._band(birds) == band


# From a flock in the database


@pytest.fixture
def yard(cast):
    birds, houses = fill(cast.flock, birds=12, keeper=cast.keeper)
    for bird in birds:
        bird.name, bird.traits = f"Wilhelmina {bird.name}", "limpet toe"
        bird.save()
    for house, name in zip(houses, ("Zinnia Lodge", "Quince Court"), strict=True):
        house.name, house.note = name, "behind the vicarage"
        house.save()
    HousingChange.objects.create(
        flock=cast.flock, house=houses[0], on=CHANGED, note="by Xavier with the yellow saw"
    )
    cast.flock.name, cast.flock.time_zone = "Thistledown", "Pacific/Auckland"
    cast.flock.save()
    return cast


@pytest.mark.django_db
def test_nothing_in_it_names_anybody(yard):
    text = summary.summary_of(yard.flock)
    assert json.loads(text)["changes"][0]["kind"] == "height"
    private = ["Wilhelmina", "Hen 0", "limpet", "Zinnia", "Quince", "vicarage", "Xavier", "saw"]
    private += ["Thistledown", "Auckland", "Roost", "Sussex", "120", "3000", str(yard.flock.pk)]
    private += [yard.flock.pk.hex, yard.keeper.name, yard.owner.name, "2024-03"]
    # The number of the flock and the sum are hashes, in which any digits may stand.
    said = json.loads(text)
    text = text.replace(said["flock"], "").replace(said["sum"], "")
    assert [word for word in private if word.lower() in text.lower()] == []
    # A quarter is the finest time in it.
    assert re.findall(r"20\d\d\S*", text) == ['2025-Q2",']
    known = {"format", "version", "flock", "birds", "changes", "sum", "weight"}
    known |= set(pooling.Change._fields) | set(pooling.Stratum._fields)
    assert set(re.findall(r'"(\w+)":', text)) == known


@pytest.mark.django_db
def test_its_number_is_the_same_each_time_and_hangs_on_a_secret(yard, settings):
    def number():
        return json.loads(summary.summary_of(yard.flock))["flock"]

    first = number()
    assert number() == first
    settings.SECRET_KEY = "another one"
    assert number() != first


@pytest.mark.django_db
def test_from_the_app_and_from_the_command_the_same(yard, tmp_path):
    url = reverse("trends:summary", args=[yard.flock.pk])
    assert seen(yard, url) == FORM_PAGE
    answer = yard.clients.keeper.get(url)
    assert answer["Content-Disposition"] == 'attachment; filename="flock-summary.json"'
    path = tmp_path / "one.json"
    call_command("trends", flock="Thistledown", summary=path)
    assert path.read_bytes() == answer.content
    assert pooling.read(path).changes[0].quarter == "2025-Q2"
    link = yard.clients.keeper.get(reverse("exchange:overview", args=[yard.flock.pk]))
    assert url in link.content.decode()
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("trends", flock="Thistledown", summary=tmp_path)
