"""What people write in their own tables, turned into what the exchange holds.

Readers raise ValueError in a keeper's words. Day and month are never guessed: which comes first is
told by a keeper, or by a date that can be read in one way only.
"""

import datetime as dt
import re
from decimal import Decimal, InvalidOperation

DAY_FIRST, MONTH_FIRST = "day", "month"
_NUMBERS = re.compile(r"(\d{1,2})[./\- ](\d{1,2})[./\- ](\d{4}|\d{2})(?!\d)")
_ISO = re.compile(r"(\d{4})(?:[-/.](\d{1,2})(?:[-/.](\d{1,2}))?)?(?!\d)")
_DAY, _MONTH = r"(?P<d>\d{1,2})(?:st|nd|rd|th)?", r"(?P<m>[a-z]{3,9})"
_WORDS = (
    re.compile(rf"{_DAY}[ .\-/]+{_MONTH}\.?[ ,.\-/]+(?P<y>\d{{2,4}})"),
    re.compile(rf"{_MONTH}\.?[ .\-/]+{_DAY},?[ .\-/]+(?P<y>\d{{4}})"),
    re.compile(rf"{_MONTH}\.?[ ,.\-/]+(?P<y>\d{{4}})"),
)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_CLOCK = re.compile(r"(\d{1,2})(?:[:.h](\d{2}))?(?::\d{2})?\s*(am|pm|a\.m\.|p\.m\.)?")
GRAMS = {
    "grams": Decimal(1),
    "kilograms": Decimal(1000),
    # International avoirdupois: NIST Handbook 44, appendix C, from memory.
    "pounds": Decimal("453.59237"),
    "ounces": Decimal("28.349523125"),
}
_UNIT = re.compile(r"\s*(g|gr|grams?|kg|kilograms?|lbs?|pounds?|oz|ounces?|mm|cm|days?)\.?$", re.I)

# What many write, by the value that is proposed for it. A keeper sees and may change each.
ALSO_WRITTEN = {
    "foot": {
        "left": ("l", "lf", "left foot", "li"),
        "right": ("r", "rt", "rf", "right foot", "re"),
        "both": ("b", "both feet", "l+r", "l/r", "l & r", "lr", "left and right"),
    },
    "score": {
        "0": ("none", "clear", "ok", "good", "fine", "healthy", "normal", "no", "clean", "-"),
        "1": ("mild", "small", "slight", "minor", "light", "sore"),
        "2": ("severe", "bad", "large", "big", "swollen", "serious"),
    },
    "scab": {"none": ("no", "-"), "brown": ("yes",), "black": ("dark",)},
    "sex": {
        "hen": ("f", "h", "female", "pullet"),
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
        "medicine": ("antibiotic", "medication"),
    },
}
_YES = ("yes", "y", "x", "true", "1", "✓", "✔", "ja")
_NO = ("no", "n", "false", "0", "-", "nein")


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
    text = text.strip()
    for read in (_of_numbers, _iso, _of_words):
        found = read(text, order)
        if found:
            iso, end = found
            return iso, text[end:].strip(" ,T")
    raise ValueError(f"“{text}” is not a date that can be read.")


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


def _iso(text, _):
    match = _ISO.match(text)
    if not match:
        return None
    year, month, day = match.groups()
    if day:
        return _date(text, int(year), int(month), int(day)), match.end()
    if month and not 1 <= int(month) <= 12:
        raise ValueError(f"There is no such month as “{text}”.")
    return (f"{year}-{int(month):02}" if month else year), match.end()


def _of_words(text, _):
    for pattern in _WORDS:
        match = pattern.match(text.lower())
        if not match or match["m"][:3] not in _MONTHS:
            continue
        month, year = _MONTHS.index(match["m"][:3]) + 1, _year(match["y"])
        if "d" not in match.groupdict():
            return f"{year}-{month:02}", match.end()
        return _date(text, year, month, int(match["d"])), match.end()
    return None


def _year(text: str) -> int:
    if len(text) == 4:
        return int(text)
    # Of two figures: the last hundred years.
    this_year = dt.datetime.now(tz=dt.UTC).year
    year = this_year // 100 * 100 + int(text)
    return year if year <= this_year else year - 100


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


def read_number(text: str) -> Decimal:
    """With a point or a comma; a unit behind it is left out."""
    bare = _UNIT.sub("", text.strip()).replace(" ", "")
    if re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d+)?", bare) and not bare.startswith("0"):
        raise ValueError(f"“{text}”: write it without a comma between thousands.")
    try:
        number = Decimal(bare.replace(",", "."))
    except InvalidOperation:
        number = None
    if number is None or not number.is_finite():
        raise ValueError(f"“{text}” is not a number.")
    return number


def read_yes(text: str) -> str:
    if text.lower() in _YES:
        return "yes"
    if text.lower() in _NO:
        return "no"
    raise ValueError(f"“{text}” is neither yes nor no.")
