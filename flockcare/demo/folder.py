"""Writes what the model lived as a records exchange."""

import datetime as dt
from pathlib import Path

from flockcare.birds.breeds import BY_NAME
from flockcare.demo.cast import CART_SHED, CHANGES, FEATURES, HAPPENED, HENS, HOUSES, ORCHARD
from flockcare.demo.model import (
    KEEPERS,
    SMALLEST_SCAB,
    SWELLS_MM2,
    History,
    Look,
    Sore,
)
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
        "eggs.csv": [
            {"house": house, "date": on.isoformat(), "eggs": str(eggs), "keeper": keeper}
            for house, on, eggs, keeper in history.eggs
        ],
        "states.csv": [
            {"bird": hen.name, "kind": kind, "from": str(since), "to": str(until)}
            for hen, kind, since, until in history.states
        ],
        "tasks.csv": list(_tasks(history)),
        "tasks_done.csv": list(_tasks_done(history)),
        "plans.csv": list(_plans(history)),
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
    rows = [{"house": house, **values} for house, values in HOUSES.items()]
    rows += [
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
        listed = one.kind == "bedding" and on >= history.today - dt.timedelta(days=LIST_DAYS)
        if history.start <= on < history.today and not listed:
            until = "" if one.lasted is None else str(on + dt.timedelta(days=one.lasted))
            row = {"house": one.house, "date": str(on), "kind": one.kind, "to": until}
            yield row | {"what": one.what, "note": one.note, "keeper": one.keeper}
    for house, on, keeper in _mucked_out(history):
        yield {"house": house, "date": str(on), "kind": "bedding", "keeper": keeper}


# Since when the flock has a list of prevention, and how often each stands on it.
LIST_DAYS = 200
EVERY = {"muck out": 14, "top up landing": 7}


def _mucked_out(history):
    """Every fortnight since it is on the list, the last times so that one house is due today."""
    for house, keeper, last in ((CART_SHED, "Ted", 14), (ORCHARD, "Ines", 6)):
        for ago in range(last, LIST_DAYS, EVERY["muck out"]):
            yield house, history.today - dt.timedelta(days=ago), keeper


def _tasks(history):
    since = str(history.today - dt.timedelta(days=LIST_DAYS))
    for task, days in EVERY.items():
        yield {"task": task, "is_on": "yes", "every_days": str(days), "from": since}


def _tasks_done(history):
    for house, last in ((CART_SHED, 3), (ORCHARD, 7)):
        for ago in range(last, LIST_DAYS, EVERY["top up landing"]):
            on = history.today - dt.timedelta(days=ago)
            keeper = KEEPERS[ago % len(KEEPERS)]
            yield {"date": str(on), "task": "top up landing", "house": house, "keeper": keeper}


def _plans(history):
    """Of each foot that is wrapped today: a soak and a dressing every day."""
    for sore in history.sores:
        if sore.end <= history.today:
            continue
        changed = [
            step
            for step in history.steps
            if (step.hen, step.foot, step.kind) == (sore.hen, sore.foot, "dressing changed")
            and sore.seen
            and step.on > sore.seen
        ]
        if not changed or changed[-1].next_due != history.today:
            continue
        since = changed[0].on
        yield {
            "bird": sore.hen.name,
            "foot": sore.foot,
            "kinds": "soaked;dressing changed",
            "products": "warm water;gauze and wrap",
            "every_days": "1",
            "from": str(since),
            "to": str(sore.vets_plan_until or ""),
            "turns": ";".join(KEEPERS[:2]),
            "decided_by": "both" if sore.vets_plan_until else "keeper",
            "keeper": KEEPERS[0],
            "logged": f"{since} 08:00",
        }


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
    return row | {"gait": str(look.gait), "manner": "bright", "eating": "yes"}


def scab(sore: Sore, on: dt.date) -> str:
    if sore.area(on) < SMALLEST_SCAB:
        return "none"
    return "black" if sore.severe and sore.share(on) > 0.2 else "brown"


def _finding(sore: Sore, on: dt.date) -> dict:
    share = sore.share(on)
    swollen = sore.score(on) == 2
    moderate = "moderate" if sore.area(on) > SWELLS_MM2 else "none"
    row = {
        "score": str(sore.score(on)),
        "sites": sore.site,
        "scab": scab(sore, on),
        "swelling": "from above" if swollen else moderate,
    }
    if row["scab"] != "none":
        row["scab_mm"] = f"{sore.width_mm(on):.1f}"
    signs = {"hot": swollen and share < 0.35, "oozing": swollen and share < 0.22}
    return row | {sign: "yes" if there else "no" for sign, there in signs.items()}


# Numbers of 01632 are kept for stories (Ofcom's numbers for drama; from memory).
VET = {
    "vet": "Mill Lane Surgery",
    "telephone": "01632 960001",
    "note": "At night and on Sundays the machine names who answers.",
    "is_usual": "yes",
}


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


SEEN = "Can this be dressed at home, or is it deep?"
CALLED = "By telephone, with the new photos: does the plan still hold?"


def _visit(step) -> dict:
    dressing = "A soak and a clean dressing every day, deep dry straw."
    plan = f"The medicine to its last day. {dressing}" if step.medicine else dressing
    return {
        "vet": VET["vet"],
        "decided_by": "vet",
        "medicine_given": "yes" if step.medicine else "no",
        "question": CALLED if step.call else SEEN,
        "plan": plan,
        "plan_until": str(step.plan_until),
    }
