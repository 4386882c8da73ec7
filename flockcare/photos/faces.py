"""Every bird has a face: a photo of her, else a disc in the colour of her breed.

A face is a photo of the whole bird. Where several were chosen one after the other, the newest
counts, and when it is deleted the one before.
"""

from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F, FilteredRelation, Q
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from flockcare.birds.models import Bird
from flockcare.birds.plumage import initial, ink_on, plumage
from flockcare.people import history
from flockcare.photos.models import Photo
from flockcare.photos.services import of_another

SIZE = 240


@dataclass(frozen=True, slots=True)
class Face:
    """``url``: of the photo; empty where there is none, and a disc is drawn."""

    name: str
    breed: str = ""
    url: str = ""

    @property
    def colour(self) -> str:
        return plumage(self.breed)

    @property
    def ink(self) -> str:
        return ink_on(self.colour)

    @property
    def initial(self) -> str:
        return initial(self.name)


def faces_of(flock) -> dict[object, Face]:
    """The face of every bird of the flock by her key; one query."""
    chosen = FilteredRelation(
        "photo",
        condition=Q(photo__face_since__isnull=False, photo__foot="", photo__deleted_at=None),
    )
    rows = (
        Bird.objects.filter(flock=flock)
        .annotate(face=chosen)
        .order_by(F("face__face_since").asc(nulls_first=True), "face__pk")
        .values_list("pk", "name", "breed__name", "face__pk", "face__edition")
    )
    # The newest comes last.
    return {pk: Face(name, breed or "", _url(flock, *photo)) for pk, name, breed, *photo in rows}


def _url(flock, photo_id, edition) -> str:
    if photo_id is None:
        return ""
    return f"{reverse('photos:file', args=[flock.pk, photo_id, SIZE])}?v={edition or 0}"


def faces_context(request):
    """For templates: the faces of this flock, asked for once by whichever page shows one."""
    membership = getattr(request, "membership", None)
    if membership is None:
        return {}
    return {"faces": SimpleLazyObject(lambda: faces_of(membership.flock))}


def could_be(bird: Bird):
    """Photos that may become her face, the newest first."""
    return Photo.objects.filter(bird=bird, foot="").order_by(
        F("taken").desc(nulls_last=True), "-added_at"
    )


@transaction.atomic
def set_face(*, photo: Photo, bird: Bird, by, now=None) -> None:
    """From now on this photo stands for her; ValidationError where it shows something else."""
    if refusal := of_another(photo, bird.pk, "This photo"):
        raise ValidationError(refusal)
    if photo.of_house:
        raise ValidationError("This photo is saved already, as one of a house.")
    if photo.foot:
        raise ValidationError(
            f"This photo is saved already, as one of the {photo.get_foot_display()}. "
            "Choose one of the whole bird."
        )
    photo.bird, photo.face_since = bird, now or timezone.now()
    history.change(photo, by=by)


@transaction.atomic
def clear_face(*, bird: Bird, by) -> None:
    """No photo stands for her any more; all stay among her photos."""
    for photo in Photo.objects.filter(bird=bird).exclude(face_since=None).select_related("flock"):
        photo.face_since = None
        history.change(photo, by=by)
