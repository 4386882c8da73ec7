"""How large the cards really are: printers do not all print at the true size."""

from math import hypot

from django.db import transaction

from flockcare.photos import cards
from flockcare.photos.models import CardPrint, Photo
from flockcare.photos.scale import CardView

# How far a keeper may be off with a ruler, both ends together (95 %): common practice, no
# published source.
READING_MM = 0.3


def print_for(photo: Photo) -> CardPrint | None:
    """The measured print that a photo's card was: the newest of before it, else the first of all.

    The first tells of the cards in use when it was measured, so of the photos before it too.
    """
    measured = CardPrint.objects.filter(flock=photo.flock_id)
    return (
        measured.filter(on__lte=photo.taken).last() if photo.taken else None
    ) or measured.first()


def as_printed(view: CardView, printed: CardPrint | None) -> CardView:
    """The view with the print's true size; one nobody checked states a larger error."""
    if printed is None:
        return view
    across, down = cards.SPAN
    error = hypot(READING_MM / across, READING_MM / down)
    return view.as_printed(printed.across_mm / across, printed.down_mm / down, error)


@transaction.atomic
def save_print(*, flock, keeper, on, across_mm: float, down_mm: float) -> CardPrint:
    """Raises ValidationError for lengths that are not those of our card."""
    measured = CardPrint(flock=flock, keeper=keeper, on=on, across_mm=across_mm, down_mm=down_mm)
    measured.full_clean(exclude={"flock", "keeper"})
    measured.save(force_insert=True)
    return measured
