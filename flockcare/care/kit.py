"""What of the kit is there, low, opened too long or past its date, and what to buy."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from flockcare.care.models import KitItem
from flockcare.care.starting_kit import STARTING_KIT, Thing
from flockcare.people.models import Flock

SOON_DAYS = 30


@dataclass(frozen=True)
class Shelf:
    """A thing of the kit as it stands today."""

    item: KitItem
    today: date

    @property
    def days_left(self) -> int | None:
        """Until the last day on which it may be used; below zero when that is past."""
        return (self.item.use_by - self.today).days if self.item.use_by else None

    @property
    def expired(self) -> bool:
        return self.days_left is not None and self.days_left < 0

    @property
    def expires_soon(self) -> bool:
        return self.days_left is not None and 0 <= self.days_left <= SOON_DAYS

    @property
    def used_up(self) -> bool:
        return self.item.stock is not None and self.item.stock <= 0

    @property
    def low(self) -> bool:
        item = self.item
        if item.stock is None or self.used_up:
            return False
        return item.low_at is not None and item.stock <= item.low_at

    @property
    def to_buy(self) -> bool:
        return self.expired or self.used_up or self.low

    @property
    def usable(self) -> bool:
        return not self.expired and not self.used_up

    @property
    def stock_words(self) -> str:
        stock = self.item.stock
        if stock is None:
            return "not counted"
        if stock <= 0:
            return "none left" if stock == 0 else "none left: count again"
        return f"{stock.normalize():f} {self.item.unit}".strip()

    @property
    def warning(self) -> str:
        if self.expired:
            return f"past its date since {self.item.use_by:%d %b %Y}".replace(" 0", " ")
        if self.used_up:
            return "none left"
        if self.low:
            return "low"
        if self.expires_soon:
            return f"use by {self.item.use_by.day} {self.item.use_by:%b %Y}"
        return ""


def shelves(items: Iterable[KitItem], *, today: date) -> list[Shelf]:
    return [Shelf(item, today) for item in items]


def missing_things(items: Iterable[KitItem]) -> list[Thing]:
    """The usual things of which the kit has neither the kind nor the name."""
    items = list(items)
    kinds = {item.kind for item in items}
    names = {item.name.casefold() for item in items}
    return [
        thing
        for thing in STARTING_KIT
        if thing.kind not in kinds and thing.name.casefold() not in names
    ]


def to_buy(flock: Flock, *, today: date) -> list[Shelf]:
    """What there is none left of, low or past its date; one query."""
    held = shelves(KitItem.objects.filter(flock=flock), today=today)
    return [shelf for shelf in held if shelf.to_buy]
