"""What was changed, by whom, and bringing it back."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import Exists, OuterRef
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from flockcare.core.versions import VERSION, Basis, version_of
from flockcare.people import restoring, story
from flockcare.people.access import flock_view
from flockcare.people.kinds import Kind, Names, kind_or_404, kinds_by_label
from flockcare.people.models import Revision

SHOWN = 50


@dataclass(frozen=True)
class Entry:
    """A deed in words. ``lines``: label, before, after. ``returns``: whether any can come back."""

    revision: Revision
    by: str
    lines: list[tuple[str, str, str]]
    returns: bool


def _readable(request) -> dict[str, Kind]:
    return {
        label: kind for label, kind in kinds_by_label().items() if request.membership.can(kind.read)
    }


def _require(request, role) -> None:
    if role is None or not request.membership.can(role):
        raise PermissionDenied("This needs another role in this flock.")


@require_safe
@flock_view()
def recent(request, flock):
    """The newest deeds in the flock; ``?removed``: only what was deleted and is not there again."""
    removed = "removed" in request.GET
    kinds = {label: kind for label, kind in _readable(request).items() if kind.listed}
    found = Revision.objects.filter(flock=flock, kind__in=kinds).select_related("by", "flock")
    if removed:
        later = Revision.objects.filter(record=OuterRef("record"), pk__gt=OuterRef("pk"))
        found = found.filter(~Exists(later), deed=Revision.Deed.DELETE)
    revisions = list(found.order_by("-pk")[:SHOWN])
    story.name_those_gone(revisions)
    told = [(kinds[one.kind], one, story.plain_before(kinds[one.kind], one)) for one in revisions]
    names = Names(flock, [(kind, before) for kind, _, before in told])
    return render(
        request,
        "people/recent.html",
        {
            "here": "more",
            "removed": removed,
            "entries": [
                (one, story.by(one), _title(kind, before, names), kind.slug)
                for kind, one, before in told
            ],
        },
    )


def _title(kind: Kind, plain: dict, names: Names) -> str:
    try:
        return kind.title_of(plain, names)
    except KeyError:
        return kind.model._meta.verbose_name.capitalize()


@require_safe
@flock_view()
def history(request, flock, kind, record_id):
    """All that happened to one record; ``?all``: also what was long ago."""
    kind = kind_or_404(kind)
    _require(request, kind.read)
    revisions = story.revisions_of(flock, record_id).filter(kind=kind.model._meta.label)
    record = _record(kind, flock, record_id)
    if record is None and not revisions:
        raise Http404("There is no such record.")
    if "all" not in request.GET:
        revisions = revisions[: SHOWN + 1]
    revisions = list(revisions)
    story.name_those_gone(revisions)
    present = record and kind.plain_of(kind.snapshot(record))
    told = story.deeds(kind, present, revisions)
    names = Names(
        flock, [(kind, values) for values in (present, *(d.before for d in told)) if values]
    )
    latest = present or (told[0].before if told else {})
    view, *arguments = kind.page(record) if record else ("people:recent",)
    shown = told if "all" in request.GET else told[:SHOWN]
    return render(
        request,
        "people/history.html",
        {
            "here": "more",
            "kind": kind,
            "record_id": record_id,
            "there": record is not None,
            "title": _title(kind, latest, names),
            "page": reverse(view, args=[flock.pk, *arguments]),
            "entries": [_entry(kind, deed, names) for deed in shown],
            "can_return": kind.bring_back is not None,
            "more": len(told) > len(shown),
            "may_bring_back": kind.write is not None and request.membership.can(kind.write),
        },
    )


def _record(kind: Kind, flock, key):
    if kind.model is type(flock):
        return flock if flock.pk == key else None
    related = [one.name for one in kind.model._meta.fields if one.is_relation]
    return kind.model._base_manager.select_related(*related).filter(flock=flock, pk=key).first()


def _entry(kind: Kind, deed: story.Deed, names: Names) -> Entry:
    def words(name, value):
        return kind.in_words(name, value, names)

    return Entry(
        revision=deed.revision,
        by=deed.by,
        lines=[
            (kind.label(name), words(name, before), words(name, after))
            for name, before, after in deed.differences
        ],
        returns=any(name not in kind.fixed for name, _, _ in deed.differences),
    )


@require_http_methods(["GET", "POST"])
@flock_view()
def restore(request, flock, kind, record_id, revision_id):
    """Look at what would come back, then bring it back."""
    kind = kind_or_404(kind)
    _require(request, kind.read)
    revision = get_object_or_404(
        Revision.objects.select_related("by", "flock"),
        flock=flock,
        kind=kind.model._meta.label,
        record=record_id,
        pk=revision_id,
    )
    _require(request, kind.write)
    record = _record(kind, flock, record_id)
    page = redirect("people:history", flock.pk, record_id, kind.slug)
    if record is None and kind.bring_back is None:
        raise Http404("It is gone for good.")
    if record is None and revision.deed != Revision.Deed.DELETE:
        messages.warning(request, "It has been removed. Bring it back first.")
        return page
    if request.method == "POST":
        try:
            _bring_back(request, kind, record, revision)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
        else:
            messages.success(request, "Brought back.")
        return page
    story.name_those_gone([revision])
    before = story.plain_before(kind, revision)
    present = kind.plain_of(kind.snapshot(record)) if record else {}
    names = Names(flock, [(kind, before), (kind, present)])
    return render(
        request,
        "people/restore.html",
        {
            "here": "more",
            "kind": kind,
            "record_id": record_id,
            "revision": revision,
            "by": story.by(revision),
            "there": record is not None,
            "title": _title(kind, present or before, names),
            "version_name": VERSION,
            "version": version_of(present),
            "lines": [
                (
                    kind.label(name),
                    kind.in_words(name, present[name], names) if name in present else "",
                    kind.in_words(name, value, names),
                )
                for name, value in before.items()
                if value != present.get(name) and not (record and name in kind.fixed)
            ],
        },
    )


def _bring_back(request, kind: Kind, record, revision: Revision) -> None:
    if record is None:
        restoring.bring_back(revision=revision, by=request.user)
    else:
        basis = Basis.of(request.POST, kind.plain_of(kind.snapshot(record)))
        restoring.restore(kind=kind, record=record, revision=revision, by=request.user, basis=basis)
