"""The round: resumable, shared by two keepers, nobody looked at twice, nobody left out."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from flockcare.feet import services
from flockcare.feet.models import FootFinding, Round, RoundBird
from flockcare.pages.leaving import came_back, leave_flock

pytestmark = pytest.mark.django_db


def both_clear(cast, bird, keeper, at=None):
    return services.save_check(
        flock=cast.flock,
        bird=bird,
        keeper=keeper,
        check_id=uuid.uuid4(),
        at=at or timezone.now(),
        seen=services.Seen([FootFinding(foot=foot, score=0) for foot in ("left", "right")]),
    )[0]


@pytest.fixture
def round_(cast, birds):
    return services.start_round(
        flock=cast.flock,
        keeper=cast.owner,
        bird_ids=[bird.pk for bird in sorted(birds.values(), key=str)],
    )


def test_two_keepers_are_never_given_the_same_bird(cast, round_):
    mine = services.take_next_bird(round_=round_, keeper=cast.owner)
    yours = services.take_next_bird(round_=round_, keeper=cast.keeper)
    assert mine.bird != yours.bird
    both_clear(cast, mine.bird, cast.owner)
    both_clear(cast, yours.bird, cast.keeper)
    last = services.take_next_bird(round_=round_, keeper=cast.owner)
    assert last.bird not in (mine.bird, yours.bird)
    assert services.take_next_bird(round_=round_, keeper=cast.keeper) is None


def test_it_goes_on_where_it_stopped(cast, round_):
    first = services.take_next_bird(round_=round_, keeper=cast.owner)
    assert services.take_next_bird(round_=round_, keeper=cast.owner) == first


def test_a_bird_left_in_somebodys_hands_is_offered_again(cast, round_):
    now = timezone.now()
    taken = services.take_next_bird(round_=round_, keeper=cast.owner, now=now)
    later = now + services.HOLD + timedelta(seconds=1)
    assert services.take_next_bird(round_=round_, keeper=cast.keeper, now=later) == taken


def test_a_check_made_outside_the_round_counts_for_it(cast, birds, round_):
    both_clear(cast, birds["Mace"], cast.keeper)
    assert RoundBird.objects.get(bird=birds["Mace"]).check_record is not None


def test_the_round_ends_with_its_last_bird(cast, birds, round_):
    both_clear(cast, birds["Mace"], cast.keeper)
    both_clear(cast, birds["Dill"], cast.keeper)
    assert services.open_round(cast.flock) == round_
    services.pass_over(place=RoundBird.objects.get(bird=birds["Sorrel"]))
    assert services.open_round(cast.flock) is None


def leaves(bird, keeper):
    bird.left, bird.left_reason = timezone.localdate().isoformat(), "died"
    leave_flock(bird=bird, by=keeper)


def test_a_bird_that_left_is_offered_to_nobody(cast, birds, round_):
    held = services.take_next_bird(round_=round_, keeper=cast.keeper)
    leaves(held.bird, cast.keeper)
    offered = services.take_next_bird(round_=round_, keeper=cast.keeper)
    assert offered.bird != held.bird
    page = cast.clients.keeper.get(reverse("feet:round", args=[cast.flock.pk])).text
    assert "1 of 3 done." in page
    assert "left the flock" in page


def test_the_round_waits_for_no_bird_that_left(cast, birds, round_):
    both_clear(cast, birds["Mace"], cast.keeper)
    both_clear(cast, birds["Dill"], cast.keeper)
    leaves(birds["Sorrel"], cast.keeper)
    assert services.open_round(cast.flock) is None


def test_a_bird_that_came_back_is_offered_again(cast, birds, round_):
    leaves(birds["Dill"], cast.keeper)
    came_back(bird=birds["Dill"], by=cast.keeper)
    assert services.take_next_bird(round_=round_, keeper=cast.keeper).bird == birds["Dill"]


def test_starting_twice_joins_the_open_round(cast, birds, round_):
    again = services.start_round(flock=cast.flock, keeper=cast.keeper, bird_ids=[birds["Dill"].pk])
    assert again == round_
    assert Round.objects.count() == 1


def test_the_pages_walk_from_bird_to_bird(cast, birds):
    client = cast.clients.keeper

    def url(name, *args):
        return reverse(f"feet:{name}", args=[cast.flock.pk, *args])

    answer = client.post(reverse("pages:round_start", args=[cast.flock.pk]), follow=True)
    seen = []
    while "check" in answer.request["PATH_INFO"]:
        seen.append(answer.context["bird"].name)
        assert f"{len(seen)} of 3 on the round" in answer.text
        said = {
            "check_id": str(uuid.uuid4()),
            "at": timezone.localtime(timezone.now()).strftime("%Y-%m-%dT%H:%M"),
            "verdict": "both clear",
        }
        answer = client.post(answer.request["PATH_INFO"] + "?round", said, follow=True)
    assert sorted(seen) == ["Dill", "Mace", "Sorrel"]
    assert "The round is finished." in answer.content.decode()
    assert "Skipped" not in answer.text


def test_the_end_of_a_round_names_who_was_skipped(cast, birds, round_):
    services.pass_over(place=RoundBird.objects.get(bird=birds["Sorrel"]))
    both_clear(cast, birds["Mace"], cast.keeper)
    dill = reverse("feet:round_pass", args=[cast.flock.pk, birds["Dill"].pk])
    answer = cast.clients.keeper.post(dill, follow=True)
    places = RoundBird.objects.filter(passed_over=True)
    names = ", ".join(places.values_list("bird__name", flat=True))
    assert f"The round is finished. Skipped, still due: {names}." in answer.text
    assert "Mace" not in names and "Sorrel" in names


def test_only_those_due_are_walked_through(cast, birds):
    both_clear(cast, birds["Mace"], cast.keeper)
    cast.clients.keeper.post(reverse("pages:round_start", args=[cast.flock.pk]))
    walked = RoundBird.objects.values_list("bird__name", flat=True)
    assert sorted(walked) == ["Dill", "Sorrel"]


def test_who_has_whom_is_shown_to_the_others(cast, round_):
    taken = services.take_next_bird(round_=round_, keeper=cast.owner)
    page = cast.clients.keeper.get(reverse("feet:round", args=[cast.flock.pk])).content.decode()
    assert "with Owner" in page
    assert str(taken.bird) in page


def test_viewers_and_strangers(cast, birds, round_):
    for name, args in (
        ("pages:round_start", []),
        ("feet:round_next", []),
        ("feet:round_end", []),
        ("feet:round_pass", [birds["Dill"].pk]),
    ):
        url = reverse(name, args=[cast.flock.pk, *args])
        assert cast.clients.viewer.post(url).status_code == 403
        assert cast.clients.stranger.post(url).status_code == 404
    assert services.open_round(cast.flock) == round_
