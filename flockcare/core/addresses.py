"""Addresses of pages, whose shape is looked up once: a page has dozens of them."""

import uuid
from collections.abc import Callable
from functools import cache

from django.urls import get_script_prefix, reverse


def address(view: str, *keys: uuid.UUID) -> str:
    """The address of ``view``, whose arguments are all keys of records."""
    pieces = _shape(get_script_prefix(), view, len(keys), ())
    return "".join([f"{piece}{key}" for piece, key in zip(pieces, keys, strict=False)]) + pieces[-1]


def urls_of(view: str, flock_id: uuid.UUID, *after: object) -> Callable[[uuid.UUID], str]:
    """The address of ``view`` as a function of a record's key.

    The view's arguments are the flock, the record and then ``after``.
    """
    start, middle, end = _shape(get_script_prefix(), view, 2, after)
    before = f"{start}{flock_id}{middle}"
    return lambda key: f"{before}{key}{end}"


@cache
def _shape(prefix: str, view: str, keys: int, after: tuple) -> tuple[str, ...]:
    """What stands before, between and after the keys; ``prefix`` is what ``reverse`` puts first."""
    stand_ins = [uuid.UUID(int=(0xF10C << 112) + number) for number in range(keys)]
    rest = reverse(view, args=[*stand_ins, *after])
    pieces = []
    for stand_in in stand_ins:
        piece, rest = rest.split(str(stand_in), 1)
        pieces.append(piece)
    return (*pieces, rest)
