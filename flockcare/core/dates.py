"""Dates known to the day, the month or only the year (ISO 8601 calendar dates, reduced form)."""

import calendar
import re
from dataclasses import dataclass
from datetime import date

from django import forms
from django.core.exceptions import ValidationError
from django.db import models

FORM = re.compile(r"(\d{4})(?:-(\d{1,2})(?:-(\d{1,2}))?)?")
HELP = "A date like 2023-05-14, or only the month (2023-05) or the year (2023)."


@dataclass(frozen=True)
class PartialDate:
    year: int
    month: int | None = None
    day: int | None = None

    @classmethod
    def parse(cls, text: str) -> "PartialDate":
        """Read ``2023``, ``2023-05`` or ``2023-05-14``; ValueError in words for anything else."""
        match = FORM.fullmatch(text.strip())
        if not match:
            raise ValueError(f"“{text}” is not a date. {HELP}")
        year, month, day = (int(part) if part else None for part in match.groups())
        partial = cls(year, month, day)
        try:
            if year < 1950:
                raise ValueError
            partial.first()
        except ValueError:
            raise ValueError(f"There is no such date as “{text}”. {HELP}") from None
        return partial

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


class PartialDateFormField(forms.CharField):
    def __init__(self, **kwargs):
        kwargs.setdefault("help_text", HELP)
        kwargs.setdefault("widget", forms.TextInput(attrs={"placeholder": "2023-05-14"}))
        super().__init__(**kwargs)

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return ""
        try:
            partial = PartialDate.parse(text)
        except ValueError as error:
            raise ValidationError(str(error)) from None
        return str(partial)


class PartialDateField(models.CharField):
    """Stored as its ISO text, so that it sorts, exports and compares as it reads."""

    def __init__(self, *args, **kwargs):
        kwargs.setdefault("max_length", 10)
        kwargs.setdefault("blank", True)
        kwargs.setdefault("default", "")
        super().__init__(*args, **kwargs)

    def formfield(self, **kwargs):
        return super().formfield(**{"form_class": PartialDateFormField, **kwargs})

    def validate(self, value, model_instance):
        super().validate(value, model_instance)
        if value:
            try:
                PartialDate.parse(value)
            except ValueError as error:
                raise ValidationError(str(error)) from None
