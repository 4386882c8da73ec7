"""All photos of a house over time."""

from __future__ import annotations

from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone

from flockcare.core.forms import KeeperForm, saved
from flockcare.drawing.dates import date_words
from flockcare.housing import changes, services
from flockcare.housing.film import day_of, shots_of_house
from flockcare.housing.forms import DayField
from flockcare.housing.models import HousingChange
from flockcare.housing.states import record_of
from flockcare.housing.views import events_of, house_or_404
from flockcare.housing.views_changes import take_in_photos
from flockcare.people.access import flock_view
from flockcare.photos.views_series import film


class PhotosForm(KeeperForm):
    def __init__(self, data=None, *, today, **kwargs):
        super().__init__(data, use_required_attribute=False, **kwargs)
        self.fields["on"] = DayField(
            today=today,
            required=False,
            label="Day",
            help_text="Left blank: the day the camera wrote into each photo, else today.",
        )


@flock_view()
def photos(request, flock, house_id):
    """As a film strip, two of them compared; a post adds some."""
    house = house_or_404(flock, house_id)
    today = timezone.localdate()
    posted = request.method == "POST"
    form = PhotosForm(request.POST if posted else None, today=today)
    sent, errors = take_in_photos(request) if posted else ([], [])
    if posted and not sent and not errors:
        errors = ["Choose a photo first."]
    if form.is_valid() and not errors:
        by_day: dict = {}
        for photo in sent:
            on = form.cleaned_data["on"] or day_of(photo, today)
            by_day.setdefault(on, []).append(photo)
        if saved(
            form,
            services.add_photos_of_house,
            house=house,
            photos=by_day,
            by=request.user,
            today=today,
        ):
            words = ", ".join(date_words(day) for day in sorted(by_day))
            number = f"{len(sent)} photo{'s' if len(sent) > 1 else ''}"
            messages.success(request, f"Saved: {number}, {words}.")
            return redirect("housing:photos", flock.pk, house.pk)
    told = HousingChange.objects.filter(house=house).prefetch_related("photos")
    history = changes.history(record_of(house), told, units=flock.units)
    shots = shots_of_house(house, history, events_of(house).prefetch_related("photos"))
    return render(
        request,
        "housing/photos.html",
        {
            "here": "houses",
            "house": house,
            "form": form,
            "photos": sent,
            "photo_errors": errors,
            "photos_at": "../../../photos/",
            **film(request, shots, scores={shot.photo.pk: shot.told for shot in shots}),
        },
        status=422 if posted else 200,
    )
