"""Paints the demo's photographs and writes down their truth beside them."""

import datetime as dt
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from flockcare.birds.plumage import plumage
from flockcare.demo.cast import HENS, Hen
from flockcare.demo.folder import scab, write_table
from flockcare.demo.model import History, Look, Sore
from flockcare.demo.paint import GROUNDS, Foot, paint_foot
from flockcare.demo.paint import Sore as PaintedSore
from flockcare.demo.paint.head import paint_head
from flockcare.exchange.joining import NO_CHECK

# Of feet: in the demo, which is made while somebody waits, and for who needs many of them.
PHOTOS, MANY, TO_SORT = 20, 36, 4
MOST_OF_ONE_SORE = 7
SIZE = {"width": 1200, "height": 900}
PLACES = {"main": "pad", "toe II": "toe_2", "toe III": "toe_3"}
TRUTH = "truth.json"
# These have the colour of their breed in place of a photo.
WITHOUT_FACE = ("Clove", "Juniper", "Ginger", "Caraway", "Anise", "Cumin")
FACE_TAKEN = dt.timedelta(days=60)


@dataclass(frozen=True)
class Shot:
    """A photograph to be: what of, when; ``named`` is False for those that have to be sorted."""

    sore: Sore
    on: dt.date
    at: dt.time
    card: bool
    named: bool = True


def write_photos(
    history: History,
    folder: Path,
    codes: Mapping[str, str],
    *,
    photos: int = MANY,
    tell: Callable[[int, int], None] = lambda done, of: None,
) -> None:
    """Paint the photos, with photos.csv and truth.json. ``codes``: the card code of each hen;
    ``photos``: how many of feet;
    ``tell``: called with how many are painted of how many.

    truth.json: for every file its hen, foot and day, the sore's area in mm², millimetres per pixel
    at the sore, the tilt in degrees and whether the card is in view.
    """
    (folder / "photos").mkdir(exist_ok=True)
    rows, truth = [], []
    shots = choose(history, photos)
    for number, shot in enumerate(shots):
        tell(number, len(shots))
        file = f"photos/{shot.on:%Y%m%d}-{number:02}.jpg"
        fact = _paint(shot, number, folder / file, codes[shot.sore.hen.name])
        truth.append({"file": file} | fact)
        rows.append({"file": file} | (_row(shot) if shot.named else {}))
    rows += _write_faces(history, folder)
    write_table(folder, "photos.csv", rows)
    (folder / TRUTH).write_text(json.dumps(truth, indent=1))


def _write_faces(history: History, folder: Path) -> list[dict]:
    rows = []
    for number, hen in enumerate(hen for hen in HENS if hen.name not in WITHOUT_FACE):
        taken = f"{history.gone(hen) - FACE_TAKEN} 12:{number:02}"
        file = f"photos/{hen.name.lower()}.jpg"
        paint_head(plumage(hen.breed), seed=number).save(folder / file, quality=90)
        rows.append({"file": file, "bird": hen.name, "taken": taken, "face_since": taken})
        rows[-1]["check"] = NO_CHECK
    return rows


def choose(history: History, photos: int) -> list[Shot]:
    """The longest series of photos of one sore first, and the sores that are open today."""
    looks: dict[int, list[Look]] = {}
    for look in sorted(history.looks, key=lambda look: (look.on, look.hen.name)):
        for sore in look.sores.values():
            looks.setdefault(id(sore), []).append(look)
    sores = [sore for sore in history.sores if id(sore) in looks]
    sores.sort(key=lambda sore: (sore.end <= history.today, -len(looks[id(sore)]), sore.onset))
    shots = []
    for sore in sores:
        for look in looks[id(sore)][:MOST_OF_ONE_SORE]:
            card = look.on >= history.often_from and len(shots) % 5 != 3
            shots.append(Shot(sore, look.on, look.at, card))
    unsorted = [
        Shot(shot.sore, shot.on, shot.at, card=False, named=False)
        for shot in shots[photos - TO_SORT : photos]
    ]
    return shots[: photos - TO_SORT] + unsorted


def _row(shot: Shot) -> dict:
    return {
        "bird": shot.sore.hen.name,
        "foot": shot.sore.foot,
        "taken": f"{shot.on} {shot.at:%H:%M}",
        "score": str(shot.sore.score(shot.on)),
    }


def _paint(shot: Shot, number: int, path: Path, code: str) -> dict:
    sore, random = shot.sore, np.random.default_rng(number)
    number_of_hen, share = HENS.index(sore.hen), sore.share(shot.on)
    tilt = float(random.uniform(3, 22))
    painted = paint_foot(
        _foot(sore.hen, number_of_hen, sore.foot),
        seed=number,
        ground=list(GROUNDS)[number % len(GROUNDS)],
        sore=PaintedSore(
            place=PLACES[sore.site],
            area_mm2=sore.area(shot.on),
            scab=scab(sore, shot.on),
            swelling={1: 0.2, 2: 0.8}[sore.score(shot.on)],
            healing=max(0.0, (share - 0.4) / 0.6),
            seed=1000 + number_of_hen,
        ),
        card_code=code if shot.card else None,
        tilt_degrees=tilt,
        **SIZE,
    )
    painted.image.save(path, quality=90)
    return {
        "bird": sore.hen.name,
        "foot": sore.foot,
        "on": str(shot.on),
        "area_mm2": round(painted.area_mm2, 2),
        "mm_per_px": round(painted.mm_per_px, 5),
        "tilt_degrees": round(tilt, 1),
        "card": shot.card,
        "middle_px": [round(float(at), 1) for at in painted.outline_px.mean(axis=0)],
    }


def _foot(hen: Hen, number: int, side: str) -> Foot:
    # Lengths go with the cube root of weight; a hen of 2.7 kg has a middling foot.
    size = min(1.25, max(0.7, (hen.grams / 2700) ** (1 / 3)))
    return Foot(side, hen.leg, size, seed=100 + 2 * number + (side == "right"))
