"""How many eggs a house gave on a day: one number, if anybody cares to count."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from flockcare.core.forms import saved
from flockcare.housing import services
from flockcare.housing.forms import EggCountForm
from flockcare.housing.models import EggCount
from flockcare.housing.views import form_page, house_or_404
from flockcare.people.access import flock_view
from flockcare.people.bylines import with_names

SHOWN = 60


@flock_view()
def eggs(request, flock, house_id):
    """The days on record; a number that is sent is today's, or of the ``on`` that comes with it."""
    house = house_or_404(flock, house_id)
    today = timezone.localdate()
    count = EggCount(flock=house.flock, house=house, on=today, keeper=request.user)
    fixed = request.method == "POST" and "on" not in request.POST
    form = EggCountForm(
        request.POST or None, instance=count, today=today, fixed=fixed, initial={"on": today}
    )
    if form.is_valid() and saved(
        form, services.log_eggs, eggs=form.instance, by=request.user, today=today
    ):
        messages.success(request, f"Saved: {form.instance}.")
        back = request.POST.get("back", "")
        own = url_has_allowed_host_and_scheme(back, None)
        return redirect(back if back.startswith("/") and own else request.path)
    found = with_names(house.egg_counts.select_related("keeper")[:SHOWN])
    return render(
        request,
        "housing/eggs.html",
        {"here": "houses", "house": house, "form": form, "found": found},
        status=422 if form.errors else 200,
    )


def _count_or_404(flock, egg_count_id) -> EggCount:
    return get_object_or_404(
        EggCount.objects.select_related("flock", "house"), flock=flock, pk=egg_count_id
    )


@form_page
def eggs_edit(request, flock, egg_count_id):
    count = _count_or_404(flock, egg_count_id)
    on, today = count.on, timezone.localdate()
    form = EggCountForm(request.POST or None, instance=count, today=today)
    if form.is_valid() and saved(
        form,
        services.change_eggs,
        eggs=count,
        by=request.user,
        today=today,
        basis=form.basis,
    ):
        messages.success(request, f"Saved: {count}.")
        return redirect("housing:eggs", flock.pk, count.house_id)
    context = {"here": "houses", "form": form, "count": count, "on": on}
    return render(request, "housing/eggs_edit.html", context)


@require_POST
@form_page
def eggs_delete(request, flock, egg_count_id):
    count = _count_or_404(flock, egg_count_id)
    services.delete_eggs(eggs=count, by=request.user)
    messages.success(request, "Deleted.")
    return redirect("housing:eggs", flock.pk, count.house_id)
