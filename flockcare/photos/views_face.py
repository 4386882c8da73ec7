"""The photo that stands for a bird in lists and at the head of her page."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.shortcuts import get_object_or_404, redirect, render

from flockcare.birds.models import Bird
from flockcare.core.forms import record_keys
from flockcare.people.access import flock_view
from flockcare.people.models import Role
from flockcare.photos import faces, services
from flockcare.photos.intake import RefusedPhoto
from flockcare.photos.models import Photo
from flockcare.photos.pictures import Picture

MOST_SHOWN = 24


@flock_view(read=Role.KEEPER)
def face(request, flock, bird_id):
    """Take one, choose one from the phone, or one that is on record of her."""
    bird = get_object_or_404(Bird, flock=flock, pk=bird_id)
    refusal = ""
    if request.method == "POST":
        try:
            _choose(request, flock, bird)
        except ValidationError as refused:
            refusal = " ".join(refused.messages)
        except RefusedPhoto as refused:
            refusal = str(refused)
        else:
            messages.success(request, f"Saved: the photo of {bird}.")
            return redirect(bird)
    photos = list(faces.could_be(bird)[:MOST_SHOWN])
    for photo in photos:
        photo.flock = flock
    context = {
        "bird": bird,
        "here": "birds",
        "refusal": refusal,
        "pictures": [Picture(photo) for photo in photos],
        "has_face": any(photo.face_since for photo in photos),
    }
    return render(request, "photos/face_choose.html", context, status=422 if refusal else 200)


def _choose(request, flock, bird: Bird) -> None:
    if "none" in request.POST:
        faces.clear_face(bird=bird, by=request.user)
        return
    if upload := request.FILES.get("photo"):
        photo, _ = services.add_photo(
            flock=flock, keeper=request.user, upload=upload, name=upload.name, bird=bird
        )
    else:
        keys = record_keys(request.POST.getlist("choose"))
        photo = Photo.objects.filter(flock=flock, pk__in=keys).first()
        if photo is None:
            raise ValidationError("Take or choose a photo first.")
    faces.set_face(photo=photo, bird=bird, by=request.user)
