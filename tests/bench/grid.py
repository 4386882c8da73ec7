"""What the pages cost on the embedded default, by age and size of the flock; JSON for all.py.

    .venv/bin/python tests/bench/grid.py FILE [--short]

A row for each page, years and birds: queries, and medians in milliseconds of processor time and on
the clock, with those of an empty page for the same keeper, measured in turns.
"""

import io
import json
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench import pages, trends

YEARS, BIRDS = (1, 3, 10), (10, 30, 60)
PHOTO = 4000, 3000


def cost(page: str, times: dict, queries: int, **where) -> dict:
    milliseconds = {f"{which} {clock}": 1000 * value for (which, clock), value in times.items()}
    return {"page": page, "queries": queries, **milliseconds, **where}


@contextmanager
def as_before(flock):
    """Checks that are saved meanwhile are taken away: nobody checks a bird forty times a day, and
    Today would show them all.
    """
    from flockcare.feet.models import Check

    before = set(Check.objects.filter(flock=flock).values_list("pk", flat=True))
    yield
    Check.objects.filter(flock=flock).exclude(pk__in=before).delete()


def costs_of(flock, client, bare: str, **where):
    """A row for each page of one flock."""
    for title, request in pages.pages(flock).items():
        with as_before(flock):
            yield cost(title, *pages.measured(request, bare, client), **where)
    yield from trends_of(flock, client, bare, **where)


def trends_of(flock, client, bare: str, **where):
    from django.core.cache import cache
    from django.urls import reverse

    def ask():
        return client.get(reverse("trends:page", args=[flock.pk]))

    ask()
    empty = trends.measured(lambda: client.get(bare), trends.WARM)
    for title, runs, before in (
        ("Trends, nothing kept", trends.COLD, cache.clear),
        ("Trends again", trends.WARM, lambda: None),
    ):
        before()
        count = trends.queries(ask)
        times = {
            (which, clock): value
            for which, values in (("page", trends.measured(ask, runs, before)), ("bare", empty))
            for clock, value in zip(("processor", "wall"), values, strict=True)
        }
        yield cost(title, times, count, **where)


def photo_costs(flock, client, runs: int) -> dict:
    """Milliseconds of processor time, and bytes: taking in a phone's photo, and handing one out."""
    from django.db.models import Sum
    from django.urls import reverse

    from flockcare.photos.models import Photo
    from tests.bench.intake import paint

    sent = paint(*PHOTO)
    taking, handing = [], []
    for number in range(runs):
        file = io.BytesIO()
        sent.putpixel((0, 0), (number, number, number))
        sent.save(file, "JPEG", quality=90)
        file.seek(0)
        file.name = "foot.jpg"
        start = time.process_time()
        answer = client.post(reverse("photos:add", args=[flock.pk]), {"photo": file})
        taking.append(time.process_time() - start)
        assert answer.status_code == 201, answer.content
        for size in (240, 800, 240, 240):
            address = reverse("photos:file", args=[flock.pk, answer.json()["id"], size])
            start = time.process_time()
            assert b"".join(client.get(address))[:2] == b"\xff\xd8"
            handing.append(time.process_time() - start)
    stored = Photo.objects.aggregate(total=Sum("stored_bytes"))["total"]
    return {
        "sent_bytes": len(file.getvalue()),
        "stored_bytes": stored / runs,
        "take_in_ms": 1000 * sorted(taking)[runs // 2],
        "hand_out_ms": 1000 * sorted(handing)[len(handing) // 2],
    }


def main() -> None:
    asked = pages.asked(__doc__)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        pages.set_up(folder)
        client = pages.signed_in()
        bare = pages.bare_url()
        rows = []
        for birds in BIRDS[:1] if asked.short else BIRDS:
            for years in YEARS[:1] if asked.short else YEARS:
                flock = pages.flock_of(years, folder, birds)
                rows += costs_of(flock, client, bare, birds=birds, years=years)
                print(f"{birds} birds, {years} years: done", flush=True)
        result = {"rows": rows, "photo": photo_costs(flock, client, 2 if asked.short else 7)}
    asked.file.write_text(json.dumps(result))


if __name__ == "__main__":
    main()
