"""Which photos are printed, how large, and what is written below each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from flockcare.photos import words as photo_words
from flockcare.photos.intake import SIZES
from flockcare.photos.models import Foot, Photo
from flockcare.photos.series import (
    LEAST_SPAN_MM,
    MOST_SPAN_MM,
    SPAN_IN_DIAMETERS,
    Shot,
    pair,
    to_shown,
    when,
)
from flockcare.vetsheet.dates import spread
from flockcare.vetsheet.names import Names
from flockcare.vetsheet.records import Records
from flockcare.vetsheet.sheet import PhotoGroup, Photos, PrintPhoto

MOST_PHOTOS = 24
# Two rows of three, three rows of four, else five beside each other.
BOXES = ((6, 58.0), (12, 40.0), (MOST_PHOTOS, 34.0))
KEY_BOX = 36.0
# Round figures that a ruler can be laid against, in mm on paper for a centimetre of the foot.
PAPER_SCALES = (20.0, 15.0, 12.0, 10.0, 8.0, 6.0, 5.0, 4.0)
NOTE_LETTERS = 90
GROUPS = {**{foot.value: foot.label.capitalize() for foot in Foot}, "": "The bird"}


def photos(shots: Sequence[Shot], names: Names) -> Photos:
    # Foot by foot: every other one of all could be one foot only, and none of the other.
    shown = spread(
        [shot for foot in GROUPS for shot in shots if shot.photo.foot == foot], MOST_PHOTOS
    )
    box = next(size for most, size in BOXES if len(shown) <= most)
    scale = _paper_scale([shot for shot in shown if shot.measurement], box)
    groups = []
    for foot, title in GROUPS.items():
        of_foot = [shot for shot in shown if shot.photo.foot == foot]
        if of_foot:
            groups.append(PhotoGroup(title, tuple(_print_photos(of_foot, names))))
    left_out = ""
    if len(shown) < len(shots):
        left_out = (
            f"{len(shown)} of {len(shots)} photos are printed, of each foot evenly over the time; "
            f"{len(shots) - len(shown)} more in the record."
        )
    return Photos(tuple(groups), box, scale, _scale_words(shown, scale), left_out)


def first_and_latest(records: Records, names: Names) -> Photos:
    """How the foot looked that is sore, or was sore last, at first and last; none of any other."""
    case = next(iter(records.cases), None)
    shots = []
    if case:
        begun = case.episode.last_clear_before or case.episode.first_affected
        over = case.episode.first_clear_after or records.window.last
        shots = [
            shot
            for shot in records.shots
            if shot.photo.foot == case.foot and shot.days and begun <= shot.days[0] <= over
        ]
    # The first measured one can be laid beside the latest at one scale.
    first = next((shot for shot in shots if shot.measurement), shots[0]) if shots else None
    pair_of = [first, shots[-1]] if shots and first is not shots[-1] else shots[-1:]
    scale = _paper_scale([shot for shot in pair_of if shot.measurement], KEY_BOX)
    said = ("First measured" if first and first.measurement else "First", "Latest")
    said = said if len(pair_of) > 1 else ("The only one",)
    told = [
        replace(one, caption=(f"{words}, {one.caption[0]}", *one.caption[1:]))
        for words, one in zip(said, _print_photos(pair_of, names), strict=False)
    ]
    title = f"{Foot(case.foot).label.capitalize()} at first and last" if told else ""
    groups = (PhotoGroup(title, tuple(told)),) if told else ()
    return Photos(groups, KEY_BOX, scale, "")


def _paper_scale(measured: Sequence[Shot], box: float) -> float | None:
    if not measured:
        return None
    longest = max(shot.measurement.longest_diameter_mm for shot in measured)
    span = min(MOST_SPAN_MM, max(LEAST_SPAN_MM, SPAN_IN_DIAMETERS * longest))
    return next((one for one in PAPER_SCALES if box / one * 10 >= span), PAPER_SCALES[-1])


def _scale_words(shown: Sequence[Shot], scale: float | None) -> str:
    if not shown:
        return "No photos in this period."
    if scale is None:
        return "None of the photos is measured, so none is to scale."
    return (
        f"Measured photos are all to one scale: {scale:g} mm on paper are 1 cm of the foot, "
        "printed at 100%. The bar in each is 1 cm, also in those on top. The others say “not to "
        "scale”."
    )


def _print_photos(shots: Sequence[Shot], names: Names) -> list[PrintPhoto]:
    first = next((shot for shot in shots if shot.measurement), None)
    return [_print_photo(shot, first, names) for shot in shots]


def _print_photo(shot: Shot, first: Shot | None, names: Names) -> PrintPhoto:
    photo = shot.photo
    size = photo_words.area(shot.measurement) if shot.measurement else "not to scale"
    caption = [when(photo), size]
    if note := names.text(photo.note):
        cut = len(note) > NOTE_LETTERS
        caption.append(f"“{note[:NOTE_LETTERS]}…” (cut short)" if cut else f"“{note}”")
    return PrintPhoto(
        key=photo.pk,
        edition=photo.edition,
        caption=tuple(caption),
        shown=photo.shown,
        paths=tuple(_paths(photo)),
        original=photo.path(),
        from_original=tuple(to_shown(photo).ravel().tolist()),
        to_mm=pair(first, shot).to_mm[1] if shot.measurement else None,
    )


def _paths(photo: Photo) -> list[tuple[int, str]]:
    """Its files, the smallest first, by the length of their longer side in pixels."""
    return [(max(photo.shown_at(size)), photo.path(size)) for size in reversed(SIZES)]
