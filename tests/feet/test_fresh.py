"""Lists that keep themselves fresh while other keepers record, cheaply."""

import json
import re
import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.care.models import CareStep
from flockcare.care.services import claim, log_step
from flockcare.feet import services
from flockcare.feet.models import FootFinding, Round
from flockcare.pages.leaving import leave_flock
from flockcare.people.models import Flock
from flockcare.people.services import change_flock
from tests.care.steps import ago

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}
# The session, the keeper, their place in the flock, and the tag.
ASKED_WHEN_NOTHING_CHANGED = 4


@pytest.fixture
def pages(cast, birds):
    """The addresses of the pieces by name."""
    of_flock = {"today": "today", "round": "feet:round", "list": "care:list"}
    of_flock |= {"panel": "care:today_panel"}
    found = {name: reverse(view, args=[cast.flock.pk]) for name, view in of_flock.items()}
    return found | {"bird": reverse("care:bird", args=[cast.flock.pk, birds["Dill"].pk])}


PIECES = ("today", "round", "list", "panel", "bird")


def piece(cast, url, **headers):
    return cast.clients.owner.get(url, headers={**HTMX, **headers})


def known(cast, url, tag: str):
    """The answer to a piece that shows what ``tag`` names."""
    return piece(cast, url, **{"If-None-Match": tag})


def tag_in(answer) -> str:
    """The tag that the piece will name when it asks again, with its quotes."""
    headers = re.search(r"hx-headers='(.*?)'", answer.content.decode())[1]
    return json.loads(headers)["If-None-Match"]


@pytest.mark.parametrize("name", PIECES)
def test_what_is_shown_already_is_not_sent_again(cast, pages, name):
    first = piece(cast, pages[name])
    assert first.status_code == 200
    assert b"<html" not in first.content
    assert tag_in(first) == first.headers["ETag"]
    with CaptureQueriesContext(
        connection,
    ) as queries:
        answer = known(cast, pages[name], tag_in(first))
    assert (answer.status_code, answer.content) == (304, b"")
    assert len(queries) == ASKED_WHEN_NOTHING_CHANGED + (name == "bird")
    # To another keeper it may read otherwise.
    other = cast.clients.viewer.get(pages[name], headers={**HTMX, "If-None-Match": tag_in(first)})
    assert other.status_code == 200


@pytest.mark.parametrize("name", PIECES)
def test_the_page_itself_asks_and_comes_whole_without_script(cast, pages, name):
    page = cast.clients.owner.get(pages[name], follow=True)
    assert b"<html" in page.content
    if name not in ("panel", "bird"):
        assert b'hx-trigger="every' in page.content


def save(cast, bird, *, at=None, score=0):
    return services.save_check(
        flock=cast.flock,
        bird=bird,
        keeper=cast.keeper,
        check_id=uuid.uuid4(),
        at=at or timezone.now(),
        seen=services.Seen([FootFinding(foot="left", score=score)]),
    )[0]


def step_of(cast, bird, **more):
    step = CareStep(flock=cast.flock, bird=bird, foot="left", kind="soaked", at=timezone.now())
    for field, value in more.items():
        setattr(step, field, value)
    return log_step(step=step)[0]


def a_check(cast, birds):
    save(cast, birds["Mace"])


def a_late_check(cast, birds):
    """It waited in a phone's outbox since last year."""
    save(cast, birds["Mace"], at=ago(400))


def a_check_taken_back(cast, birds):
    services.delete_check(check=save(cast, birds["Mace"]), keeper=cast.keeper)


def a_bird_more(cast, birds):
    Bird.objects.create(flock=cast.flock, name="Lovage")


def a_bird_less(cast, birds):
    birds["Mace"].left, birds["Mace"].left_reason = "2026", "died"
    leave_flock(bird=birds["Mace"], by=cast.keeper)


def other_days_between_rounds(cast, birds):
    flock = Flock.objects.get(pk=cast.flock.pk)
    flock.round_days = 3
    change_flock(flock=flock, by=cast.owner)


def a_round_begun(cast, birds):
    services.start_round(flock=cast.flock, keeper=cast.keeper, bird_ids=[birds["Dill"].pk])


EVENTS = (
    *(a_check, a_late_check, a_check_taken_back, a_bird_more, a_bird_less),
    *(other_days_between_rounds, a_round_begun),
)


@pytest.mark.parametrize("event", EVENTS)
def test_what_another_keeper_does_is_shown_at_the_next_look(cast, birds, pages, event):
    before = tag_in(piece(cast, pages["today"]))
    event(cast, birds)
    after = known(cast, pages["today"], before)
    assert after.status_code == 200
    assert tag_in(after) != before


def test_what_happens_in_a_round_is_shown(cast, birds, pages):
    bird_ids = [birds["Dill"].pk, birds["Mace"].pk]
    round_ = services.start_round(flock=cast.flock, keeper=cast.keeper, bird_ids=bird_ids)
    tags = [tag_in(piece(cast, pages["round"]))]

    def shown(words, gone="No round is on"):
        answer = known(cast, pages["round"], tags[-1])
        said = answer.content.decode()
        assert words in said and gone not in said
        tags.append(tag_in(answer))

    place = services.take_next_bird(round_=round_, keeper=cast.keeper)
    shown("with Keeper")
    # Held too long ago, she waits again, though nobody did anything.
    held = timezone.now() - services.HOLD - timedelta(minutes=1)
    type(place).objects.filter(pk=place.pk).update(held_at=held)
    shown("Dill", gone="with Keeper")
    save(cast, birds["Dill"])
    shown("✓ checked")
    round_.birds.create(bird=birds["Sorrel"], place=2)
    shown("Sorrel")
    birds["Sorrel"].left, birds["Sorrel"].left_reason = "2026", "died"
    leave_flock(bird=birds["Sorrel"], by=cast.keeper)
    shown("left the flock")
    services.end_round(round_=Round.objects.get(pk=round_.pk))
    shown("No round is on", gone="Dill")


@pytest.mark.parametrize("name", ("list", "panel", "bird"))
def test_care_that_another_keeper_logs_or_takes_on_is_shown(cast, birds, pages, name):
    before = tag_in(piece(cast, pages[name]))
    step = step_of(cast, birds["Dill"], next_due=timezone.localdate())
    after = known(cast, pages[name], before)
    # Her own page says what is due of her; what was given stands on its timeline.
    assert "soaked" in after.content.decode() or (name == "bird" and "due-line" in after.text)
    claim(step=step, by=cast.keeper)
    again = known(cast, pages[name], tag_in(after))
    assert "Keeper" in again.content.decode()
