"""What a phone keeps to read without signal says what the pages say."""

import json
import re
import uuid
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from flockcare.birds.models import Bird
from flockcare.care.models import CareStep
from flockcare.care.services import give_again, give_to_all, log_step
from flockcare.photos.models import Foot, Photo
from flockcare.photos.services import add_photo
from tests.care.steps import ago
from tests.offline.sends import CLEAR, SORE, body, picture, send

pytestmark = pytest.mark.django_db


def address(cast) -> str:
    return reverse("offline:birds", args=[cast.flock.pk])


def kept(cast) -> dict:
    return cast.clients.keeper.get(address(cast)).json()


def words(html: str) -> str:
    return " ".join(strip_tags(html).split())


def row_of(html: str, name: str) -> str:
    return next(
        words(row.split("</li>")[0])
        for row in html.split("<li")
        if f"<strong>{name}</strong>" in row
    )


@pytest.fixture
def troubled(cast, birds):
    """Dill is sore, soaked, and due again today by Owner; her eggs are withheld. Mace is clear."""
    send(cast.clients.keeper, cast.flock, body(cast.flock, birds["Dill"], cast.keeper, *SORE))
    send(cast.clients.keeper, cast.flock, body(cast.flock, birds["Mace"], cast.keeper, *CLEAR))
    now = timezone.now()
    step = CareStep(
        flock=cast.flock,
        bird=birds["Dill"],
        keeper=cast.owner,
        foot=Foot.LEFT,
        kind="soaked",
        at=now - timedelta(hours=1),
        next_due=timezone.localdate(now),
        claimed_by=cast.owner,
    )
    log_step(step=step, photos=[], now=now)
    return birds


def photo(cast, bird, colour, **more) -> Photo:
    upload = SimpleUploadedFile(f"{colour}.jpg", picture(colour).read())
    made, _ = add_photo(flock=cast.flock, keeper=cast.keeper, upload=upload, name=upload.name)
    Photo.objects.filter(pk=made.pk).update(bird=bird, **more)
    return made


def test_today_says_the_rows_of_today(cast, troubled):
    said, page = kept(cast), cast.clients.viewer.get(reverse("today", args=[cast.flock.pk])).text
    hers = row_of(said["today"], "Dill")
    # A viewer's row; what is due stands below it, with its buttons.
    stands, _, due = row_of(page, "Dill").partition(" Next: ")
    assert hers.startswith(stands)
    assert due == "left foot: soak today (Owner)"
    for part in (
        "Left foot: mild, sore since",
        "Soak Owner will do it Done: Dill, left foot: soak",
    ):
        assert part in hers
    assert words(said["today"]).startswith("Due tonight: Dill.")
    assert row_of(said["today"], "Sorrel") == row_of(page, "Sorrel")
    assert "<strong>Mace" not in said["today"]
    assert "Check a bird" in said["today"]


def test_a_bird_and_the_list_say_what_their_pages_say(cast, troubled):
    said = kept(cast)
    dill = next(hen for hen in said["birds"] if hen["name"] == "Dill")
    page = cast.clients.viewer.get(troubled["Dill"].get_absolute_url()).text
    stands = r'<div class="standing">(.+?)\n</div>'
    hers = words(re.search(stands, dill["html"], re.DOTALL)[1])
    assert hers == words(re.search(stands, page, re.DOTALL)[1])
    assert "soak today (Owner)" in hers
    for name, keys in (
        ("check_bird", "Check her"),
        ("care:step_new", "Log care"),
        ("birds:weighings", "Log a weight"),
    ):
        leads = reverse(name, args=[cast.flock.pk, troubled["Dill"].pk])
        assert re.search(rf'href="{leads}">{keys}</a>', dill["html"])
    listed = cast.clients.viewer.get(reverse("birds", args=[cast.flock.pk])).text
    for name in troubled:
        assert row_of(said["list"], name) == row_of(listed, name)
    assert [hen["name"] for hen in said["birds"]] == ["Dill", "Sorrel", "Mace"]


def test_no_part_of_it_holds_a_token_or_asks_the_server(cast, troubled):
    text = json.dumps(kept(cast))
    assert not re.search(r"csrf|hx-|<form|<button(?! type=.{1,2}button)|<script", text)


def test_the_last_photo_of_each_foot_and_no_other(cast, troubled):
    day = timezone.now()
    old, new = (
        photo(cast, troubled["Dill"], colour, foot="left", taken=day - timedelta(days=days))
        for colour, days in (("tan", 9), ("peru", 2))
    )
    undated = photo(cast, troubled["Dill"], "olive", foot="left", taken=None)
    right = photo(cast, troubled["Dill"], "teal", foot="right", taken=None)
    whole = photo(cast, troubled["Dill"], "plum", foot="")
    said = kept(cast)
    found = [address.split("/")[-2] for address in said["pictures"]]
    assert sorted(found) == sorted([str(new.pk), str(right.pk)])
    assert not {str(old.pk), str(undated.pk), str(whole.pk)} & set(found)
    dill = next(hen for hen in said["birds"] if hen["name"] == "Dill")
    assert all(f'src="{address}"' in dill["html"] for address in said["pictures"])
    assert re.search(r"<figcaption>Left foot, \d+ \w+ \d{4}", dill["html"])
    answer = cast.clients.keeper.get(said["pictures"][0])
    assert len(answer.getvalue()) < 30_000


def test_nothing_is_sent_again_while_nothing_changes(cast, troubled):
    client = cast.clients.keeper
    first = client.get(address(cast))
    assert "no-store" in first.headers["Cache-Control"]
    tag = {"If-None-Match": first.headers["ETag"]}
    with CaptureQueriesContext(connection) as queries:
        again = client.get(address(cast), headers=tag)
    assert (again.status_code, again.content) == (304, b"")
    # Who asks, of which flock, whether it still holds, and whether a round is on.
    assert len(queries) <= 5
    # Another keeper's phone has another tag: its list says whose it is.
    assert cast.clients.owner.get(address(cast), headers=tag).status_code == 200
    for change in (
        lambda: send(client, cast.flock, body(cast.flock, troubled["Mace"], cast.keeper, *SORE)),
        lambda: photo(cast, Bird.objects.get(name="Mace"), "navy", foot="left", taken=None),
        lambda: type(cast.flock).objects.filter(pk=cast.flock.pk).update(name="Dale Flock"),
    ):
        change()
        answer = client.get(address(cast), headers=tag)
        assert answer.status_code == 200
        assert answer.headers["ETag"] != tag["If-None-Match"]
        tag = {"If-None-Match": answer.headers["ETag"]}
    assert answer.json()["flock"]["name"] == "Dale Flock"


def test_it_is_packed(cast, troubled):
    answer = cast.clients.keeper.get(address(cast), headers={"Accept-Encoding": "gzip"})
    assert answer.headers["Content-Encoding"] == "gzip"
    assert answer.headers["ETag"].startswith("W/")


def test_a_medicine_for_a_whole_house_is_told_without_signal(cast, birds):
    said = {"product": "Drops", "quantity": "5 ml in 10 l", "given_to": "the whole flock"}
    at, until = ago(1), timezone.localdate() + timedelta(3)
    like = CareStep(flock=cast.flock, keeper=cast.keeper, kind="medicine", at=at, **said)
    like.given_until = until
    give_to_all(like=like, birds=[birds["Dill"]], given_to=like.given_to, key=uuid.uuid4())
    told = words(kept(cast)["today"])
    assert told.count("Medicine for the whole flock: Drops, day 2 of 5") == 1
    assert "5 ml in 10 l" in told
    give_again(step=CareStep.objects.get(), by=cast.keeper)
    assert "day 2 of 5" not in words(kept(cast)["today"])
