"""Wrong bird, wrong foot: a check, care or a photo is moved in two taps."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import models
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from flockcare.birds.models import Bird
from flockcare.care.models import CareStep
from flockcare.core.forms import record_keys
from flockcare.core.versions import VERSION, Basis
from flockcare.feet.models import Check
from flockcare.pages import moving
from flockcare.people.access import flock_view
from flockcare.people.history import Changeset
from flockcare.people.models import Role
from flockcare.photos.models import Foot, Photo

UNKNOWN = "unknown"  # in place of a bird
FIRST_OF_ALL = "Say which bird, or that it was the other foot."


@dataclass(frozen=True)
class Move:
    """What is moved. ``page``: address and arguments of where it is seen.

    ``to_bird(bird, basis)``, ``to_foot(foot, basis)`` do it.
    """

    record: models.Model
    title: str
    page: tuple
    to_bird: Callable[[Bird | None, Basis | None], Changeset]
    to_foot: Callable[[str, Basis | None], Changeset]
    may_be_unknown: bool = False


@require_http_methods(["GET", "POST"])
@flock_view(read=Role.KEEPER)
def check(request, flock, check_id):
    """``bird``: whose it is; or ``foot``: what was seen on each foot was seen on the other."""
    found = get_object_or_404(_with(Check).prefetch_related("findings"), flock=flock, pk=check_id)
    move = Move(
        found,
        "Whose check is this?",
        ("feet:check", found.pk),
        lambda bird, basis: moving.move_check(check=found, by=request.user, bird=bird, basis=basis),
        lambda foot, basis: moving.swap_feet(check=found, by=request.user, basis=basis),
    )
    return _answer(request, flock, move)


@require_http_methods(["GET", "POST"])
@flock_view(read=Role.KEEPER)
def step(request, flock, step_id):
    found = get_object_or_404(_with(CareStep), flock=flock, pk=step_id)
    move = Move(
        found,
        "Who was given this care?",
        ("care:step", found.pk),
        lambda bird, basis: moving.move_step(step=found, by=request.user, bird=bird, basis=basis),
        lambda foot, basis: moving.move_step(step=found, by=request.user, foot=foot, basis=basis),
    )
    return _answer(request, flock, move)


@require_http_methods(["GET", "POST"])
@flock_view(read=Role.KEEPER)
def photo(request, flock, photo_id):
    """Besides ``bird`` and ``foot``, or both, ``to``: the check or the care that takes it over."""
    found = get_object_or_404(_with(Photo).filter(of_house=False), flock=flock, pk=photo_id)
    if request.method == "POST" and "to" in request.POST:
        return _take_over(request, flock, found)

    def to(bird, foot, basis):
        return moving.move_photo(photo=found, by=request.user, bird=bird, foot=foot, basis=basis)

    asked = request.POST.get("foot")
    foot = asked if asked in Foot.values else found.foot
    move = Move(
        found,
        "Whose photo is this?",
        ("photos:photo", found.pk),
        lambda bird, basis: to(bird, foot, basis),
        lambda foot, basis: to(found.bird, foot, basis),
        may_be_unknown=found.bird_id is not None,
    )
    return _answer(request, flock, move)


def _with(model):
    return model.objects.select_related("bird", "flock")


def _answer(request, flock, move: Move):
    if request.method != "POST":
        return _page(request, flock, move)
    try:
        change = _moving(request, flock, move)()
    except ValidationError as error:
        # Where it cannot go to one bird, it may to another.
        if "bird" in request.POST:
            return _page(request, flock, move, refusals=error.messages, status=422)
        messages.error(request, " ".join(error.messages))
    else:
        _tell(request, flock, move, change)
    view, *arguments = move.page
    return redirect(view, flock.pk, *arguments)


def _moving(request, flock, move: Move) -> Callable[[], Changeset]:
    asked = request.POST.get("bird")
    if asked is not None:
        basis = _basis(request, "bird_id")
        bird = _bird(flock, asked, may_be_unknown=move.may_be_unknown)
        return lambda: move.to_bird(bird, basis)
    foot = request.POST.get("foot")
    if foot not in Foot.values:
        raise ValidationError(FIRST_OF_ALL)
    return lambda: move.to_foot(foot, _basis(request, "foot"))


def _basis(request, name: str) -> Basis | None:
    """``seen``: the version that a page showed which edits the record besides moving it."""
    sent = request.POST.copy()
    sent.setdefault(VERSION, sent.get("seen", ""))
    return Basis.of(sent, [name])


def _bird(flock, asked: str, *, may_be_unknown: bool) -> Bird | None:
    if asked == UNKNOWN and may_be_unknown:
        return None
    keys = record_keys([asked])
    found = Bird.objects.filter(flock=flock, pk__in=keys).first()
    if found is None:
        raise ValidationError("This bird is not in the flock any more.")
    return found


def _page(request, flock, move: Move, *, refusals=(), status=200):
    others = Bird.objects.filter(flock=flock).exclude(pk=move.record.bird_id)
    context = {
        "here": "birds",
        "move": move,
        "birds": others.select_related("breed").present(),
        "gone": others.gone(),
        "unknown": UNKNOWN,
        "refusals": refusals,
        "back": reverse(move.page[0], args=[flock.pk, *move.page[1:]]),
    }
    return render(request, "pages/move.html", context, status=status)


def _tell(request, flock, move: Move, change: Changeset) -> None:
    if change.first is None:
        messages.info(request, "This was moved already.")
        return
    context = {"flock": flock, "change": change, "care": []}
    if isinstance(move.record, Check) and "bird" in request.POST:
        context["care"] = _care_of_that_day(change, move.record)
    messages.success(request, render_to_string("pages/moved.html", context))


def _care_of_that_day(change: Changeset, check: Check) -> list[CareStep]:
    """What was logged, on the day of the check, for the bird it was of before."""
    begin = timezone.localtime(check.at).replace(hour=0, minute=0, second=0, microsecond=0)
    return list(
        CareStep.objects.filter(
            flock=check.flock_id,
            bird=change.first.before["bird_id"],
            at__gte=begin,
            at__lt=begin + dt.timedelta(days=1),
        ).select_related("bird")
    )


def _take_over(request, flock, photo: Photo):
    key, foot = record_keys([request.POST["to"]]), request.POST.get("foot", "")
    if foot not in ("", *Foot.values):
        raise Http404("There is no such foot.")
    found = (_with(model).filter(flock=flock, pk__in=key).first() for model in (Check, CareStep))
    record = next(filter(None, found), None)
    if record is None:
        messages.error(request, "The record that this photo was chosen for has been deleted.")
        return redirect("photos:photo", flock.pk, photo.pk)
    try:
        change = moving.take_over(photo=photo, record=record, foot=foot, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        context = {"flock": flock, "change": change, "care": []}
        messages.success(request, render_to_string("pages/moved.html", context))
    return redirect("feet:check" if isinstance(record, Check) else "care:step", flock.pk, record.pk)
