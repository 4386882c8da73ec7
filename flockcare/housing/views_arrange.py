"""Where things stand in a house: dragged on the drawing or typed, then kept."""

from __future__ import annotations

from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone

from flockcare.core.forms import saved
from flockcare.drawing.dates import date_words
from flockcare.housing import landing, services
from flockcare.housing.drawn import drawn
from flockcare.housing.forms_arrange import CHANGED, ArrangeForm
from flockcare.housing.states import NotRecorded, record_of
from flockcare.housing.views import form_page, house_or_404


@form_page
def arrange(request, flock, house_id):
    """With htmx only the drawing, of what the fields say; nothing is kept before it is posted."""
    house = house_or_404(flock, house_id)
    today = timezone.localdate()
    context = {"here": "houses", "house": house}
    try:
        pairs = record_of(house).on(today)
    except NotRecorded as error:
        return render(request, "housing/arrange.html", context | {"refused": str(error)})
    layout = landing.layout_of(house, today, pairs)
    form = ArrangeForm(
        request.POST or request.GET or None,
        pairs=pairs,
        layout=layout,
        units=flock.units,
        today=today,
    )
    valid = form.is_valid()
    if request.method == "POST" and valid and _keep(request, house, form, today):
        return redirect("housing:house", flock.pk, house.pk)
    landers = landing.landers_on(house, today)
    context |= {"form": form, **drawn(form.tried(layout), landers, flock.units)}
    name = "housing/arrange_drawing.html" if request.htmx else "housing/arrange.html"
    return render(request, name, context, status=422 if request.method == "POST" else 200)


def _keep(request, house, form: ArrangeForm, today) -> bool:
    moved = form.moved()
    if not moved:
        form.add_error(None, "Nothing was moved yet. Drag something, or type where it stands.")
        return False
    said = form.cleaned_data
    if said["how"] == CHANGED:
        kept = saved(
            form,
            services.change_features,
            house=house,
            on=said["on"],
            changes=moved,
            told=None,
            by=request.user,
            today=today,
        )
        words = f"Saved: changed from {date_words(said['on'])} on."
    else:
        kept = saved(form, services.correct_places, moved=moved, on=today, by=request.user)
        words = "Corrected. The house itself did not change by this."
    if kept:
        messages.success(request, words)
    return kept
