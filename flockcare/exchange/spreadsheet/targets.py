"""What a column of somebody's own table can be: the columns of the exchange, and a few ways round.

Some tables have a row for each foot, or weights in other units; those are targets of their own.
"""

import re
from dataclasses import dataclass, replace
from difflib import get_close_matches

from flockcare.birds.models import LIGHTEST_GRAMS
from flockcare.exchange.spreadsheet.values import (
    ALSO_WRITTEN,
    WEIGHTS,
    folded,
    read_both_scores,
    read_date,
    read_weight,
)
from flockcare.exchange.tables import FILES
from flockcare.exchange.tables.columns import Column, Kind
from flockcare.feet.models import FOOT_SIGNS
from flockcare.photos.models import Foot

TABLES = {
    "birds": "birds: one row for each bird",
    "weights": "weights: one row for each weighing",
    "checks": "checks of feet: one row for each bird or foot checked",
    "care": "care: one row for each thing that was done",
}
LEFT_OUT = {
    "birds": {"name", "breed_adult_grams", "breed_source"},
    "checks": {"received"},
    "care": {
        *("item", "amount", "claimed", "claimed_by", "dropped_by", "dropped_because", "logged"),
        *("given_to", "past", "vet", "question", "found", "plan", "plan_until", "laboratory"),
        "medicine_given",
    },
}
BOTH = "both"
BOTH_SCORES = "scores"
FOOT_PARTS = ("score", "sites", "scab", "scab_mm", "swelling", *FOOT_SIGNS)

# The commonest names in German, French, Spanish, Dutch and Italian, without accents.
_BIRD = ("henne", "huhn", "tier", "poule", "gallina", "kip", "hen", "nom", "nombre", "naam", "nome")
_FOOT = ("fuss", "seite", "bein", "pied", "patte", "cote", "pata", "pie", "lado", "poot", "kant")
_FOOT += ("zampa", "piede", "lato")
_NOTE = ("notiz", "bemerkung", "bemerkungen", "anmerkung", "notities", "opmerking", "remarque")
_NOTE += ("remarques", "nota", "notas", "notizen", "osservazioni")
_TREATMENT = ("behandlung", "massnahme", "traitement", "soin", "soins", "tratamiento")
_TREATMENT += ("behandeling", "trattamento", "cura")
_PRODUCT = ("mittel", "produkt", "produit", "producto", "middel", "prodotto", "womit")


def _long_words(foot: str) -> list[str]:
    """How other languages call it; short ones name other columns too, such as g for grams."""
    return [word for word in ALSO_WRITTEN["foot"][foot] if len(word) > 3]


_NAMES = {
    "bird": ("bird", "name", "hen", "hen name", "bird name", "chicken", "who", "id", *_BIRD),
    "band": ("band", "ring", "leg band", "leg ring", "tag", "band colour", "ring colour"),
    "breed": ("breed", "race", "strain"),
    "hatched": ("hatched", "hatch date", "born", "birth", "birthday", "date of birth", "dob"),
    "joined": ("joined", "came", "arrived", "acquired", "bought", "since"),
    "left": ("left", "gone", "died", "death", "left on", "date left"),
    "left_reason": ("reason", "why", "cause", "left reason", "cause of death"),
    "traits": ("traits", "notes", "note", "remarks", "comments", "description"),
    "sex": ("sex", "gender"),
    "weight_class": ("weight class", "size", "class"),
    "date": ("date", "day", "when", "checked", "on", "datum", "tag", "fecha", "data", "wann"),
    "time": ("time", "hour", "clock"),
    "grams": ("grams", "g", "weight g", "weight in g", "weight"),
    "kilograms": ("kilograms", "kg", "weight kg", "weight in kg", "kilos"),
    "pounds": ("pounds", "lb", "lbs", "weight lb", "weight lbs"),
    "ounces": ("ounces", "oz"),
    "keeper": ("keeper", "by", "who checked", "person", "checked by", "done by"),
    "foot": ("foot", "side", "leg", "which foot", "l r", *_FOOT),
    "score": ("score", "grade", "lesion", "lesion score", "severity", "bumblefoot", "how bad"),
    "sites": ("sites", "site", "place", "where", "location"),
    "scab": ("scab",),
    "scab_mm": ("scab mm", "scab width", "width", "size mm", "mm"),
    "swelling": ("swelling", "swollen"),
    "gait": ("gait", "lameness", "limp", "walk"),
    "note": ("note", "notes", "remarks", "comments", "comment", "remark", *_NOTE),
    "kind": ("kind", "what", "treatment", "action", "care", "done", *_TREATMENT),
    "product": ("product", "with", "used", "medicine", "ointment", "medication", *_PRODUCT),
    "next_due": ("next due", "due", "next", "again", "repeat"),
    "left_score": ("left", "left score", "l", "lf", *_long_words("left")),
    "right_score": ("right", "right score", "r", "rf", *_long_words("right")),
}


@dataclass(frozen=True)
class Target:
    column: Column
    words: str

    @property
    def name(self) -> str:
        return self.column.name


def targets(table: str) -> dict[str, Target]:
    """Everything that a column of such a table can be, by its name."""
    file = FILES[f"{table}.csv"]
    found = [c for c in file.columns if c.name not in LEFT_OUT.get(table, ())]
    if table == "weights":
        found += [
            Column(name, f"Weight in {name}.", Kind.NUMBER) for name in WEIGHTS if name != "grams"
        ]
    if table == "checks":
        found += _for_one_foot(file)
    if table == "care":
        found = [_of_either_foot(c) if c.name == "foot" else c for c in found]
    return {column.name: Target(column, _words(table, column)) for column in found}


def _words(table: str, column: Column) -> str:
    if column.name == "bird":
        return "bird: her name" if table == "birds" else "bird: her name or band"
    name = column.name.replace("_", " ")
    meaning = column.meaning.split(";")[0].rstrip(".")
    return name if meaning.lower() == name else f"{name}: {meaning[:1].lower()}{meaning[1:]}"


def _for_one_foot(file) -> list[Column]:
    """For tables in which the foot stands in the row."""
    values = (*((str(v), str(label)) for v, label in Foot.choices), (BOTH, "both feet"))
    made = [
        Column(BOTH_SCORES, "Both feet in one cell, the left one first, as in 0/2.", Kind.TEXT),
        Column("foot", "Which foot this row is about.", Kind.CHOICE, values=values),
    ]
    for part in FOOT_PARTS:
        like = file.column(f"left_{part}")
        meaning = like.meaning.replace("the left foot", "that foot")
        meaning = meaning.replace("The left foot", "That foot")
        made.append(Column(part, meaning, like.kind, like.unit, like.values))
    return made


def _of_either_foot(column: Column) -> Column:
    """A row about both feet stands for two."""
    return replace(column, values=(*column.values, (BOTH, "both feet: a row for each")))


def suggest(table: str, sheet, birds: set[str]) -> list[str]:
    """A target for each column of the sheet, or "": by its name, then by what is in it.

    ``birds``: names and bands, in small letters.
    """
    possible, taken, found = targets(table), set(), []
    for place, name in enumerate(sheet.header):
        target = (
            _both_scores(sheet.column(place), possible, taken)
            or _by_name(_plain(name), possible, taken)
            or _by_parts(name, possible, taken)
            or _by_values(sheet.column(place), possible, taken, birds)
        )
        if target == "grams" and not _are_grams(sheet.column(place)):
            target = ""
        if target:
            taken.add(target)
        found.append(target)
    return found


def _both_scores(texts: list[str], possible, taken) -> str:
    """Whatever its name, a column of ``0/2`` can be nothing else."""
    free = BOTH_SCORES in possible and BOTH_SCORES not in taken
    return BOTH_SCORES if free and texts and all(map(_are_both_scores, texts[:50])) else ""


def _are_both_scores(text: str) -> bool:
    try:
        return bool(read_both_scores(text))
    except ValueError:
        return False


def _plain(name: str) -> str:
    return " ".join(re.findall(r"[a-z0-9]+", folded(name)))


def _free(possible, taken) -> dict[str, tuple[str, ...]]:
    return {target: _NAMES.get(target, ()) for target in possible if target not in taken}


def _called(name: str, free: dict[str, tuple[str, ...]]) -> str:
    exact = [t for t, names in free.items() if name in (t, t.replace("_", " "))]
    exact += [t for t, names in free.items() if name in names]
    return exact[0] if exact else ""


def _by_parts(name: str, possible, taken) -> str:
    """Of a name in two languages, or with more in brackets; "" where its parts name two things."""
    free = _free(possible, taken)
    found = {_called(_plain(part), free) for part in re.split(r"[/|()]", name)} - {""}
    return found.pop() if len(found) == 1 else ""


def _by_name(name: str, possible, taken) -> str:
    free = _free(possible, taken)
    if exact := _called(name, free):
        return exact
    known = {each: t for t, names in free.items() for each in (t.replace("_", " "), *names)}
    # Short names are alike by chance.
    close = get_close_matches(name, [k for k in known if len(k) > 4], n=1, cutoff=0.84)
    return known[close[0]] if close else ""


def _by_values(texts: list[str], possible, taken, birds: set[str]) -> str:
    texts = texts[:50]
    if not texts:
        return ""
    # Most, since some names are misspelt and sums stand below.
    named = sum(text.lower() in birds for text in texts)
    if "bird" in possible and "bird" not in taken and 2 * named > len(texts):
        return "bird"
    if "date" in possible and "date" not in taken and all(map(_is_date, texts)):
        return "date"
    for name in ("foot", "left_reason", "sex", "score", "kind"):
        if name in possible and name not in taken:
            column = possible[name].column
            if all(known(column, text) or proposal(column, text) for text in texts):
                return name
    return ""


def _are_grams(texts: list[str]) -> bool:
    """Whether a bird can weigh so many grams: “weight” may well be in kilograms or pounds."""

    def is_one(text):
        try:
            return read_weight(text, "g") >= LIGHTEST_GRAMS
        except ValueError:
            return True  # not a number, which is said later

    return all(map(is_one, texts))


def _is_date(text: str) -> bool:
    try:
        iso, _ = read_date(text, "day")
    except ValueError:
        try:
            iso, _ = read_date(text, "month")
        except ValueError:
            return False
    return len(iso) == 10


# --- Values of fixed lists


def known(column: Column, text: str) -> str:
    """The value that this text is, or ""."""
    wanted = text.strip().lower()
    for value, label in column.values:
        if wanted in (value.lower(), label.lower()):
            return value
    return ""


def proposal(column: Column, text: str) -> str:
    """What this text may well mean, or ""."""
    wanted = _close(folded(text.strip()))
    part = column.name.removeprefix("left_") if column.name != "left_reason" else column.name
    part = part.removeprefix("right_")
    for value, others in ALSO_WRITTEN.get(part, {}).items():
        if wanted in map(_close, others) and any(value == each for each, _ in column.values):
            return value
    return ""


def _close(text: str) -> str:
    """``L + R`` as ``L+R``."""
    return re.sub(r"\s*([+&/])\s*", r"\1", text)


def parts(column: Column, text: str) -> list[str]:
    """The single values in a cell."""
    if column.kind == Kind.CHOICES:
        return [part.strip() for part in re.split(r"[;,/+&]| and ", text) if part.strip()]
    return [text.strip()]
