"""Pieces of pages that ask now and then whether they still show how it is.

What a piece shows has a tag, made from the ends of indexes in one query: whoever has shown it
already gets an empty answer, and nothing is read.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Hashable
from typing import TypeVar

from django.core.cache import cache
from django.db.models import OuterRef, Subquery
from django.http import HttpResponse
from django.utils import timezone
from django.utils.http import quote_etag
from django.views.decorators.http import etag

from flockcare.people.models import Flock, Revision

T = TypeVar("T")
OF_THE_FLOCK = {"flock": OuterRef("pk")}


def newest(model, field: str, **narrowed) -> Subquery:
    """The greatest value of an indexed field among the flock's records."""
    rows = model.objects.filter(**OF_THE_FLOCK, **narrowed).order_by(f"-{field}")
    return Subquery(rows.values(field)[:1])


def tag_of(request, flock, *figures: Subquery, shown=()) -> str:
    """A name for what a piece shows, which rests on ``figures`` of the flock's records; one query.

    Whatever is changed or removed leaves a revision; a new day makes it another one, and so does
    another keeper or role, for whom the piece may read otherwise, and what else is ``shown``.
    """
    found = Flock.objects.filter(pk=flock.pk).values_list(newest(Revision, "pk"), *figures).get()
    parts = (*found, *shown, timezone.localdate(), request.membership.role, request.user.pk)
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:20]


def kept(key: str, mark: Hashable, work_out: Callable[[], T]) -> T:
    """What was worked out and kept under this key if its ``mark`` is still this one, else anew.

    The mark is asked before the records are read, so that one which comes between is not
    overlooked: the next reader finds another mark.
    """
    found = cache.get(key)
    if found and found[0] == mark:
        return found[1]
    made = work_out()
    cache.set(key, (mark, made), timeout=None)
    return made


def whole_or_piece(request, tag: str, page: Callable[[str], HttpResponse], *, whole, piece):
    """The whole page, or for htmx the piece of it that renews itself; ``page`` fills a template."""
    if request.htmx:
        return renewed(request, tag, lambda: page(piece))
    response = page(whole)
    response.headers["Vary"] = "HX-Request"
    return response


def renewed(request, tag: str, render: Callable[[], HttpResponse]) -> HttpResponse:
    """The answer to a piece that asks for itself: 304 while nothing has changed.

    The piece names what it shows in If-None-Match itself. Without that the browser's own cache
    would answer a script with 200 and the old piece, which would be put in anew.
    """

    @etag(lambda request: quote_etag(tag))
    def answer(request):
        return render()

    response = answer(request)
    response.headers["Cache-Control"] = "private, no-cache"
    response.headers["Vary"] = "HX-Request, Cookie"
    return response
