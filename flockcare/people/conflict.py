"""The page for a keeper whose edit met that of another: both side by side, and a choice."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from django.shortcuts import render
from django.urls import reverse

from flockcare.core.versions import BOTH, KEEP, MINE, SEEN, THEIRS, Conflict, version_of
from flockcare.people.kinds import Kind, Names, kind_of, kinds_by_label, moment_words
from flockcare.people.models import Revision
from flockcare.people.story import Deed, deeds, last_changes, revisions_of

LOOKED_BACK = 20
NOT_SENT_AGAIN = ("csrfmiddlewaretoken", SEEN, BRING_BACK := "version-bring-back")


@dataclass(frozen=True)
class Row:
    """One thing that differs. ``options``: what to keep, whose it is, its words, the keys of its
    photos, and whether it is chosen already.
    """

    name: str
    label: str
    options: list[tuple[str, str, str, list[str], bool]]


def conflict_page(request, flock, conflict: Conflict):
    kind = kind_of(conflict.record)
    present = kind.plain_of(kind.snapshot(conflict.record))
    names = Names(flock, [(kind, said) for said in (conflict.mine, conflict.theirs, present)])
    told = deeds(kind, present, revisions_of(flock, conflict.record.pk)[:LOOKED_BACK])
    last = last_changes(told)
    newest = next((last[name] for name in conflict.names if name in last), None)
    return render(
        request,
        "people/conflict.html",
        {
            "title": kind.title_of(present, names),
            "rows": [_row(kind, name, conflict, last.get(name), names) for name in conflict.names],
            "newest": newest,
            "address": request.get_full_path(),
            "page": _page(flock, kind, conflict.record),
            "sent": [
                *sent_again(request.POST, without={name for name, _ in conflict.basis.carry}),
                *conflict.basis.carry,
                (SEEN, version_of({name: conflict.theirs[name] for name in conflict.basis.made})),
            ],
        },
        status=409,
    )


def sent_again(data, without=()) -> list[tuple[str, str]]:
    """The fields of a form that was sent, for another one to carry."""
    return [
        (name, value)
        for name, values in data.lists()
        if name not in (*NOT_SENT_AGAIN, *without) and not name.startswith(KEEP)
        for value in values
    ]


def _page(flock, kind: Kind, record) -> str:
    view, *arguments = kind.page(record)
    return reverse(view, args=[flock.pk, *arguments])


def _row(kind: Kind, name: str, conflict: Conflict, deed: Deed | None, names: Names) -> Row:
    mine, theirs = conflict.mine[name], conflict.theirs[name]
    whose = f"{deed.by}, {moment_words(deed.revision.at, names.flock)}" if deed else "As it is now"
    if name not in conflict.changed:
        whose = "As it was"
    said = [(MINE, "Yours", mine), (THEIRS, whose, theirs)]
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
            value if name in kind.joined else [],
            keep == chosen,
        )
        for keep, who, value in said
    ]
    return Row(name, kind.label(name), options)


# Somebody removed it


def gone_page(request, flock, arguments: dict):
    """For an edit of what is no longer there: what was typed, and a way to save it all the same."""
    keys = [value for value in arguments.values() if isinstance(value, uuid.UUID)]
    kinds = kinds_by_label()
    revision = (
        Revision.objects.filter(
            flock=flock, record__in=keys, kind__in=kinds, deed=Revision.Deed.DELETE
        )
        .select_related("by")
        .order_by("-pk")
        .first()
    )
    kind = kinds[revision.kind] if revision else None
    return render(
        request,
        "people/gone.html",
        {
            "revision": revision,
            "typed": _typed(request.POST, kind),
            "address": request.get_full_path(),
            "sent": sent_again(request.POST),
            "bring_back": BRING_BACK,
        },
        status=404,
    )


def _typed(data, kind: Kind | None) -> list[tuple[str, str]]:
    """The texts among what was sent, under their names."""
    labels = {}
    if kind:
        labels = {column.name: kind.label(column.attname) for column in kind.model._meta.fields}
    return [
        (labels.get(name, name.replace("_", " ").capitalize()), value)
        for name, value in sent_again(data, without={"version"})
        if value and (not kind or name in labels)
    ]
