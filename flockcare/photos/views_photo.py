"""One photo: turning, cropping, deleting it and putting it back; the space that photos take."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from flockcare.people.access import flock_view
from flockcare.people.bylines import with_names
from flockcare.people.models import Role
from flockcare.photos import editing, services, words
from flockcare.photos.forms import CropForm
from flockcare.photos.models import FileCheck, Photo
from flockcare.photos.pictures import Picture
from flockcare.photos.series import when

TURNS = {"right": 1, "left": 3}


def photo_or_404(flock, photo_id, photos=Photo.objects) -> Photo:
    photo = get_object_or_404(photos.select_related("bird"), flock=flock, pk=photo_id)
    photo.flock = flock
    return photo


@require_safe
@flock_view()
def photo(request, flock, photo_id):
    photo = photo_or_404(flock, photo_id, Photo.with_deleted)
    measurements = with_names(photo.measurements.select_related("keeper").order_by("-at"))
    context = {
        "photo": photo,
        "picture": Picture(photo),
        "when": when(photo),
        "size": words.size(photo.stored_bytes),
        "measurements": [
            {"record": each, "area": words.area(each), "diameter": words.diameter(each)}
            for each in measurements
        ],
        "gone_on": photo.deleted_at and editing.gone_on(photo),
        "here": "birds",
    }
    return render(request, "photos/photo.html", context)


@require_POST
@flock_view()
def turn(request, flock, photo_id):
    photo = photo_or_404(flock, photo_id)
    try:
        editing.turn(
            photo=photo,
            keeper=request.user,
            quarter_turns=TURNS.get(request.POST.get("way"), 1),
        )
    except ValidationError as refused:
        messages.error(request, " ".join(refused.messages))
    return redirect("photos:photo", flock.pk, photo.pk)


@flock_view(read=Role.KEEPER)
def crop(request, flock, photo_id):
    photo = photo_or_404(flock, photo_id)
    form = CropForm(request.POST or None, photo=photo)
    if request.method == "POST" and form.is_valid():
        try:
            editing.crop(photo=photo, keeper=request.user, box=form.box())
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            return redirect("photos:photo", flock.pk, photo.pk)
    # The whole photo behind the part that is kept, turned as it is shown.
    turned = photo.height, photo.width
    width, height = turned if photo.quarter_turns % 2 else turned[::-1]
    context = {
        "photo": photo,
        "picture": Picture(photo),
        "form": form,
        "width": width,
        "height": height,
        "turn": _turn_of_the_whole(photo),
        "here": "birds",
    }
    return render(request, "photos/crop.html", context, status=422 if form.errors else 200)


def _turn_of_the_whole(photo: Photo) -> str:
    """SVG transform that turns the whole original as the photo is shown."""
    return {
        0: "",
        1: f"translate({photo.height} 0) rotate(90)",
        2: f"translate({photo.width} {photo.height}) rotate(180)",
        3: f"translate(0 {photo.width}) rotate(270)",
    }[photo.quarter_turns]


@flock_view(read=Role.KEEPER)
def delete(request, flock, photo_id):
    photo = photo_or_404(flock, photo_id)
    if request.method == "POST":
        editing.delete(photo=photo, keeper=request.user)
        return redirect("photos:photo", flock.pk, photo.pk)
    context = {
        "photo": photo,
        "picture": Picture(photo),
        "when": when(photo),
        "hanging": editing.hanging_on(photo),
        "days": editing.KEPT_AFTER_DELETION.days,
        "here": "birds",
    }
    return render(request, "photos/delete.html", context)


@require_POST
@flock_view()
def put_back(request, flock, photo_id):
    photo = photo_or_404(flock, photo_id, Photo.with_deleted)
    try:
        editing.put_back(photo=photo, keeper=request.user)
    except ValidationError as refused:
        messages.error(request, " ".join(refused.messages))
    return redirect("photos:photo", flock.pk, photo.pk)


@require_safe
@flock_view()
def space(request, flock):
    since = timezone.now() - editing.KEPT_AFTER_DELETION
    deleted = Photo.with_deleted.filter(flock=flock, deleted_at__gt=since)
    found = editing.space(flock)
    context = {
        "space": found,
        "kept": words.size(found.bytes),
        "waiting": words.size(found.deleted_bytes),
        "damaged": [
            {"photo": photo, "when": when(photo)}
            for photo in Photo.objects.damaged().filter(flock=flock).select_related("bird")
        ],
        "unowned": FileCheck.objects.filter(flock=flock, unowned_files__gt=0).first(),
        "deleted": [
            {
                "photo": photo,
                "picture": Picture(photo),
                "when": when(photo),
                "gone_on": editing.gone_on(photo),
            }
            for photo in deleted.select_related("bird").order_by("-deleted_at")
        ],
        "days": editing.KEPT_AFTER_DELETION.days,
        "here": "more",
    }
    if context["unowned"]:
        context["unowned_size"] = words.size(context["unowned"].unowned_bytes)
    return render(request, "photos/space.html", context)


@require_POST
@flock_view()
def put_files_back(request, flock):
    """From the pictures chosen again, those that are damaged here."""
    uploads = request.FILES.getlist("photos")
    if not uploads:
        messages.error(request, "Choose at least one picture.")
    done = 0
    for upload in uploads:
        if services.put_back_damaged(flock=flock, upload=upload, name=upload.name):
            done += 1
        else:
            messages.error(request, f"“{upload.name}” is not one of the damaged photos.")
    if done:
        whole = "photo is whole" if done == 1 else "photos are whole"
        messages.success(request, f"{done} {whole} again.")
    return redirect("photos:space", flock.pk)
