from django.http import Http404, JsonResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from flockcare.core.files import private_file
from flockcare.people.access import flock_view
from flockcare.photos import services
from flockcare.photos.intake import SIZES, RefusedPhoto
from flockcare.photos.models import Photo


@require_safe
@flock_view()
def file(request, flock, photo_id, size):
    """A kept file; also of a deleted photo, which can still be put back."""
    if size not in (None, *SIZES):
        raise Http404("Photos are kept in other sizes.")
    photo = get_object_or_404(Photo.with_deleted, flock=flock, pk=photo_id)
    response = private_file(
        request,
        photo.path(size),
        content_type="image/jpeg",
        tag=f"{photo.sha256[:32]}-{photo.edition}-{size or 'full'}",
    )
    # A size changes when the photo is turned or cropped, unless its address says which it is.
    if size and request.GET.get("v") != (photo.edition or "0"):
        response.headers["Cache-Control"] = "private, no-cache"
    return response


@require_POST
@flock_view()
def add(request, flock):
    """Keep one picture before its check is saved; JSON with ``id`` and ``url``, or ``error``."""
    upload = request.FILES.get("photo")
    if upload is None:
        return JsonResponse({"error": "No picture arrived."}, status=400)
    try:
        photo, _ = services.add_photo(
            flock=flock, keeper=request.user, upload=upload, name=upload.name, with_form=True
        )
    except RefusedPhoto as refused:
        return JsonResponse({"error": str(refused)}, status=422)
    return JsonResponse(
        {"id": photo.pk, "url": reverse("photos:file", args=[flock.pk, photo.pk, 240])}, status=201
    )
