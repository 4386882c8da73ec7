"""What people write in their own tables, turned into what the exchange holds.

Readers raise ValueError in a keeper's words. Day and month are never guessed: which comes first is
told by a keeper, or by a date that can be read in one way only.
"""

import datetime as dt
import re
import unicodedata
from decimal import Decimal

DAY_FIRST, MONTH_FIRST = "day", "month"
_BETWEEN = r"(?:\s?[./\-]\s?|\s)"
_NUMBERS = re.compile(rf"(\d{{1,2}}){_BETWEEN}(\d{{1,2}}){_BETWEEN}(\d{{4}}|\d{{2}})(?!\d)")
_MONTH_AND_YEAR = re.compile(r"(\d{1,2})\s?[./\-]\s?(\d{4})(?![\d./\-])")
_ISO = re.compile(r"(\d{4})(?:[-/.](\d{1,2})(?:[-/.](\d{1,2}))?)?(?!\d)")
_DAY, _MONTH = r"(?P<d>\d{1,2})(?:st|nd|rd|th|er|º|°)?", r"(?P<m>[^\W\d_]{3,10})"
_OF = r"(?:\s+d[ei]l?\s+|\s+d['’]|[ ,.\-/]+)"
_WORDS = (
    re.compile(rf"{_DAY}{_OF}{_MONTH}\.?{_OF}(?P<y>\d{{2,4}})"),
    re.compile(rf"{_MONTH}\.?[ .\-/]+{_DAY},?[ .\-/]+(?P<y>\d{{4}})"),
    re.compile(rf"{_MONTH}\.?{_OF}(?P<y>\d{{4}})"),
)
# English, German, French, Spanish, Dutch, Italian, without accents; and what is no beginning of
# them. The names of months as in the Unicode locale data, from memory.
_MONTHS = (
    "january januar janner janvier enero januari gennaio",
    "february februar feber fevrier febrero februari febbraio",
    "march marz mars marzo maart mrt mrz",
    "april avril abril aprile",
    "may mai mayo mei maggio",
    "june juni juin junio giugno",
    "july juli juillet julio luglio",
    "august aout agosto augustus",
    "september septembre septiembre settembre",
    "october oktober octobre octubre ottobre",
    "november novembre noviembre",
    "december dezember decembre diciembre dicembre",
)
_CALLED_MONTHS = {name: at for at, names in enumerate(_MONTHS, 1) for name in names.split()}
_LETTERS_OF_MONTHS = 3
_MONTH_AND_TWO = re.compile(rf"{_MONTH}\.?[ .\-/’']+\d{{2}}")
# What stands before a year that is known no better; in the languages of the months, from memory.
_ABOUT = re.compile(
    r"(?:c|ca|circa|about|approx|approximately|around|etwa|um|vers|environ|hacia|rond|~)\.?\s*"
    r"(?P<y>\d{4})"
)
_SEASON = re.compile(
    r"(?:spring|summer|autumn|fall|winter|fruhjahr|fruhling|fruehjahr|sommer|herbst|printemps|ete|"
    r"automne|hiver|primavera|verano|otono|invierno|voorjaar|lente|zomer|herfst|estate|autunno|"
    r"inverno)\s+(?P<y>\d{4})"
)
_CLOCK = re.compile(r"(\d{1,2})(?:[:.h](\d{2}))?(?::\d{2})?\s*(am|pm|a\.m\.|p\.m\.)?")
# Units that are told apart: what each measures, and how many of the first of its kind it is.
_UNITS = {
    "g": ("weight", Decimal(1)),
    "kg": ("weight", Decimal(1000)),
    # International avoirdupois: NIST Handbook 44, appendix C, from memory.
    "lb": ("weight", Decimal("453.59237")),
    "oz": ("weight", Decimal("28.349523125")),
    "mm": ("length", Decimal(1)),
    "cm": ("length", Decimal(10)),
    "days": ("time", Decimal(1)),
}
_WRITTEN = {
    "g": ("gr", "gram", "grams"),
    "kg": ("kgs", "kilo", "kilos", "kilogram", "kilograms"),
    "lb": ("lbs", "pound", "pounds"),
    "oz": ("ounce", "ounces"),
    "days": ("day",),
}
_CALLED = {each: unit for unit in _UNITS for each in (unit, *_WRITTEN.get(unit, ()))}
# Columns of weights, by the name of their unit.
WEIGHTS = {"grams": "g", "kilograms": "kg", "pounds": "lb", "ounces": "oz"}
_QUANTITY = re.compile(r"([+-]?[\d.,'’\s]*\d)\s*([a-z]*)\.?", re.I)
_NUMBER = re.compile(r"[+-]?(\d{1,15}([.,]\d{1,30})?|[.,]\d{1,30})")
_THREE_BEHIND = re.compile(r"[1-9]\d{0,2}[.,]\d{3}")

# What many write, by the value that is proposed for it. A keeper sees and may change each.
ALSO_WRITTEN = {
    "foot": {
        # Dutch has “linker”, as German has.
        "left": (
            *("l", "lf", "left foot", "left leg", "li", "links", "linker", "linker fuss", "linke"),
            *("gauche", "g", "izquierda", "izquierdo", "izq", "sinistra", "sinistro", "sx", "sin"),
        ),
        "right": (
            *("r", "rt", "rf", "right foot", "right leg", "re", "rechts", "rechter", "rechte"),
            *("rechter fuss", "droite", "droit", "d", "derecha", "derecho", "der", "dx"),
            *("destra", "destro"),
        ),
        "both": (
            *("b", "both feet", "both", "l+r", "l/r", "l & r", "l&r", "lr", "left and right"),
            *("beide", "beide fusse", "beidseits", "beidseitig", "links und rechts", "li+re"),
            *("les deux", "deux", "ambos", "ambas", "entrambi", "entrambe", "beiden"),
            *("links en rechts", "re+li", "r+l", "r/l"),
        ),
    },
    "score": {
        # Not “-”: that may say that nobody looked.
        "0": ("none", "clear", "ok", "good", "fine", "healthy", "normal", "no", "clean"),
        "1": ("mild", "small", "slight", "minor", "light", "sore"),
        "2": ("severe", "bad", "large", "big", "swollen", "serious"),
    },
    "scab": {"none": ("no", "-"), "brown": ("yes",), "black": ("dark",)},
    "sex": {
        "hen": ("f", "h", "w", "female", "pullet"),
        "cock": ("m", "c", "male", "rooster", "cockerel"),
        "unknown": ("?", "not known"),
    },
    "left_reason": {
        "died": ("dead", "death", "deceased", "illness"),
        "culled": ("put down", "euthanised", "euthanized", "cull"),
        "given away": ("sold", "rehomed", "gone", "given"),
        "predator": ("fox", "hawk", "marten", "taken"),
        "missing": ("lost",),
    },
    "kind": {
        "soaked": ("soak", "bath", "foot bath", "epsom soak"),
        "ointment": ("cream", "salve"),
        "dressing on": ("bandage", "bandaged", "wrap", "wrapped", "dressing", "dressed"),
        "dressing changed": ("bandage changed", "redressed", "changed"),
        "dressing off": ("bandage off", "unwrapped"),
        "scab lifted": ("scab removed", "plug out"),
        "rinsed": ("rinse", "cleaned", "washed", "flushed"),
        "watched": ("watch", "left", "nothing"),
        "medicine": ("antibiotic", "medication", "meds", "wormer", "wormed"),
        "vaccine": ("vaccination", "vaccine given", "vaccinated against", "jab"),
    },
}
_YES = ("yes", "y", "x", "true", "1", "✓", "✔", "ja", "oui", "si", "sí", "sì")
_NO = ("no", "n", "false", "0", "nein", "non", "nee")
# Of the words above those that say more than the value: they are kept beside it.
SAY_MORE = {"epsom soak", "foot bath", "cream", "salve", "antibiotic", "wormer", "wormed"}


def date_order(texts) -> tuple[str, bool]:
    """What the dates themselves tell: an order or "", and whether one must be told at all.

    ``("", False)`` also where some dates can be read in one way only and some in the other.
    """
    told, any_of_numbers = set(), False
    for text in texts:
        match = _NUMBERS.match(text.strip())
        if not match:
            continue
        any_of_numbers = True
        first, second = int(match[1]), int(match[2])
        if first > 12 >= second:
            told.add(DAY_FIRST)
        elif second > 12 >= first:
            told.add(MONTH_FIRST)
    return (told.pop() if len(told) == 1 else ""), any_of_numbers


def read_date(text: str, order: str) -> tuple[str, str]:
    """ISO date (also of a month or a year) and what stands behind it, such as a time."""
    text = unicodedata.normalize("NFC", text.strip())
    for read in (_of_numbers, _month_and_year, _iso, _of_words):
        found = read(text, order)
        if found:
            iso, end = found
            return iso, text[end:].strip(" ,T")
    match = _MONTH_AND_TWO.fullmatch(text.lower())
    if match and month_called(match["m"]):
        raise ValueError(f"“{text}” can be a day or a year. Write the year in full.")
    raise ValueError(f"“{text}” is not a date that can be read.")


def read_roughly(text: str) -> str:
    """The year of ``ca. 2020`` or ``spring 2022``, where a year is enough; else ""."""
    plain = folded(text.strip())
    match = _ABOUT.fullmatch(plain) or _SEASON.fullmatch(plain)
    return match["y"] if match else ""


def _of_numbers(text, order):
    match = _NUMBERS.match(text)
    if not match:
        return None
    if not order:
        raise ValueError(f"Say above whether “{text}” begins with the day or with the month.")
    day, month = (int(match[1]), int(match[2]))
    if order == MONTH_FIRST:
        day, month = month, day
    return _date(text, _year(match[3]), month, day), match.end()


def _month_and_year(text, _):
    match = _MONTH_AND_YEAR.match(text)
    return (_month(text, match[2], match[1]), match.end()) if match else None


def _iso(text, _):
    match = _ISO.match(text)
    if not match:
        return None
    year, month, day = match.groups()
    if day:
        return _date(text, int(year), int(month), int(day)), match.end()
    return (_month(text, year, month) if month else year), match.end()


def _month(text, year: str, month: str) -> str:
    if not 1 <= int(month) <= 12:
        raise ValueError(f"There is no such month as “{text}”.")
    return f"{year}-{int(month):02}"


def _of_words(text, _):
    for pattern in _WORDS:
        match = pattern.match(text.lower())
        month = match and month_called(match["m"])
        if not month:
            continue
        year = _year(match["y"])
        if "d" not in match.groupdict():
            return f"{year}-{month:02}", match.end()
        return _date(text, year, month, int(match["d"])), match.end()
    return None


def month_called(word: str) -> int:
    """1 to 12 for the name of a month or the beginning of one; 0 where it is none, or could be two
    as in “jui”.
    """
    word = folded(word)
    found = {at for name, at in _CALLED_MONTHS.items() if name.startswith(word)}
    return found.pop() if len(found) == 1 and len(word) >= _LETTERS_OF_MONTHS else 0


def folded(text: str) -> str:
    """Small letters without accents."""
    apart = unicodedata.normalize("NFKD", text.lower().replace("ß", "ss"))
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


def _year(text: str) -> int:
    if len(text) == 4:
        return int(text)
    # Of two figures: the last ninety years, and some ahead for what is due.
    latest = dt.datetime.now(tz=dt.UTC).year + 10
    year = latest // 100 * 100 + int(text)
    return year if year <= latest else year - 100


def _date(text, year, month, day) -> str:
    try:
        return dt.date(year, month, day).isoformat()
    except ValueError:
        raise ValueError(f"There is no such date as “{text}”.") from None


def read_time(text: str) -> str:
    match = _CLOCK.fullmatch(text.strip().lower())
    hour, minute = (int(match[1]), int(match[2] or 0)) if match else (99, 0)
    half = (match[3] or "").replace(".", "") if match else ""
    if half and hour <= 12:
        hour = hour % 12 + (12 if half == "pm" else 0)
    if hour > 23 or minute > 59 or not (half or (match and match[2])):
        raise ValueError(f"“{text}” is not a time of day. Write it like 16:05.")
    return f"{hour:02}:{minute:02}"


def read_number(text: str, unit: str) -> Decimal:
    """A number of ``unit``, with a point or a comma; another unit behind it is reckoned over."""
    figures, said = _quantity(text)
    if "," in figures and _THREE_BEHIND.fullmatch(figures):
        raise ValueError(f"“{text}”: write it without a comma between thousands.")
    return _number(figures, text) * _times(said or unit, unit, text)


def read_weight(text: str, unit: str) -> int:
    """Grams, from a number of ``unit`` or of the unit that stands behind it.

    Three figures behind a point or comma are thousands of grams, and parts of a kilogram or pound:
    no hen weighs 2.100 g or 2100 kg.
    """
    figures, said = _quantity(text)
    said = said or unit
    if _THREE_BEHIND.fullmatch(figures):
        if said == "oz":
            raise ValueError(f"“{text}”: write it without a point or comma between thousands.")
        if said == "g":
            figures = figures.replace(",", "").replace(".", "")
    return round(_number(figures, text) * _times(said, "g", text))


def _quantity(text: str) -> tuple[str, str]:
    """The figures without what only parts thousands, and the unit behind them or ""."""
    match = _QUANTITY.fullmatch(text.strip())
    word = match[2].lower() if match else ""
    if not match or (word and word not in _CALLED):
        raise ValueError(f"“{text}” is not a number.")
    return re.sub(r"[\s'’]", "", match[1]), _CALLED.get(word, "")


def _number(figures: str, text: str) -> Decimal:
    if not _NUMBER.fullmatch(figures):
        raise ValueError(f"“{text}” is not a number.")
    return Decimal(figures.replace(",", "."))


def _times(said: str, unit: str, text: str) -> Decimal:
    """How many of ``unit`` one of the unit is that somebody wrote."""
    if said == unit:
        return Decimal(1)
    (measures, size), (wanted, of) = _UNITS[said], _UNITS.get(unit, ("", 1))
    if measures != wanted:
        raise ValueError(
            f"“{text}” is not a number of {unit}." if unit else f"“{text}” has a unit."
        )
    return size / of


_BOTH_SCORES = re.compile(
    r"(?:l\w*\W*)?([012?-])\s*[/|;,:+ ]\s*(?:r\w*\W*)?([012?-])", re.IGNORECASE
)


def read_both_scores(text: str) -> dict[str, str]:
    """``0/2`` or ``L0 R2``: the score of the left foot, then of the right; - or ? for not checked.

    A foot that was not checked is left out.
    """
    match = _BOTH_SCORES.fullmatch(text.strip())
    if not match:
        raise ValueError(f"“{text}” is not two scores. Write the left foot first, as in 0/2.")
    scores = {"left_score": match[1], "right_score": match[2]}
    return {foot: score for foot, score in scores.items() if score.isdigit()}


_SUM = re.compile(
    r"(?:grand |sub)?(?:total|totals|sum|summe|gesamt|insgesamt|average|mean|count|anzahl|totaal|"
    r"totale|somme)\b[\s:=]*[\d.,]*"
)


def is_sum(text: str) -> bool:
    """Whether it stands below a table for what the rows come to."""
    return bool(_SUM.fullmatch(folded(text.strip())))


def read_yes(text: str) -> str:
    if text.lower() in _YES:
        return "yes"
    if text.lower() in _NO:
        return "no"
    if text == "-":  # May say that nobody looked.
        return ""
    raise ValueError(f"“{text}” is neither yes nor no.")
