"""What it takes to sort 500 old photos into groups, and what a card costs at the upload.

    .venv/bin/python tests/bench/sorting.py        about a minute

Groups: from the records in the database, with the cards that name others and the photos that look
the same, as a ratio to sorting a list of the same records by their time; then the whole page
inside Django (test client, no network), as a ratio to a view that renders an empty template.
Upload: a 12-megapixel JPEG through the whole intake, with the look for a card, as a ratio to the
intake without it; and the worst that was found to look through, a picture of nothing but small
squares, next to the same look in the original. Medians of turns in one run.
"""

import argparse
import datetime as dt
import io
import os
import random
import statistics
import sys
import tempfile
import time
import uuid
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.intake import paint
from tests.bench.pages import bare_url, set_up

PHOTOS = 500
ALLOWED_SECONDS = 2.0


def median_of_turns(turns: int, **works) -> dict[str, float]:
    """Seconds of each, measured in turns after one that warms up."""
    times = {name: [] for name in works}
    for turn in range(turns + 1):
        for name, work in works.items():
            start = time.perf_counter()
            work()
            if turn:
                times[name].append(time.perf_counter() - start)
    return {name: statistics.median(seconds) for name, seconds in times.items()}


def shoebox(flock, bird) -> None:
    """Sessions of one to fifteen photos, each tenth photo one of a card, some twins, some vague."""
    from flockcare.feet.models import SortingNote
    from flockcare.photos.models import Photo

    lot = random.Random(4)
    taken = dt.datetime(2019, 1, 1, tzinfo=dt.UTC)
    photos = []
    for number in range(PHOTOS):
        taken += dt.timedelta(minutes=lot.choice([1, 1, 2, 3, 5, 60, 20_000]))
        vague = number % 9 == 0
        photos.append(
            Photo(
                flock=flock,
                taken=None if vague else taken,
                taken_precision="unknown" if vague else "moment",
                taken_source="" if vague else "camera",
                width=4000,
                height=3000,
                stored_bytes=1,
                sha256=f"{number:064x}",
                look_hash=photos[-1].look_hash ^ 1 if number % 50 == 1 else lot.getrandbits(63),
                bird=bird if number % 10 == 5 else None,
            )
        )
    Photo.objects.bulk_create(photos)
    SortingNote.objects.bulk_create(
        SortingNote(photo=photo, card_bird=bird) for photo in photos if photo.bird
    )


def groups(turns: int) -> None:
    from django.test import Client
    from django.urls import reverse

    from flockcare.birds.models import Bird
    from flockcare.feet.sorting import loose
    from flockcare.feet.sorting_page import alike_among, group_photos, sort_page
    from flockcare.people.services import add_keeper, start_flock
    from flockcare.photos.grouping import cards_and_followers

    bare = bare_url()
    keeper = add_keeper(name="Ros", sign_in_name="ros", password=str(uuid.uuid4()))
    flock = start_flock(owner=keeper, name="Hill Flock", time_zone="UTC", units="metric")
    bird = Bird.objects.create(flock=flock, name="Dill")
    shoebox(flock, bird)
    photos = list(loose(flock).select_related("bird", "sorting__card_bird"))
    by_key = {photo.pk: photo for photo in photos}
    end = dt.datetime.max.replace(tzinfo=dt.UTC)
    client = Client()
    client.force_login(keeper)
    url = reverse("feet:sort", args=[flock.pk])

    def into_groups():
        for group in group_photos(photos):
            cards_and_followers(group.shots)

    seconds = median_of_turns(
        turns,
        sorted=lambda: sorted(photos, key=lambda photo: photo.taken or end),
        groups=into_groups,
        alike=lambda: alike_among(flock, by_key),
        page=lambda: sort_page(flock, show="unnamed", newest_first=False, number=1),
        bare=lambda: client.get(bare),
        answer=lambda: client.get(url),
    )
    found = group_photos(photos)
    print(f"{len(photos)} photos in {len(found)} groups, medians of {turns} turns")
    rows = {
        "groups and cards": ("groups", "sorted", "a plain sort"),
        "photos that look the same": ("alike", "sorted", "a plain sort"),
        "all of it, with its queries": ("page", "sorted", "a plain sort"),
        "the whole page": ("answer", "bare", "an empty page"),
    }
    for words, (name, base, base_words) in rows.items():
        ratio = seconds[name] / seconds[base]
        print(f"  {words:30}{seconds[name] * 1000:8.1f} ms {ratio:8.1f} × {base_words}")
    assert seconds["answer"] <= ALLOWED_SECONDS


def uploads(turns: int) -> None:
    from flockcare.photos import cards
    from flockcare.photos.intake import take_in
    from flockcare.photos.services import card_code

    plain = paint(4000, 3000)
    with_card = plain.copy()
    drawn = cards.render_card(str(uuid.uuid4()), dpi=450).convert("RGB")
    with_card.paste(drawn, (900, 700))
    print("12 MP JPEG, intake and the look for a card")
    for name, picture in {"no card in it": plain, "a card in it": with_card}.items():
        file = io.BytesIO()
        picture.save(file, "JPEG", quality=90)
        taken = take_in(file, "IMG.jpg")
        seconds = median_of_turns(
            turns,
            intake=lambda file=file: take_in(file, "IMG.jpg"),
            card=lambda taken=taken: card_code(taken),
        )
        assert bool(card_code(taken)) == (name == "a card in it")
        whole = seconds["intake"] + seconds["card"]
        print(
            f"  {name:16} intake {seconds['intake']:.2f} s, card {seconds['card']:.2f} s, "
            f"together {whole / seconds['intake']:.2f} × intake alone"
        )


def worst_to_look_through(turns: int) -> None:
    import numpy as np
    from PIL import Image

    from flockcare.photos.intake import take_in
    from flockcare.photos.scale import read_card
    from flockcare.photos.services import card_code

    cells = np.random.default_rng(1).integers(0, 2, (300, 400), dtype=np.uint8) * 255
    squares = Image.fromarray(cells).resize((4000, 3000), Image.Resampling.NEAREST)
    file = io.BytesIO()
    squares.save(file, "JPEG", quality=90)
    taken = take_in(file, "IMG.jpg")
    seconds = median_of_turns(
        turns, reduced=lambda: card_code(taken), original=lambda: read_card(squares)
    )
    ratio = seconds["reduced"] / seconds["original"]
    print(
        f"  nothing but squares: reduced {seconds['reduced']:.2f} s, "
        f"original {seconds['original']:.2f} s, ratio {ratio:.2f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--turns", type=int, default=9)
    turns = parser.parse_args().turns
    with tempfile.TemporaryDirectory() as folder:
        os.environ["FLOCKCARE_DATA"] = folder
        set_up(Path(folder))
        groups(turns)
        uploads(turns)
        worst_to_look_through(turns=2)


if __name__ == "__main__":
    main()
