"""What a calculation hands back when it has no figure: a reason instead of an exception."""

from __future__ import annotations

import math
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why honest data give no figure.

    `code` is a stable name, `facts` the counts that led there.
    """

    code: str
    facts: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its limits; not-a-number throughout where `refusal` says why."""

    value: float
    low: float
    high: float
    level: float = 0.95
    refusal: Refusal | None = None

    @classmethod
    def refused(cls, code: str, level: float = 0.95, **facts: float) -> Estimate:
        """An estimate without a figure."""
        return cls(math.nan, math.nan, math.nan, level, Refusal(code, facts))


def check_level(level: float) -> None:
    """Raise ValueError unless `level` is a confidence level between 0 and 1."""
    if not 0 < level < 1:
        raise ValueError(f"level must lie between 0 and 1, not {level!r}")
