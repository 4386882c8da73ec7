"""For a keeper whose edit met that of another: both versions side by side, and a choice."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from django.http import Http404
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from flockcare.core.versions import BOTH, KEEP, MINE, THEIRS, VERSION, Conflict
from flockcare.pages.kinds import KINDS, kind_of
from flockcare.people.kinds import Kind, Names, moment_words
from flockcare.people.models import Revision
from flockcare.people.story import Change, changes, last_changes, revisions_of

LOOKED_BACK = 20


@dataclass(frozen=True)
class Row:
    """One thing that differs. ``options``: what to keep, whose it is, its words, the addresses of
    its pictures, and whether it is chosen already.
    """

    name: str
    label: str
    options: list[tuple[str, str, str, list[str], bool]]


class AnswerEdits:
    """Middleware: an edit of what somebody else has changed or deleted is answered with both."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        return self.get_response(request)

    def process_exception(self, request, exception):
        # Without a membership it is an address of no flock, or of somebody else's.
        if (membership := getattr(request, "membership", None)) is None:
            return None
        flock = membership.flock
        with timezone.override(flock.zone):
            if isinstance(exception, Conflict):
                return conflict_page(request, flock, exception)
            if isinstance(exception, Http404) and VERSION in request.POST:
                return gone_page(request, flock, request.resolver_match.kwargs)
        return None


def conflict_page(request, flock, conflict: Conflict):
    kind = kind_of(conflict.record)
    present = kind.plain_of(kind.snapshot(conflict.record))
    names = Names(flock, [(kind, said) for said in (conflict.mine, conflict.theirs, present)])
    revisions = list(revisions_of(flock, conflict.record.pk)[:LOOKED_BACK])
    told = changes(kind, present, revisions)
    last = last_changes(told)
    others = [last[name] for name in conflict.changed if name in last]
    newest = max(others, key=lambda change: change.revision.pk, default=None)
    return render(
        request,
        "pages/conflict.html",
        {
            "title": kind.title_of(present, names),
            "rows": [_row(kind, name, conflict, last.get(name), names) for name in conflict.names],
            "newest": newest,
            "own": newest and newest.revision.by == request.user,
            "address": request.get_full_path(),
            "page": _page(flock, kind, conflict.record),
            "sent": [
                *sent_again(
                    request.POST, without={VERSION, *(name for name, _ in conflict.basis.carry)}
                ),
                *conflict.basis.carry,
                (VERSION, conflict.record.version),
            ],
        },
        status=409,
    )


def sent_again(data, without=()) -> list[tuple[str, str]]:
    """The fields of a form that was sent, for another one to carry."""
    return [
        (name, value)
        for name, values in data.lists()
        if name not in ("csrfmiddlewaretoken", *without) and not name.startswith(KEEP)
        for value in values
    ]


def _page(flock, kind: Kind, record) -> str:
    view, *arguments = kind.page(record)
    return reverse(view, args=[flock.pk, *arguments])


def _row(kind: Kind, name: str, conflict: Conflict, change: Change | None, names: Names) -> Row:
    mine, theirs = conflict.mine[name], conflict.theirs[name]
    whose = (
        f"{change.revision.author}, {moment_words(change.revision.at, names.flock)}"
        if change
        else "As it is now"
    )
    if name not in conflict.changed:
        whose = "As it was"
    own = "Yours" if name in conflict.touched else "As you had it"
    said = [(MINE, own, mine), (THEIRS, whose, theirs)]
    usual = MINE if name in conflict.touched else THEIRS
    if name in kind.joined:
        both = sorted({*(mine or ()), *(theirs or ())})
        said.append((BOTH, "Both", both))
        usual = BOTH if name in conflict.touched & conflict.changed else usual
    chosen = conflict.basis.keep.get(name, usual)
    options = [
        (
            keep,
            who,
            kind.in_words(name, value, names),
            _pictures(kind, names.flock, value) if name in kind.joined else [],
            keep == chosen,
        )
        for keep, who, value in said
    ]
    return Row(name, kind.label(name), options)


def _pictures(kind: Kind, flock, keys) -> list[str]:
    return [kind.picture(flock, key) for key in keys or ()] if kind.picture else []


# Somebody removed it


def deletion_of(flock, arguments: dict) -> Revision | None:
    """The newest deletion of a record that these arguments of an address name."""
    keys = [value for value in arguments.values() if isinstance(value, uuid.UUID)]
    return (
        Revision.objects.filter(
            flock=flock, record__in=keys, kind__in=KINDS, action=Revision.Action.DELETE
        )
        .select_related("by", "flock")
        .order_by("-pk")
        .first()
    )


def gone_page(request, flock, arguments: dict):
    """For an edit of what is no longer there: what was typed, and a way to save it all the same."""
    revision = deletion_of(flock, arguments)
    kind = KINDS[revision.kind] if revision else None
    return render(
        request,
        "pages/gone.html",
        {
            "revision": revision,
            "kind": kind,
            "typed": _typed(request.POST, kind),
            "address": request.get_full_path(),
            "sent": sent_again(request.POST) if kind and _may_bring_back(request, kind) else None,
        },
        status=404,
    )


def _may_bring_back(request, kind: Kind) -> bool:
    if kind.write is None or kind.bring_back is None:
        return False
    return request.membership.can(kind.write)


def _typed(data, kind: Kind | None) -> list[tuple[str, str]]:
    """The texts among what was sent, under their names."""
    labels = {}
    if kind:
        labels = {column.name: kind.label(column.attname) for column in kind.model._meta.fields}
    return [
        (labels.get(name, name.replace("_", " ").capitalize()), value)
        for name, value in sent_again(data, without={VERSION})
        if value and (not kind or name in labels)
    ]
