"""What happened to a record: who did what when, and what stood there before."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from flockcare.core.versions import UNREADABLE
from flockcare.people.kinds import Kind, Names
from flockcare.people.models import Revision


@dataclass(frozen=True)
class Change:
    """One change. ``differences``: name, plain value before and after; ``before``: all of it."""

    revision: Revision
    before: dict
    differences: list[tuple[str, object, object]]


def revisions_of(flock, record) -> Iterable[Revision]:
    """Newest first."""
    found = Revision.objects.filter(flock=flock, record=record)
    return found.select_related("by", "flock").order_by("-pk")


def plain_before(kind: Kind, revision: Revision) -> dict:
    """The plain values of what was kept; none where that cannot be read, as an import may be."""
    nameless = Names(revision.flock, ())
    try:
        plain = kind.plain_of(revision.before)
        for name, value in plain.items():
            kind.in_words(name, value, nameless)
    except UNREADABLE:
        return {}
    return plain


def changes(kind: Kind, present: dict | None, revisions: Iterable[Revision]) -> list[Change]:
    """What ``revisions``, newest first, tell of a record that is now as ``present`` says."""
    told, after = [], present or {}
    for revision in revisions:
        before = plain_before(kind, revision)
        differences = []
        if revision.action == Revision.Action.CHANGE:
            differences = [
                (name, value, after[name])
                for name, value in before.items()
                if name in after and value != after[name]
            ]
        told.append(Change(revision, before, differences))
        after = before or after
    return told


def last_changes(told: Iterable[Change]) -> dict[str, Change]:
    """For each name the change that changed it last."""
    last = {}
    for change in told:
        for name, _, _ in change.differences:
            last.setdefault(name, change)
    return last
