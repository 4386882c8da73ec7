"""Dates known to the day, the month or only the year (ISO 8601 calendar dates, reduced form)."""

import calendar
import re
from dataclasses import dataclass
from datetime import date

from django import forms
from django.core.exceptions import ValidationError
from django.db import models

FORM = re.compile(r"(\d{4})(?:-(\d{1,2})(?:-(\d{1,2}))?)?")
STORED = "A date like 2023-05-14, or only the month (2023-05) or the year (2023)."
HELP = "A date like 14 May 2023 or 2023-05-14; the month (May 2023) or the year is enough."

# As people write dates besides.
YEAR_FIRST = re.compile(r"(\d{4})[ /.]+(\d{1,2})(?:[ /.]+(\d{1,2}))?")
MONTH_YEAR = re.compile(r"(\d{1,2})[ /.-]+(\d{4})")
NUMBERS = re.compile(r"(\d{1,2})[ /.-]+(\d{1,2})[ /.-]+(\d{4})")
DAY = r"(\d{1,2})(?:st|nd|rd|th)?"
WORDS = re.compile(rf"(?:{DAY}[ .-]+)?([a-z]{{3,}})[ .,-]+(?:{DAY}[ ,]+)?(\d{{4}})", re.IGNORECASE)


@dataclass(frozen=True)
class PartialDate:
    year: int
    month: int | None = None
    day: int | None = None

    @classmethod
    def parse(cls, text: str) -> "PartialDate":
        """Read ``2023``, ``2023-05`` or ``2023-05-14``; ValueError in words for anything else."""
        return cls._parse(text, said=text, help=STORED)

    @classmethod
    def read(cls, text: str) -> "PartialDate":
        """As ``parse``, and what people write besides, such as ``14/5/2023`` and ``May 2023``.

        ValueError in words, also where nothing tells the day from the month.
        """
        text = text.strip()
        if match := NUMBERS.fullmatch(text):
            return cls._of_numbers(text, *map(int, match.groups()))
        return cls._parse(_stored_form(text), said=text, help=HELP)

    @classmethod
    def _parse(cls, text: str, *, said: str, help: str) -> "PartialDate":
        match = FORM.fullmatch(text.strip())
        if not match:
            raise ValueError(f"“{said}” is not a date. {help}")
        year, month, day = (int(part) if part else None for part in match.groups())
        partial = cls(year, month, day)
        try:
            if year < 1950 or 0 in (month, day):
                raise ValueError
            partial.first()
        except ValueError:
            raise ValueError(f"There is no such date as “{said}”. {help}") from None
        return partial

    @classmethod
    def _of_numbers(cls, text: str, one: int, other: int, year: int) -> "PartialDate":
        """Day and month in either order, if only one of them gives a date."""
        found = set()
        for month, day in ((other, one), (one, other)):
            try:
                found.add(cls.parse(f"{year}-{month}-{day}"))
            except ValueError:
                continue
        if not found:
            raise ValueError(f"There is no such date as “{text}”. {HELP}")
        if len(found) == 1:
            return found.pop()
        first, second = sorted(found, key=cls.first)
        raise ValueError(
            f"“{text}” can be {first.words()} or {second.words()}. "
            "Write the month as a word, like one of these."
        )

    def first(self) -> date:
        """The earliest day it can mean."""
        return date(self.year, self.month or 1, self.day or 1)

    def last(self) -> date:
        """The latest day it can mean."""
        month = self.month or 12
        return date(self.year, month, self.day or calendar.monthrange(self.year, month)[1])

    def __str__(self) -> str:
        parts = [f"{self.year:04}", *(f"{part:02}" for part in (self.month, self.day) if part)]
        return "-".join(parts)

    def words(self) -> str:
        if self.day:
            return f"{self.day} {calendar.month_abbr[self.month]} {self.year}"
        if self.month:
            return f"{calendar.month_name[self.month]} {self.year}"
        return str(self.year)


def _stored_form(text: str) -> str:
    """``2023-05-14`` for a date as people write it; what is not understood stays as it is."""
    if match := YEAR_FIRST.fullmatch(text):
        return "-".join(filter(None, match.groups()))
    if match := MONTH_YEAR.fullmatch(text):
        return f"{match[2]}-{match[1]}"
    if (match := WORDS.fullmatch(text)) and (month := _month(match[2])):
        day = match[1] or match[3]
        return f"{match[4]}-{month}" + (f"-{day}" if day else "")
    return text


def _month(word: str) -> int:
    """0 where it is none."""
    names = [name.lower() for name in calendar.month_name]
    return next((n for n, name in enumerate(names) if n and name.startswith(word.lower())), 0)


class PartialDateFormField(forms.CharField):
    def __init__(self, **kwargs):
        kwargs.setdefault("help_text", HELP)
        kwargs.setdefault("widget", forms.TextInput(attrs={"placeholder": "14 May 2023"}))
        super().__init__(**kwargs)

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return ""
        try:
            return str(PartialDate.read(text))
        except ValueError as error:
            raise ValidationError(str(error)) from None


class PartialDateField(models.CharField):
    """Stored as its ISO text, so that it sorts, exports and compares as it reads."""

    def __init__(self, *args, **kwargs):
        kwargs.setdefault("max_length", 10)
        kwargs.setdefault("blank", True)
        kwargs.setdefault("default", "")
        super().__init__(*args, **kwargs)

    def formfield(self, **kwargs):
        # What is stored is short; what is typed may be long, and must not be cut.
        own = {"form_class": PartialDateFormField, "max_length": None}
        return super().formfield(**{**own, **kwargs})

    def validate(self, value, model_instance):
        super().validate(value, model_instance)
        if value:
            try:
                PartialDate.parse(value)
            except ValueError as error:
                raise ValidationError(str(error)) from None
