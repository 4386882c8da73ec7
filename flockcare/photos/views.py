import io
from collections.abc import Iterable

from django.contrib import messages
from django.http import Http404, JsonResponse
from django.shortcuts import get_object_or_404
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe
from PIL import Image

from flockcare.core.files import private_file
from flockcare.core.forms import record_keys
from flockcare.people.access import flock_view
from flockcare.photos import measuring, services
from flockcare.photos.intake import SIZES, RefusedPhoto
from flockcare.photos.models import Photo
from flockcare.photos.series import on_record


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
    """Keep one picture before its record is saved; JSON with ``id`` and ``url``, or ``error``.

    ``bird``: whom it is to be a photo of. Then there is also ``elsewhere``, where it is on record
    as another bird's, and ``card``, where the card in it is another bird's.
    """
    upload = request.FILES.get("photo")
    if upload is None:
        return JsonResponse({"error": "No photo arrived. Choose it again."}, status=400)
    try:
        photo, _ = services.add_photo(
            flock=flock, keeper=request.user, upload=upload, name=upload.name, with_form=True
        )
    except RefusedPhoto as refused:
        return JsonResponse({"error": str(refused)}, status=422)
    answer = {"id": photo.pk, "url": reverse("photos:file", args=[flock.pk, photo.pk, 240])}
    for key in record_keys(request.POST.getlist("bird")):
        answer |= _of_another(photo, flock, key)
    return JsonResponse(answer, status=201)


# A frame of a camera, made small: the reader takes about a tenth of a second for it.
MOST_FRAME_BYTES, MOST_FRAME_PIXELS = 500_000, 1_000_000


@require_POST
@flock_view()
def card(request, flock):
    """Whether the printed card is in a small JPEG, the body; nothing is kept.

    JSON with ``seen`` and its ``code``, empty where that cannot be read; 400 for anything else.
    """
    try:
        image = _frame(request.body)
    except Exception:  # decoders raise nearly anything
        return JsonResponse({"error": "This is not a small JPEG."}, status=400)
    code = services.card_in(image)
    return JsonResponse({"seen": code is not None, "code": code or ""})


def _frame(body: bytes) -> Image.Image:
    if len(body) > MOST_FRAME_BYTES:
        raise ValueError("too many bytes")
    with Image.open(io.BytesIO(body), formats=["JPEG"]) as image:
        if image.width * image.height > MOST_FRAME_PIXELS:
            raise ValueError("too many pixels")
        return image.convert("L")


def _of_another(photo: Photo, flock, bird_id) -> dict:
    if services.is_elsewhere(photo, bird_id):
        return {"elsewhere": elsewhere(photo)}
    reading = measuring.note_card(photo)
    named, _ = measuring.bird_of_card(flock, reading.code) if reading else (None, "")
    if named is None or named.pk == bird_id:
        return {}
    return {"card": {"bird": named.pk, "name": named.name}}


def elsewhere(photo: Photo) -> dict:
    """Where a photo is on record, in words, its page and where it is moved."""
    return {
        "words": on_record(photo),
        "page": reverse("photos:photo", args=[photo.flock_id, photo.pk]),
        "move": reverse("move_photo", args=[photo.flock_id, photo.pk]),
    }


def tell_elsewhere(request, record, photos: Iterable[tuple[str, Photo]], *, lost=0) -> None:
    """Photos chosen for a record (by foot) that are another bird's so far: each is named, and can
    be moved here in one tap.
    """
    for foot, photo in photos:
        context = {"photo": elsewhere(photo), "record": record, "foot": foot}
        messages.warning(request, render_to_string("photos/elsewhere.html", context, request))
    if lost:
        gone = "1 chosen photo has" if lost == 1 else f"{lost} chosen photos have"
        messages.warning(request, f"{gone} been deleted since, and could not be saved with this.")
