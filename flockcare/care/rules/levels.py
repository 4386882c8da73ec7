"""How urgent an advice is, what a rule is, and how sure its source."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum

from flockcare.care.rules.signs import Situation


class Advice(IntEnum):
    """The stronger, the higher. LOOK: too little is known, so it is no calmer than LEAVE."""

    LOOK = 0
    LEAVE = 1
    HOME = 2
    ASK = 3
    SOON = 4
    NOW = 5

    @property
    def words(self) -> str:
        return {
            Advice.LOOK: "Check again first",
            Advice.LEAVE: "Leave and monitor",
            Advice.HOME: "Care at home",
            Advice.ASK: "Ask a vet, not urgent",
            Advice.SOON: "Vet within days",
            Advice.NOW: "Vet today",
        }[self]

    @property
    def means(self) -> str:
        """What to do, and by when. Our own choice, no published source."""
        return {
            Advice.ASK: "When you next speak to a vet, within two weeks.",
            Advice.SOON: f"Ring today; {self.seen_by}.",
            Advice.NOW: f"Ring now; {self.seen_by}.",
        }.get(self, "")

    @property
    def seen_within_days(self) -> int:
        """Within how many days a vet is to see her; 0 where nothing is urgent."""
        return {Advice.SOON: 2, Advice.NOW: 1}.get(self, 0)

    @property
    def seen_by(self) -> str:
        days = self.seen_within_days
        return f"to be seen within {'a day' if days == 1 else f'{days} days'}"

    @property
    def is_for_vet(self) -> bool:
        return self >= Advice.ASK

    @property
    def is_urgent(self) -> bool:
        return self >= Advice.SOON

    @property
    def is_now(self) -> bool:
        return self == Advice.NOW


class Mark(StrEnum):
    """How sure it is that a rule is what its source says."""

    SEEN = "checked against the original"
    EXCERPT = "read in an excerpt or a copy"
    MEMORY = "not checked against the original"
    SECOND_HAND = "as others quote it, not checked against the original"
    JOINED = "put together from several sources, no single one says it"
    PRACTICE = "common practice, no published source"


@dataclass(frozen=True)
class Rule:
    """``holds`` says whether the sign is there: yes, no or not known.

    ``of``: whether it is a sign of the ``foot`` or of the ``bird``. ``look_at`` is what a keeper
    should look at where it is not known. ``look_again_days``: how long after a check the next one
    is due, where the reason says so. ``soak``: whether the reason says to soak and cover the foot.
    ``notifiable``: the sign is also one of diseases that must be reported. ``plan_knows``: whether
    a vet's plan that holds knows of the sign; None: as it knows all but what calls for a vet today.
    """

    key: str
    sign: str
    threshold: str
    advice: Advice
    reason: str
    source: str
    mark: Mark
    holds: Callable[[Situation], bool | None] = field(repr=False)
    look_at: str = ""
    of: str = "foot"
    look_again_days: int | None = None
    soak: bool = False
    notifiable: bool = False
    plan_knows: bool | None = None
