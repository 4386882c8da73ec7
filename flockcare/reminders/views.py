"""One page for what a keeper is reminded of, when and by which way."""

from django.conf import settings
from django.contrib import messages
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from flockcare.care.models import CalendarLink
from flockcare.core.forms import saved
from flockcare.core.visitors import plain_http
from flockcare.people.access import flock_view
from flockcare.people.models import Role
from flockcare.reminders import push, services
from flockcare.reminders.forms import PhoneForm, RemindersForm, posted
from flockcare.reminders.models import Phone, Reminders


def _site(request) -> str:
    return request.build_absolute_uri("/").rstrip("/")


@require_http_methods(["GET", "POST"])
@flock_view(Role.VIEWER)
def reminders(request, flock):
    chosen = Reminders.objects.filter(flock=flock, keeper=request.user).first()
    chosen = chosen or Reminders(flock=flock, keeper=request.user)
    chosen.site = _site(request)
    phones = list(Phone.objects.filter(keeper=request.user))
    form = RemindersForm(
        posted(request),
        instance=chosen,
        can_push=bool(phones) or chosen.by_push,
        can_mail=settings.MAIL,
    )
    if (
        request.method == "POST"
        and form.is_valid()
        and saved(form, services.save_reminders, reminders=form.instance)
    ):
        messages.success(request, "Saved: your reminders.")
        return redirect("reminders:page", flock.pk)
    secure = not plain_http(request)
    response = render(
        request,
        "reminders/page.html",
        {
            "here": "more",
            "form": form,
            "phones": phones,
            "has_calendar": CalendarLink.objects.filter(flock=flock, keeper=request.user).exists(),
            "push_key": push.public_key() if secure else "",
            "own_https": settings.LAN_HTTPS,
        },
        status=422 if form.errors else 200,
    )
    response.headers["Cache-Control"] = "no-store"
    return response


@require_POST
@flock_view(Role.VIEWER)
def phone(request, flock):
    """This phone takes notices from now on."""
    form = PhoneForm(request.POST)
    form.instance.keeper = request.user
    if form.is_valid() and saved(
        form, services.add_phone, phone=form.instance, flock=flock, site=_site(request)
    ):
        messages.success(request, "Saved: reminders come to this phone. The first one is a test.")
    else:
        for said in (each for some in form.errors.values() for each in some):
            messages.error(request, said)
    return redirect("reminders:page", flock.pk)


@require_POST
@flock_view(Role.VIEWER)
def phone_end(request, flock):
    services.end_phone(keeper=request.user, endpoint=request.POST.get("endpoint", ""))
    messages.success(request, "Saved: no more reminders to this phone.")
    return redirect("reminders:page", flock.pk)
