"""What was changed, by whom, and bringing it back."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import Count, Exists, Max, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from flockcare.core.versions import VERSION, Basis
from flockcare.pages.kinds import KINDS, kind_or_404
from flockcare.people import restoring, story
from flockcare.people.access import flock_view
from flockcare.people.kinds import Kind, Names
from flockcare.people.models import Revision

SHOWN = 50


@dataclass(frozen=True)
class Entry:
    """A change in words. ``lines``: label, before, after; ``returns``: whether any comes back."""

    revision: Revision
    lines: list[tuple[str, str, str]]
    returns: bool


def _readable(request) -> dict[str, Kind]:
    return {
        label: kind
        for label, kind in KINDS.items()
        if request.membership.can(kind.read) and not kind.part
    }


def _require(request, role) -> None:
    if role is None or not request.membership.can(role):
        raise PermissionDenied


@require_safe
@flock_view()
def recent(request, flock):
    """The newest changesets; ``?removed``: only what was deleted and is not there again."""
    removed = "removed" in request.GET
    found = _told(request, flock)
    if removed:
        later = Revision.objects.filter(record=OuterRef("record"), pk__gt=OuterRef("pk"))
        found = found.filter(~Exists(later), action=Revision.Action.DELETE)
    # The last of a changeset is what the others hung on.
    last = found.values(key=Coalesce("first_id", "pk")).annotate(last=Max("pk")).values("last")
    revisions = list(_with_changeset(found.filter(pk__in=last)).order_by("-pk")[:SHOWN])
    titles, changed = _titles(flock, revisions), _changed(flock, revisions)
    entries = [
        _listed(revision, titles[revision.pk], alone=removed or revision.others == 0)
        | {"changed": changed.get(revision.pk)}
        for revision in revisions
    ]
    context = {"here": "more", "removed": removed, "entries": entries}
    return render(request, "pages/recent.html", context)


def _with_changeset(revisions):
    """Each with how many ``others`` were changed with it, and whether that was ``undone``."""
    same = Revision.objects.filter(first=Coalesce(OuterRef("first"), OuterRef("pk")))
    undoing = Revision.objects.filter(undoes=Coalesce(OuterRef("first"), OuterRef("pk")))
    counted = same.order_by().values("first").annotate(count=Count("pk")).values("count")
    return revisions.select_related("by", "flock", "first").annotate(
        others=Coalesce(Subquery(counted), 0), undone=Exists(undoing)
    )


def _listed(revision: Revision, title: str, *, alone: bool) -> dict:
    """``alone``: it leads to the record itself, not to all that was changed with it."""
    words = (revision.first or revision).words
    if words or not alone:
        address = reverse("pages:changeset", args=[revision.flock_id, revision.changeset])
    else:
        slug = KINDS[revision.kind].slug
        address = reverse("record_history", args=[revision.flock_id, revision.record, slug])
    return {
        "revision": revision,
        "words": words or title,
        "others": 0 if words or alone else revision.others,
        "address": address,
        "tag": "undone" if revision.undone else "" if words else _done(revision),
    }


def _done(revision: Revision) -> str:
    deleted = revision.action == Revision.Action.DELETE
    return "deleted" if deleted else revision.get_action_display()


def _told(request, flock):
    """The revisions that this keeper may read and that are told: by their kind, or by their words
    where many were changed in one go.
    """
    kinds = _readable(request)
    listed = [label for label, kind in kinds.items() if kind.listed]
    return Revision.objects.filter(
        Q(kind__in=listed) | Q(kind__in=kinds) & ~Q(words=""), flock=flock
    ).order_by()


def _titles(flock, revisions) -> dict[int, str]:
    """What the records of these revisions were called, by the key of the revision."""
    told = [(KINDS[one.kind], one, story.plain_before(KINDS[one.kind], one)) for one in revisions]
    added = _as_they_are(flock, [one for one in revisions if one.action == Revision.Action.ADD])
    told = [(kind, one, before or added.get(one.record, {})) for kind, one, before in told]
    names = Names(flock, [(kind, before) for kind, _, before in told])
    return {one.pk: _title(kind, before, names) for kind, one, before in told}


def _changed(flock, revisions) -> dict[int, list[str]]:
    """The names of what each of these changed, where that was one record by itself."""
    alone = [one for one in revisions if one.action == Revision.Action.CHANGE and not one.others]
    since = min((one.pk for one in alone), default=0)
    records = {one.record for one in alone}
    later = Revision.objects.filter(flock=flock, record__in=records, pk__gte=since)
    of_record = defaultdict(list)
    for revision in later.select_related("flock").order_by("-pk"):
        of_record[revision.record].append(revision)
    present, found = _as_they_are(flock, alone), {}
    for key, hers in of_record.items():
        kind = KINDS[hers[0].kind]
        for change in story.changes(kind, present.get(key), hers):
            names = (kind.label(name) for name, _, _ in change.differences)
            found[change.revision.pk] = list(dict.fromkeys(names))
    return found


def _as_they_are(flock, revisions: list[Revision]) -> dict:
    """The plain values that the records of these have now, by their keys."""
    found = {}
    for label in {one.kind for one in revisions}:
        kind, keys = KINDS[label], [one.record for one in revisions if one.kind == label]
        records = kind.model._base_manager.filter(pk__in=keys).prefetch_related(*kind.parts)
        found |= {record.pk: kind.plain_of(kind.snapshot(record)) for record in records}
    return found


@require_http_methods(["GET", "POST"])
@flock_view()
def changeset(request, flock, revision_id):
    """What was done in one go, and undoing it."""
    first = get_object_or_404(Revision, flock=flock, pk=revision_id, first=None)
    every = Revision.objects.of_changeset(first.pk)
    readable = every.filter(kind__in=_readable(request))
    shown = list(_with_changeset(readable).order_by("-pk")[:SHOWN])
    if not shown:
        raise Http404("There is no such change.")
    main, titles = shown[0], _titles(flock, shown)
    words = first.words or titles[main.pk]
    can_undo = restoring.can_undo(every, KINDS, request.membership.can)
    if request.method == "POST":
        if not can_undo:
            raise PermissionDenied
        try:
            restoring.undo(
                flock=flock,
                key=revision_id,
                kinds=KINDS,
                by=request.user,
                words=f"Undone: {words}",
            )
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
            return redirect("pages:changeset", flock.pk, revision_id)
        messages.success(request, f"Undone: {words}")
        return redirect("recent_changes", flock.pk)
    return render(
        request,
        "pages/changeset.html",
        {
            "here": "more",
            "words": words,
            "main": main,
            "rows": [(one, titles[one.pk], KINDS[one.kind].slug, _done(one)) for one in shown],
            "more": readable.count() - len(shown),
            "undone": Revision.objects.filter(undoes=revision_id).select_related("by").first(),
            "can_undo": can_undo and not main.undone,
            "is_import": first.tool in (Revision.Tool.IMPORT, Revision.Tool.EXPORT),
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
    revisions = _with_changeset(story.revisions_of(flock, record_id)).filter(kind=kind.model_label)
    record = _record(kind, flock, record_id)
    if record is None and not revisions:
        raise Http404("There is no such record.")
    if "all" not in request.GET:
        revisions = revisions[: SHOWN + 1]
    revisions = list(revisions)
    present = record and kind.plain_of(kind.snapshot(record))
    told = story.changes(kind, present, revisions)
    names = Names(
        flock, [(kind, values) for values in (present, *(d.before for d in told)) if values]
    )
    latest = present or (told[0].before if told else {})
    view, *arguments = kind.page(record) if record else ("recent_changes",)
    shown = told if "all" in request.GET else told[:SHOWN]
    return render(
        request,
        "pages/history.html",
        {
            "here": "more",
            "kind": kind,
            "record_id": record_id,
            "there": record is not None,
            "title": _title(kind, latest, names),
            "page": reverse(view, args=[flock.pk, *arguments]),
            "entries": [_entry(kind, change, names) for change in shown],
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


def _entry(kind: Kind, change: story.Change, names: Names) -> Entry:
    def words(name, value):
        return kind.in_words(name, value, names)

    return Entry(
        revision=change.revision,
        lines=[
            (kind.label(name), words(name, before), words(name, after))
            for name, before, after in change.differences
        ],
        returns=any(name not in kind.fixed for name, _, _ in change.differences),
    )


@require_http_methods(["GET", "POST"])
@flock_view()
def restore(request, flock, kind, record_id, revision_id):
    """Look at what would come back, then bring it back."""
    kind, revision = _to_restore(request, flock, kind, record_id, revision_id)
    record = _record(kind, flock, record_id)
    page = redirect("record_history", flock.pk, record_id, kind.slug)
    if record is None and kind.bring_back is None:
        raise Http404("It is gone for good.")
    if record is None and revision.action != Revision.Action.DELETE:
        messages.warning(request, "It has been deleted. Restore it first.")
        return page
    if request.method == "POST":
        try:
            _bring_back(request, kind, record, revision)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
        else:
            messages.success(request, "Restored.")
        return page
    before = story.plain_before(kind, revision)
    present = kind.plain_of(kind.snapshot(record)) if record else {}
    names = Names(flock, [(kind, before), (kind, present)])
    return render(
        request,
        "pages/restore.html",
        {
            "here": "more",
            "kind": kind,
            "record_id": record_id,
            "revision": revision,
            "by": revision.author,
            "there": record is not None,
            "title": _title(kind, present or before, names),
            "version_name": VERSION,
            "version": record.version if record else "",
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


@require_POST
@flock_view()
def bring_back(request, flock, kind, record_id, revision_id):
    """What somebody removed comes back; the edit that met this is sent once more to ``?then=``."""
    kind, revision = _to_restore(request, flock, kind, record_id, revision_id)
    if _record(kind, flock, record_id) is None:
        try:
            restoring.bring_back(revision=revision, kinds=KINDS, by=request.user)
        except ValidationError as error:
            messages.error(request, " ".join(error.messages))
    then = request.GET.get("then", "")
    if not url_has_allowed_host_and_scheme(then, {request.get_host()}):
        return redirect("record_history", flock.pk, record_id, kind.slug)
    return redirect(then, preserve_request=True)


def _to_restore(request, flock, kind: str, record_id, revision_id) -> tuple[Kind, Revision]:
    kind = kind_or_404(kind)
    _require(request, kind.read)
    revision = get_object_or_404(
        Revision.objects.select_related("by", "flock"),
        flock=flock,
        kind=kind.model_label,
        record=record_id,
        pk=revision_id,
    )
    _require(request, kind.write)
    return kind, revision


def _bring_back(request, kind: Kind, record, revision: Revision) -> None:
    if record is None:
        restoring.bring_back(revision=revision, kinds=KINDS, by=request.user)
    else:
        basis = Basis.of(request.POST, kind.plain_of(kind.snapshot(record)))
        restoring.restore(kind=kind, record=record, revision=revision, by=request.user, basis=basis)
