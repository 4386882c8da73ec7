"""The page on which a bird leaves the flock, comes back, or is removed."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_POST

from flockcare.birds.forms import LeaveForm
from flockcare.birds.models import Bird
from flockcare.care.holds import open_holds
from flockcare.core.forms import saved
from flockcare.pages import leaving
from flockcare.people.access import flock_view
from flockcare.people.models import Role

form_page = flock_view(Role.KEEPER, read=Role.KEEPER)


def _bird_or_404(flock, bird_id) -> Bird:
    return get_object_or_404(Bird.objects.select_related("breed", "flock"), flock=flock, pk=bird_id)


@form_page
def leave(request, flock, bird_id):
    bird = _bird_or_404(flock, bird_id)
    now = timezone.now()
    today = timezone.localdate(now)
    form = LeaveForm(
        request.POST or None,
        instance=bird,
        today=today,
        initial={} if bird.left else {"left": today.isoformat()},
    )
    gone = bool(bird.left)
    if form.is_valid() and saved(
        form, leaving.leave_flock, bird=form.instance, by=request.user, basis=form.basis
    ):
        messages.success(request, f"Saved. {bird} is now among the birds that left.")
        return redirect(bird)
    return render(
        request,
        "pages/leave.html",
        {
            "flock": flock,
            "here": "birds",
            "form": form,
            "bird": bird,
            "gone": gone,
            "holds": open_holds(flock, now=now, bird=bird),
            "recorded": ", ".join(f"{count} {words}" for count, words in leaving.recorded(bird)),
        },
    )


@require_POST
@form_page
def remove(request, flock, bird_id):
    bird = _bird_or_404(flock, bird_id)
    key = bird.pk
    try:
        leaving.remove_bird(bird=bird, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("pages:leave", flock.pk, key)
    messages.success(
        request,
        format_html(
            '{} is deleted. <a href="{}">Restore {}</a> if that was wrong.',
            bird,
            reverse("record_history", args=[flock.pk, key, "bird"]),
            bird.pronouns.object,
        ),
    )
    return redirect("birds", flock.pk)


@require_POST
@form_page
def came_back(request, flock, bird_id):
    bird = _bird_or_404(flock, bird_id)
    try:
        leaving.came_back(bird=bird, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("pages:leave", flock.pk, bird.pk)
    messages.success(request, f"{bird} is in the flock again.")
    _say_where_she_lives(request, bird)
    return redirect(bird)


def _say_where_she_lives(request, bird: Bird) -> None:
    """Nothing in a flock without houses."""
    flock, she = bird.flock, bird.pronouns.subject
    if stay := bird.stay_set.filter(until=None).select_related("house").first():
        words = '{0} lives in {1} as before. If {2} was elsewhere, <a href="{3}">correct that</a>.'
        where = reverse("housing:stays", args=[flock.pk, bird.pk])
        messages.info(request, format_html(words, she.capitalize(), stay.house, she, where))
    elif flock.house_set.exists():
        words = '{} is in no house now. <a href="{}">Move {} into one</a>.'
        where = reverse("housing:move", args=[flock.pk])
        messages.info(request, format_html(words, she.capitalize(), where, bird.pronouns.object))
