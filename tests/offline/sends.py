"""What a phone's outbox sends, for the tests of what answers it."""

import io
import json
import uuid
from datetime import UTC, datetime, timedelta

from django.urls import reverse
from django.utils import timezone
from PIL import Image

CLEAR = [("verdict", "both clear")]
SORE = [
    ("left-score", "1"),
    ("left-sites", "main"),
    ("left-sites", "toe III"),
    ("left-scab", "brown"),
    ("right-score", "0"),
    ("note", "Limps."),
]


def picture(colour="tan", size=(640, 480), **save) -> io.BytesIO:
    stream = io.BytesIO()
    Image.new("RGB", size, colour).save(stream, "JPEG", **save)
    stream.seek(0)
    stream.name = "foot.jpg"
    return stream


def local(flock, *, days_ago=0.0) -> str:
    """A moment as the form's field for date and time gives it."""
    moment = timezone.now().astimezone(flock.zone) - timedelta(days=days_ago)
    return moment.strftime("%Y-%m-%dT%H:%M")


def body(flock, bird, keeper, *said, kind="check", at=None, clock=None) -> dict:
    return {
        "format": 1,
        "kind": kind,
        "bird": str(bird.pk),
        "keeper": str(keeper.pk),
        "made": datetime.now(UTC).isoformat(),
        "clock": (clock or datetime.now(UTC)).isoformat(),
        "fields": [["at", at or local(flock)], *map(list, said)],
    }


def send(client, flock, what: dict, key=None):
    key = key or uuid.uuid4()
    address = reverse("offline:record", args=[flock.pk, key])
    return client.post(address, json.dumps(what), content_type="application/json")


def send_photo(client, flock, record, keeper, upload=None, *, key=None, kind="check", foot="left"):
    address = reverse("offline:photo", args=[flock.pk, key or uuid.uuid4()])
    said = {"kind": kind, "record": str(record), "foot": foot, "keeper": str(keeper.pk)}
    return client.post(address, {**said, "photo": upload or picture()})
