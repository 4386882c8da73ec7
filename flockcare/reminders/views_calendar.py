"""A keeper's calendar: its secret address, and what it hands out."""

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from flockcare.care import services
from flockcare.care.calendar import calendar_of
from flockcare.care.models import CalendarLink
from flockcare.people.access import flock_view
from flockcare.people.models import Membership, Role
from flockcare.reminders.forms import CalendarForm, posted
from flockcare.reminders.models import Reminders


@require_http_methods(["GET", "POST"])
@flock_view(Role.VIEWER)
def calendar_page(request, flock):
    """One's own calendar of this flock. The address is shown once, when it is made."""
    link = CalendarLink.objects.filter(flock=flock, keeper=request.user).first()
    form = CalendarForm(posted(request), initial={"at_time": link and link.at_time})
    address = None
    if request.method == "POST" and form.is_valid():
        token = services.make_calendar_link(
            flock=flock, keeper=request.user, at_time=form.cleaned_data["at_time"]
        )
        address = request.build_absolute_uri(reverse("calendar_feed", args=[token]))
    response = render(
        request,
        "reminders/calendar.html",
        {"here": "more", "link": link, "form": form, "address": address},
        status=422 if form.errors else 200,
    )
    response.headers["Cache-Control"] = "no-store"
    return response


@require_POST
@flock_view(Role.VIEWER)
def calendar_end(request, flock):
    services.end_calendar_link(flock=flock, keeper=request.user)
    return redirect("reminders:calendar", flock.pk)


@login_not_required
@require_safe
def feed(request, token):
    """The calendar behind a secret address, for as long as its keeper belongs to the flock."""
    now = timezone.now()
    link = CalendarLink.objects.usable(token, now=now).select_related("flock", "keeper").first()
    members = Membership.objects.able(Role.VIEWER)
    if link is None or not members.filter(flock=link.flock, keeper=link.keeper).exists():
        raise Http404("There is no such calendar.")
    return _answer(link.flock, link.keeper, link.at_time, now, "inline")


@require_safe
@flock_view()
def calendar_file(request, flock):
    """The same as a file, as it is now."""
    link = CalendarLink.objects.filter(flock=flock, keeper=request.user).first()
    return _answer(flock, request.user, link and link.at_time, timezone.now(), "attachment")


def _answer(flock, keeper, at_time, now, disposition: str) -> HttpResponse:
    chosen = Reminders.objects.filter(flock=flock, keeper=keeper, by_calendar=True).first()
    content = calendar_of(
        flock, keeper, at_time=at_time, now=now, wanted=chosen.wanted if chosen else None
    )
    return HttpResponse(
        content,
        content_type="text/calendar; charset=utf-8",
        headers={
            "Cache-Control": "private, no-store",
            "Content-Disposition": f'{disposition}; filename="flockcare.ics"',
        },
    )
