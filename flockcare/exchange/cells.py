"""Between values and the text of a cell. Every reader raises ValueError in a keeper's words."""

import math
import re
from datetime import date, datetime, time
from decimal import Decimal

from flockcare.core.dates import PartialDate

ROW_SEPARATOR = ";"
MIDNIGHT, NOON = time(0), time(12)
# Dates beyond these are slips of the keyboard, and far ones no calendar can reckon with.
EARLIEST, LATEST = date(1950, 1, 1), date(2199, 12, 31)

# A spreadsheet takes such a text for a formula. The apostrophe in front keeps it a text, and texts
# that begin with apostrophes of their own before such a sign get one more, so that nothing is lost.
# The signs: OWASP, "CSV Injection", from memory; in both widths, and behind blanks, which some
# spreadsheets pass over.
_SIGN = r"(?:[\t\r\n]|\s*[=+\-@＝＋－＠])"
_FORMULA = re.compile(rf"'*{_SIGN}")
_GUARDED = re.compile(rf"'+{_SIGN}")

# NUL, and halves of characters, which JSON can hold; PostgreSQL refuses both.
_UNKEEPABLE = re.compile("[\0\ud800-\udfff]")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_CLOCK = re.compile(r"\d{1,2}:\d\d(:\d\d)?([+-]\d\d:\d\d)?")
_INSTANT = re.compile(r"(\d{4}-\d\d-\d\d)[ T](\d\d:\d\d(:\d\d(\.\d{1,6})?)?([+-]\d\d:\d\d)?)")
_EXACT = re.compile(r"[+-]?\d{1,30}(\.\d{1,30})?(e[+-]?\d{1,3})?")
_INTEGER = re.compile(r"[+-]?\d{1,15}(\.0+)?")
# Room for every figure of a number that was worked out, such as a third of an inch in cm.
_NUMBER = re.compile(r"[+-]?\d{1,15}(\.\d{1,30})?")


def guard(text: str) -> str:
    return f"'{text}" if _FORMULA.match(text) else text


def unguard(text: str) -> str:
    return text[1:] if _GUARDED.match(text) else text


# --- Writing


def number_text(value) -> str:
    """The shortest plain decimal form; empty for None."""
    return "" if value is None else format(Decimal(str(value)).normalize(), "f")


def exact_text(value: float) -> str:
    """The shortest text that is read as the same number again."""
    return repr(float(value)).removesuffix(".0")


def number_rows_text(rows) -> str:
    return ROW_SEPARATOR.join(" ".join(map(exact_text, row)) for row in rows)


def clock_text(local: datetime) -> str:
    """Local time to the minute, or the second where there are any.

    The offset is added in the hour that a clock shows twice, where it means the second time.
    """
    text = f"{local:%H:%M:%S}" if local.second else f"{local:%H:%M}"
    return text + local.isoformat()[-6:] if local.fold else text


def moment_text(at: datetime | None, zone) -> str:
    """Local time with all its figures and its offset from UTC, as RFC 3339 has it."""
    return at.astimezone(zone).isoformat(" ") if at else ""


# --- Reading


def day(text: str) -> date:
    if not _DAY.fullmatch(text):
        raise ValueError(f"“{text}” is not a date. Write it like 2023-05-14.")
    try:
        found = date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"There is no such date as “{text}”.") from None
    _is_meant(text, found)
    return found


def partial(text: str) -> PartialDate:
    found = PartialDate.parse(text)
    _is_meant(text, found.last())
    return found


def partial_day(text: str) -> str:
    return str(partial(text))


def _is_meant(text: str, on: date) -> None:
    if not EARLIEST <= on <= LATEST:
        when = "long ago" if on < EARLIEST else "far ahead"
        raise ValueError(f"“{text}” is too {when}. Check it.")


def clock(text: str) -> time:
    """A local time of day; aware when the text gives an offset from UTC."""
    try:
        if _CLOCK.fullmatch(text):
            return time.fromisoformat(text if text[1] != ":" and text[2] == ":" else f"0{text}")
    except ValueError:
        pass
    raise ValueError(f"“{text}” is not a time of day. Write it like 16:05.")


def moment(on: date, at: time, zone) -> datetime:
    """An aware moment from a local day and time."""
    return datetime.combine(on, at, tzinfo=at.tzinfo or zone)


def integer(text: str) -> int:
    if not _INTEGER.fullmatch(text):
        raise ValueError(f"“{text}” is not a whole number.")
    return int(Decimal(text))


def decimal(text: str) -> Decimal:
    if not _NUMBER.fullmatch(text):
        hint = " Write it with a point, like 3.5." if "," in text else ""
        raise ValueError(f"“{text}” is not a number.{hint}")
    return Decimal(text)


def real(text: str) -> float:
    return float(decimal(text))


def exact(text: str) -> float:
    """What ``exact_text`` wrote."""
    if not _EXACT.fullmatch(text) or not math.isfinite(float(text)):
        raise ValueError(f"“{text}” is not a number.")
    return float(text)


def number_rows(text: str, width: int) -> list[list[float]]:
    """Rows of ``width`` numbers: ``1.5 2;3 4``."""
    rows = [[exact(part) for part in row.split()] for row in text.split(ROW_SEPARATOR)]
    for number, row in enumerate(rows, 1):
        if len(row) != width:
            raise ValueError(f"Part {number} has {len(row)} numbers in place of {width}.")
    return rows


def instant(zone, *, latest: datetime | None = None):
    """A reader for a day and time, not after ``latest``; with an offset, or in ``zone``."""

    def read(text):
        match = _INSTANT.fullmatch(text)
        if not match:
            raise ValueError(f"“{text}” is not a day and time. Write it like 2023-05-14 16:05.")
        on = day(match[1])
        try:
            at = moment(on, time.fromisoformat(match[2]), zone)
        except ValueError:
            raise ValueError(f"There is no such time as “{match[2]}”.") from None
        if latest and at > latest:
            raise ValueError(f"{text} is in the future.")
        return at

    return read


def yes_or_no(text: str) -> bool:
    answers = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
    if text.lower() not in answers:
        raise ValueError(f"“{text}” is neither yes nor no.")
    return answers[text.lower()]


def sha256(text: str) -> str:
    if not re.fullmatch(r"[0-9a-f]{64}", text):
        raise ValueError("This is not a SHA-256 in 64 small hexadecimal digits.")
    return text


def plain(text: str) -> str:
    if _UNKEEPABLE.search(text):
        raise ValueError("It has a character that can’t be saved.")
    return text
