"""What happened to a record: who did what when, and what stood there before."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from flockcare.people.kinds import Kind
from flockcare.people.models import Revision


@dataclass(frozen=True)
class Deed:
    """One deed. ``differences``: name, plain value before and after; ``before``: all of it."""

    revision: Revision
    before: dict
    differences: list[tuple[str, object, object]]

    @property
    def by(self) -> str:
        return str(self.revision.by) if self.revision.by else "somebody who is no longer here"


def revisions_of(flock, record) -> Iterable[Revision]:
    """Newest first."""
    return Revision.objects.filter(flock=flock, record=record).select_related("by").order_by("-pk")


def deeds(kind: Kind, present: dict | None, revisions: Iterable[Revision]) -> list[Deed]:
    """What ``revisions``, newest first, tell of a record that is now as ``present`` says."""
    told, after = [], present or {}
    for revision in revisions:
        before = kind.plain_of(revision.before)
        gone = revision.deed == Revision.Deed.DELETE
        differences = [
            (name, value, None if gone else after.get(name))
            for name, value in before.items()
            if gone or (name in after and value != after[name])
        ]
        told.append(Deed(revision, before, differences))
        after = before or after
    return told


def last_changes(told: Iterable[Deed]) -> dict[str, Deed]:
    """For each name the deed that changed it last."""
    last = {}
    for deed in told:
        for name, _, _ in deed.differences:
            last.setdefault(name, deed)
    return last
