"""Writes what the model lived as a records exchange."""

import datetime as dt
import math
from pathlib import Path

from flockcare.birds.breeds import BY_NAME
from flockcare.demo.cast import CHANGES, FEATURES, HAPPENED, HENS
from flockcare.demo.model import History, Look, Sore
from flockcare.exchange.tables import FILES
from flockcare.exchange.writing import csv_bytes
from flockcare.feet.models import NOT_ON_A_CLEAR_FOOT
from flockcare.photos.models import Foot

BIRTHDAY_OF_A_MONTH = 30.44


def write_records(history: History, folder: Path) -> None:
    """Everything but the photos."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables(history).items():
        write_table(folder, name, rows)


def write_table(folder: Path, name: str, rows: list[dict]) -> None:
    columns = FILES[name].all
    cells = [[row.get(column, "") for column in columns] for row in rows]
    (folder / name).write_bytes(csv_bytes(name, cells))


def tables(history: History) -> dict[str, list[dict]]:
    """Rows of text by file name and column."""
    return {
        "birds.csv": [_bird(history, hen) for hen in HENS],
        "weights.csv": [
            {"bird": hen.name, "date": on.isoformat(), "grams": str(grams)}
            for hen, on, grams in history.weighings
        ],
        "housing.csv": _housing(history),
        "events.csv": list(_events(history)),
        "wetness.csv": [
            {"house": house, "date": on.isoformat(), "wetness": level}
            for house, on, level in history.wetness
        ],
        "stays.csv": [stay for hen in HENS for stay in _stays(history, hen)],
        "checks.csv": [_check(look) for look in history.looks],
        "vets.csv": [VET],
        "care.csv": [_step(step) for step in history.steps],
    }


def _bird(history, hen) -> dict:
    hatched = history.came(hen) - dt.timedelta(days=round(hen.months_old * BIRTHDAY_OF_A_MONTH))
    left, reason, note = history.left.get(hen.name, ("", "", ""))
    grown = BY_NAME.get(hen.breed.lower())
    return {
        "bird": hen.name,
        "band": hen.band,
        "breed": hen.breed,
        "breed_adult_grams": str(grown.grams) if grown else "",
        "breed_source": grown.source if grown else "",
        "hatched": f"{hatched:%Y-%m}",
        "joined": history.came(hen).isoformat() if hen.came else f"{history.start:%Y}",
        "left": str(left),
        "left_reason": reason,
        "left_note": note,
        "traits": hen.traits,
    }


def _housing(history) -> list[dict]:
    now = {(house, feature): (kind, state) for house, feature, kind, state in FEATURES}
    rows = [
        {"house": house, "feature": feature, "kind": kind, "from": str(history.start), **state}
        for (house, feature), (kind, state) in now.items()
    ]
    for change in CHANGES:
        kind, state = now[change.house, change.feature]
        on = history.drained + dt.timedelta(days=change.days)
        rows.append(
            {"house": change.house, "feature": change.feature, "kind": kind, "from": str(on)}
            | {name: text for name, text in state.items() if name != "note"}
            | change.new
        )
    return rows


def _events(history):
    for one in HAPPENED:
        on = history.drained + dt.timedelta(days=one.days)
        if history.start <= on < history.today:
            until = "" if one.lasted is None else str(on + dt.timedelta(days=one.lasted))
            row = {"house": one.house, "date": str(on), "kind": one.kind, "to": until}
            yield row | {"what": one.what, "note": one.note, "keeper": one.keeper}


def _stays(history, hen) -> list[dict]:
    came, gone = history.came(hen), history.gone(hen)
    first = {
        "bird": hen.name,
        "house": hen.house,
        "from": str(came) if hen.came else "",
        "to": str(gone) if hen.name in history.left else "",
    }
    moved_to = history.house(hen, history.moved)
    if moved_to == hen.house:
        return [first]
    day = str(history.moved)
    return [{**first, "to": day}, {"bird": hen.name, "house": moved_to, "from": day}]


def _check(look: Look) -> dict:
    row = {
        "bird": look.hen.name,
        "date": look.on.isoformat(),
        "time": f"{look.at:%H:%M}",
        "keeper": look.keeper,
        "left_score": "0",
        "right_score": "0",
        **{f"{foot}_{sign}": "no" for foot in Foot.values for sign in NOT_ON_A_CLEAR_FOOT},
    }
    if not look.sores:
        return row
    for foot, sore in look.sores.items():
        row |= {f"{foot}_{name}": text for name, text in _finding(sore, look.on).items()}
    gaits = [
        2 if sore.score(look.on) == 2 else int(sore.area(look.on) > 20)
        for sore in look.sores.values()
    ]
    return row | {"gait": str(max(gaits)), "manner": "bright", "eating": "yes"}


def scab(sore: Sore, on: dt.date) -> str:
    if sore.area(on) < 4:
        return "none"
    return "black" if sore.severe and sore.share(on) > 0.2 else "brown"


def _finding(sore: Sore, on: dt.date) -> dict:
    share, area = sore.share(on), sore.area(on)
    swollen = sore.score(on) == 2
    row = {
        "score": str(sore.score(on)),
        "sites": sore.site,
        "scab": scab(sore, on),
        "swelling": "from above" if swollen else "moderate" if area > 22 else "none",
    }
    if row["scab"] != "none":
        row["scab_mm"] = f"{max(1.0, round(4 * math.sqrt(area / math.pi)) / 2):.1f}"
    signs = {"hot": swollen and share < 0.35, "oozing": swollen and share < 0.22}
    return row | {sign: "yes" if there else "no" for sign, there in signs.items()}


# Numbers of 01632 are kept for stories (Ofcom's numbers for drama; from memory).
VET = {
    "vet": "Mill Lane Surgery",
    "telephone": "01632 960001",
    "note": "At night and on Sundays the machine names who answers.",
    "is_usual": "yes",
}
PLAN_DAYS = 21


def _step(step) -> dict:
    egg_days, meat_days, days_from = step.days_without or ("", "", "")
    return {
        "bird": step.hen.name,
        "date": step.on.isoformat(),
        "time": f"{step.at:%H:%M}",
        "foot": step.foot,
        "kind": step.kind,
        "product": step.product,
        "keeper": step.keeper,
        "next_due": str(step.next_due or ""),
        "note": step.note,
        "egg_days": str(egg_days),
        "meat_days": str(meat_days),
        "days_from": days_from,
        **(_visit(step) if step.kind == "vet" else {}),
        **({"no_medicine": "yes"} if step.kind == "ointment" else {}),
        **({"decided_by": "vet", "batch": "TY 114"} if step.kind == "medicine" else {}),
    }


def _visit(step) -> dict:
    return {
        "vet": VET["vet"],
        "decided_by": "vet",
        "medicine_given": "yes",
        "question": "Can this be dressed at home, or is it deep?",
        "plan": "The medicine to its last day, a clean dressing every three days, deep dry straw.",
        "plan_until": str(step.on + dt.timedelta(PLAN_DAYS)),
    }
