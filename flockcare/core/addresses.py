"""Addresses of pages, whose shape is looked up once: a page has dozens of them."""

import uuid
from collections.abc import Callable
from functools import cache

from django.urls import get_script_prefix, reverse


def address(view: str, *arguments: object) -> str:
    """The address of ``view``; of its arguments, keys of records may be any, others are few."""
    keys = [each for each in arguments if isinstance(each, uuid.UUID)]
    rest = tuple([None if isinstance(each, uuid.UUID) else each for each in arguments])
    pieces = _shape(get_script_prefix(), view, rest)
    return "".join([f"{piece}{key}" for piece, key in zip(pieces, keys, strict=False)]) + pieces[-1]


def urls_of(view: str, flock_id: uuid.UUID, *after: object) -> Callable[[uuid.UUID], str]:
    """The address of ``view`` as a function of a record's key.

    The view's arguments are the flock, the record and then ``after``.
    """
    start, middle, end = _shape(get_script_prefix(), view, (None, None, *after))
    before = f"{start}{flock_id}{middle}"
    return lambda key: f"{before}{key}{end}"


@cache
def _shape(prefix: str, view: str, arguments: tuple) -> tuple[str, ...]:
    """What stands before, between and after the keys, which are None here.

    ``prefix`` is what ``reverse`` puts first.
    """
    keys = [uuid.UUID(int=(0xF10C << 112) + number) for number in range(arguments.count(None))]
    waiting = iter(keys)
    rest = reverse(view, args=[next(waiting) if each is None else each for each in arguments])
    pieces = []
    for key in keys:
        piece, rest = rest.split(str(key), 1)
        pieces.append(piece)
    return (*pieces, rest)
