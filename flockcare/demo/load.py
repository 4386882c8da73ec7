"""Fills an empty demo installation: three keepers, and the flock through the records exchange."""

import datetime as dt
import hashlib
import json
from collections.abc import Callable
from functools import partial
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.demo import photos
from flockcare.demo.folder import write_records
from flockcare.demo.model import live
from flockcare.demo.photos import TRUTH, write_photos
from flockcare.exchange import services as exchange
from flockcare.people.deletion import delete_flock
from flockcare.people.models import Flock, Keeper, Membership, Role
from flockcare.people.services import add_keeper, start_flock
from flockcare.photos import measuring
from flockcare.photos.cards import SPAN
from flockcare.photos.measuring import card_code
from flockcare.photos.models import Photo
from flockcare.photos.outline import NoOutline
from flockcare.photos.prints import save_print
from flockcare.photos.scale import CannotMeasure

FLOCK = "Thistle Yard"
TIME_ZONE = "Europe/London"
KEEPERS = (("Ros", Role.OWNER), ("Ted", Role.KEEPER), ("Ines", Role.KEEPER))


class NotADemo(Exception):
    """This installation is not for the demo, or somebody uses it for a flock of their own."""


def _silent(step: str, done: int = 0, of: int = 0) -> None:
    pass


def load_demo(today: dt.date, *, tell: Callable[..., None] = _silent) -> Flock:
    """The demo flock, made if it is not there, with a history that ends on ``today``.

    Its records, photos and their truth stay in the folder "demo-records" of the data folder. One
    that was cut off half way is made anew. ``tell``: called with what is being done and, where it
    is counted, how many are done of how many. Raises NotADemo.
    """
    _refuse_elsewhere()
    flock = Flock.objects.filter(name=FLOCK).first()
    if flock and Photo.objects.filter(flock=flock).exists():
        return flock
    _clear(flock)
    flock = _keepers_and_flock()
    history, folder = live(today), settings.DATA_DIR / "demo-records"
    now = dt.datetime.combine(today, dt.time(21), tzinfo=flock.zone)
    (folder / "photos.csv").unlink(missing_ok=True)
    tell("Three years of records")
    write_records(history, folder)
    _bring_in(folder, flock, now)
    # The cards on the photos carry the keys that the birds have just been given.
    codes = {bird.name: card_code(bird) for bird in Bird.objects.filter(flock=flock)}
    painting = partial(tell, "Painting photos")
    write_photos(history, folder, codes, photos=photos.PHOTOS, tell=painting)
    tell("Saving the photos")
    _bring_in(folder, flock, now, "photos.csv")
    _measure(folder, flock, tell=partial(tell, "Measuring photos"))
    return flock


def _refuse_elsewhere() -> None:
    if not settings.DEMO:
        raise NotADemo("The demo flock belongs in a demo installation: set FLOCKCARE_DEMO=1.")
    names = {name.lower() for name, _ in KEEPERS}
    if Keeper.objects.exclude(sign_in_name__in=names).exists():
        raise NotADemo("Somebody else signs in here, so the demo flock is not put beside them.")


@transaction.atomic
def _keepers_and_flock() -> Flock:
    keepers = [
        Keeper.objects.filter(sign_in_name=name.lower()).first()
        or add_keeper(name=name, sign_in_name=name.lower(), password=settings.DEMO_PASSWORD)
        for name, _ in KEEPERS
    ]
    flock = start_flock(owner=keepers[0], name=FLOCK, time_zone=TIME_ZONE, units="metric")
    for keeper, (_, role) in zip(keepers[1:], KEEPERS[1:], strict=True):
        Membership.objects.create(flock=flock, keeper=keeper, role=role)
    return flock


def _bring_in(folder: Path, flock: Flock, now: dt.datetime, *names: str) -> None:
    """All of the folder, or the files of these names; the others are in the flock by then."""
    tables = exchange.read_folder(folder)
    if names:
        tables.rows = {name: tables.rows[name] for name in names}
    exchange.apply(exchange.check(tables, flock, now=now))


def _measure(folder: Path, flock: Flock, *, tell: Callable[..., None]) -> None:
    """Measure the photos with a card in them as a keeper does: a tap on the middle of the sore.

    Nothing is taken from the truth but where to tap, so the areas are off as they would be.
    """
    # What is painted is as large as it says.
    across, down = SPAN
    first = Photo.objects.filter(flock=flock).order_by("taken").first()
    if first:
        save_print(
            flock=flock,
            keeper=first.keeper,
            on=timezone.localdate(first.taken, flock.zone),
            across_mm=across,
            down_mm=down,
        )
    by_hash = {photo.sha256: photo for photo in Photo.objects.filter(flock=flock)}
    facts = [fact for fact in json.loads((folder / TRUTH).read_text()) if fact["card"]]
    for number, fact in enumerate(facts):
        tell(number, len(facts))
        file = (folder / fact["file"]).read_bytes()
        photo = by_hash[hashlib.sha256(file).hexdigest()]
        try:
            scale = measuring.card_scale(measuring.card_reading(photo), height_mm=0)
            found = measuring.suggest(photo, fact["middle_px"], scale)
            if found.doubt:
                continue
            measuring.measure(
                photo=photo,
                keeper=photo.keeper,
                scale=scale,
                outline=found.outline,
                spread=found.spread,
                now=photo.taken,
            )
        except (CannotMeasure, NoOutline):
            continue


def _clear(flock: Flock | None) -> None:
    if flock:
        delete_flock(flock=flock)
