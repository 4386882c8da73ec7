"""How many keys, and how long, it takes to sort old photos one at a time, by keyboard alone.

    .venv/bin/python tests/bench/sorting_by_key.py            some minutes; prints one table
    .venv/bin/python tests/bench/sorting_by_key.py --short    20 photos
    .venv/bin/python tests/bench/sorting_by_key.py --write    and keeps the table beside this file

Painted feet are brought in; then a Chromium types as a keeper would who knows each bird at once:
whatever is chosen already is left, what is not is given by the fewest keys that the page offers.
Afterwards every photo must be in a check of the right bird, foot, score and day.

A keeper's time is worked out by the keystroke-level model: 0.28 s a key (an average typist who is
no secretary; Shift is a key) and 1.35 s to prepare each photo, since whose foot it is, which one
and how bad is seen in one look; and, more cautiously, 1.35 s again where the bird or the day has to
be given. Source: Card, Moran & Newell (1980), The keystroke-level model for user performance time
with interactive systems; from memory. To it comes what this run had to wait, by the clock: until
the next photo is there to look at, and longer than one prepares it until it can be sorted.
"""

import argparse
import datetime as dt
import io
import json
import os
import random
import statistics
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

TABLE = Path(__file__).with_suffix(".txt")
KEY, PREPARE = 0.28, 1.35
PHOTOS, UNDATED, TIMED = 200, 20, 100
SIZE = (640, 480)


# --- Photos whose truth is known


def painted(photos: int, birds: dict[str, str], lot: random.Random):
    """(file, its name, bird, foot, score, day): on each occasion some birds, both their feet.

    One occasion in five begins with the bird's printed card beside her foot; the last photos, a
    tenth of all, have no date of their own and come from two days.
    """
    day, done, seed = dt.datetime(2022, 3, 1, 16, tzinfo=dt.UTC), 0, 0
    undated = photos // (PHOTOS // UNDATED)
    while done < photos:
        day = (day + dt.timedelta(days=lot.randint(5, 20))).replace(hour=16, minute=0)
        dated = done < photos - undated
        of_this_day = lot.randint(4, 12) if dated else undated // 2
        moment, shot = day, 0
        for bird in lot.sample(sorted(birds), len(birds)):
            scores = {foot: lot.choice([0, 0, 0, 1, 2]) for foot in ("left", "right")}
            with_card = dated and lot.random() < 0.2
            for foot in lot.choices(["left", "right"], k=lot.randint(1, 4)):
                if shot == of_this_day or done == photos:
                    break
                moment += dt.timedelta(seconds=lot.randint(20, 200))
                code = birds[bird] if with_card else ""
                name = f"shot {done:03}.jpg"
                yield (
                    paint(seed, moment if dated else None, code),
                    name,
                    (
                        bird,
                        foot,
                        scores[foot],
                        f"{day:%Y-%m-%d}",
                    ),
                )
                with_card, shot, done, seed = False, shot + 1, done + 1, seed + 1


def paint(seed: int, taken, code: str) -> io.BytesIO:
    from PIL import ExifTags, Image

    from flockcare.photos import cards
    from tests.photos.scenes import painted_foot

    picture, *_ = painted_foot(seed, SIZE)
    if code:
        drawn = cards.render_card(code, dpi=200).convert("RGB")
        table = Image.new("RGB", (drawn.width + 400, drawn.height + 500), (120, 96, 70))
        table.paste(picture.resize((400, 300)), (100, drawn.height + 150))
        table.paste(drawn, (200, 100))
        picture = table
    exif = Image.Exif()
    if taken:
        moment = taken.strftime("%Y:%m:%d %H:%M:%S")
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = moment
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=90, exif=exif)
    return out


def bring_in(flock_key: str, photos: int) -> None:
    """In a process of the installation: takes the photos in; prints their truth by their key."""
    from flockcare.feet.sorting import receive
    from flockcare.people.models import Flock, Keeper

    flock = Flock.objects.get(pk=flock_key)
    keeper = Keeper.objects.get(sign_in_name="ada")
    birds = {bird.name: str(bird.pk) for bird in flock.bird_set.all()}
    truth = {}
    for file, name, said in painted(photos, birds, random.Random(7)):
        photo, _ = receive(flock=flock, keeper=keeper, upload=file, name=name)
        truth[str(photo.pk)] = said
    print(json.dumps(truth))


def read_back(flock_key: str) -> None:
    """In a process of the installation: what the records say of each photo, by its key."""
    from flockcare.feet.models import Check
    from flockcare.people.models import Flock

    flock, found = Flock.objects.get(pk=flock_key), {}
    for check in Check.objects.filter(flock=flock).prefetch_related("findings", "photos__bird"):
        scores = {finding.foot: finding.score for finding in check.findings.all()}
        day = f"{check.at.astimezone(flock.zone):%Y-%m-%d}"
        for photo in check.photos.all():
            assert photo.bird_id == check.bird_id
            said = (photo.bird.name, photo.foot, scores.get(photo.foot), day)
            found.setdefault(str(photo.pk), []).append(said)
    print(json.dumps(found))


# --- A keeper at the keyboard


@dataclass
class Typed:
    """What one photo took: names of keys as pressed, how often bird or day had to be given.

    seen, ready: seconds from the last key until the next photo is there to look at, and to sort.
    """

    keys: list[str] = field(default_factory=list)
    given: int = 0
    seen: float = 0.0
    ready: float = 0.0

    @property
    def waited(self) -> float:
        """While the keeper prepares the next photo, the app may still be saving the last."""
        return self.seen + max(0, self.ready - self.seen - PREPARE)


CHOSEN = """() => ({
  photo: document.getElementById("one").dataset.photo ?? "",
  picture: document.querySelector(".one-photo img")?.src ?? "",
  bird: document.querySelector("#one input[name=bird]:checked")?.dataset.name ?? "",
  foot: document.querySelector("#one input[name=foot]:checked")?.value ?? "",
  score: document.querySelector("#one input[name=score]:checked")?.value ?? "",
  day: document.querySelector("#one [name=date]")?.value ?? "",
  dated: !document.querySelector("#one .one-when b")?.textContent.includes("No date"),
  birds: [...document.querySelectorAll("#one input[name=bird]")].map((radio) => radio.dataset.name),
  keys: Object.fromEntries([...document.querySelectorAll("#one input[data-key]")]
    .map((radio) => [radio.dataset.name, radio.dataset.key])),
})"""
SEEN = """(before) => {
  const image = document.querySelector(".one-photo img");
  return !image || (image.src !== before && image.complete && image.naturalWidth > 0);
}"""
READY = """(before) => {
  const one = document.getElementById("one");
  if (!one || one.dataset.photo === before) return false;
  return !one.dataset.photo || document.activeElement.matches(".one-photo");
}"""


def keys_for_bird(bird: str, shown: dict) -> list[str]:
    """The fewest keys of those that the page offers."""
    if bird in shown["keys"]:
        return [shown["keys"][bird]]
    same = [name for name in shown["birds"] if name[0] == bird[0]]
    chosen = same.index(shown["bird"]) if shown["bird"] in same else -1
    presses = (same.index(bird) - chosen) % len(same) or len(same)
    return ["Shift", *[bird[0].lower()] * presses]


def sort_one(page, truth: dict) -> Typed:
    shown = page.evaluate(CHOSEN)
    bird, foot, score, day = truth[shown["photo"]]
    typed = Typed()

    def press(*keys):
        for key in keys:
            page.keyboard.press(key)
        typed.keys += keys

    if shown["bird"] != bird:
        typed.given += 1
        keys = keys_for_bird(bird, shown)
        if keys[0] == "Shift":
            page.keyboard.down("Shift")
            for key in keys[1:]:
                page.keyboard.press(key)
            page.keyboard.up("Shift")
            typed.keys += keys
        else:
            press(*keys)
    if not shown["dated"] and shown["day"] != day:
        typed.given += 1
        press("d")
        if shown["day"]:
            press("Control+a")
        press(*day, "Enter")
    if shown["foot"] != foot:
        press(foot[0])
    start = time.perf_counter()
    press(str(score))
    page.wait_for_function(SEEN, arg=shown["picture"], polling=5)
    typed.seen = time.perf_counter() - start
    page.wait_for_function(READY, arg=shown["photo"], polling=5)
    typed.ready = time.perf_counter() - start
    return typed


def type_all(installation, site, truth: dict) -> list[Typed]:
    from playwright.sync_api import sync_playwright

    from tests.browser.conftest import LAPTOP, chromium

    complaints = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium(), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        context = browser.new_context(
            viewport=LAPTOP, base_url=installation.url, service_workers="block"
        )
        session = {"name": "flockcare_session", "value": site["sessions"]["ada"]}
        context.add_cookies([{**session, "url": installation.url}])
        page = context.new_page()
        page.on(
            "console", lambda said: complaints.append(said.text) if said.type == "error" else None
        )
        page.goto(f"/f/{site['flock']}/sort/one/")
        typed = [sort_one(page, truth) for _ in truth]
        assert page.locator(".one h1").inner_text() == "Nothing left"
        browser.close()
    assert not complaints, complaints
    return typed


# --- The table


def lines_of(typed: list[Typed], undated: int) -> list[str]:
    dated, vague = typed[:-undated], typed[-undated:]
    first = dated[:TIMED]
    keys = [len(one.keys) for one in first]
    waited = sum(one.waited for one in first)
    simple = sum(keys) * KEY + len(first) * PREPARE + waited
    cautious = simple + sum(one.given for one in first) * PREPARE
    of_dated = Counter(len(one.keys) for one in dated)
    return [
        f"{len(typed)} photos sorted, each in one check of the right bird, foot, score and day",
        f"the first {len(first)}: {sum(keys)} keys, {statistics.mean(keys):.2f} a photo",
        f"  by the model {simple:.0f} s, of which {waited:.0f} s waiting for the app "
        f"({minutes(simple)} min)",
        f"  more cautiously {cautious:.0f} s ({minutes(cautious)} min)",
        "photos with a date, by keys: "
        + ", ".join(f"{number} keys {count}" for number, count in sorted(of_dated.items())),
        f"{undated} without a date, of two days: {statistics.mean(len(v.keys) for v in vague):.2f} "
        f"keys a photo; where the day is typed {max(len(v.keys) for v in vague)}",
        "from the last key until the next photo is seen: " + spread([one.seen for one in typed]),
        "until it can be sorted: " + spread([one.ready for one in typed]),
    ]


def spread(seconds: list[float]) -> str:
    return f"median {statistics.median(seconds):.3f} s, longest {max(seconds):.3f} s"


def minutes(seconds: float) -> str:
    return f"{seconds // 60:.0f}:{seconds % 60:02.0f}"


def measure(photos: int) -> list[str]:
    from tests.browser.conftest import Installation

    here = str(Path(__file__).resolve())
    with tempfile.TemporaryDirectory() as folder:
        installation = Installation(Path(folder))
        installation.run("manage.py", "up", "--prepare-only")
        site = json.loads(installation.run("tests/browser/prepare.py"))
        truth = json.loads(installation.run(here, "--bring-in", site["flock"], str(photos)))
        assert len(truth) == photos
        installation.start()
        try:
            typed = type_all(installation, site, truth)
        finally:
            installation.stop()
        found = json.loads(installation.run(here, "--read-back", site["flock"]))
    wrong = {key: (said, found.get(key)) for key, said in truth.items() if found.get(key) != [said]}
    assert not wrong, wrong
    return lines_of(typed, photos // (PHOTOS // UNDATED))


def in_installation() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "flockcare.settings")
    import django

    django.setup()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--short", action="store_true", help="20 photos")
    parser.add_argument("--write", action="store_true", help="keep the table beside this file")
    parser.add_argument("--bring-in", nargs=2, help=argparse.SUPPRESS)
    parser.add_argument("--read-back", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.bring_in:
        in_installation()
        bring_in(asked.bring_in[0], int(asked.bring_in[1]))
    elif asked.read_back:
        in_installation()
        read_back(asked.read_back)
    else:
        lines = measure(20 if asked.short else PHOTOS)
        print("\n".join(lines))
        if asked.write:
            TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
