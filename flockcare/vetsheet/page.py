"""The sheet as a page: its timeline, and its photos cut out and to scale, as SVG."""

from __future__ import annotations

from collections.abc import Callable

from flockcare.drawing.markup import Markup, element
from flockcare.drawing.timeline_paper import lay_out
from flockcare.vetsheet import svg
from flockcare.vetsheet.sheet import Photos, PrintPhoto, VetSheet

# The width of an A4 page between its margins; a browser makes the drawing as wide as the page.
DRAWN_WIDTH = 516.0
WHOLE_SIZE, PIECE_SIZE, SHARP_PIXELS = 800, 1600, 450
# The address of a photo in one of the sizes that are kept.
PhotoUrl = Callable[[PrintPhoto, int], str]


def drawn(found: VetSheet, photo_url: PhotoUrl) -> dict:
    """What the page's template needs besides the sheet: its drawings and the photos' addresses."""
    timeline = svg.render(
        lay_out(found.timeline, DRAWN_WIDTH), f"Timeline of {found.name}, {found.period}"
    )
    return {
        "sheet": found,
        "drawing": timeline,
        "legend": svg.legend(),
        "photo_groups": _groups(found.photos, photo_url),
        "key_photos": _groups(found.key_photos, photo_url),
    }


def _groups(photos: Photos, photo_url: PhotoUrl) -> list[dict]:
    """Each group with its photos, and what all of them are drawn by."""
    span = photos.span_mm if photos.paper_mm_per_cm else None
    scale = (
        {"span": f"{span:.6g}", "half": f"{span / 2:.6g}", "bar": _bar(10 / span)} if span else {}
    )
    return [
        {
            "title": group.title,
            "photos": [
                (photo, _address(photo, span, photo_url), _matrix(photo)) for photo in group.photos
            ],
        }
        | scale
        for group in photos.groups
    ]


def _bar(length: float) -> Markup:
    """A centimetre of the foot, in a square whose side is 1 and whose middle is the origin."""
    x, y, end = -0.46, 0.45, 0.02
    return element(
        "g",
        {"class": "vet-bar"},
        Markup(
            f'<rect x="{x - 0.03:.4f}" y="{y - 0.08:.4f}" width="{length + 0.06:.4f}" '
            f'height="0.11"/><path stroke-width="0.01" d="M{x:.4f} {y - end}V{y + end:.4f}'
            f'M{x:.4f} {y}H{x + length:.4f}M{x + length:.4f} {y - end}V{y + end:.4f}"/>'
            f'<text x="{x + length / 2:.4f}" y="{y - 0.025:.4f}" font-size="0.055" '
            'text-anchor="middle">1 cm</text>'
        ),
    )


def _address(photo: PrintPhoto, span_mm: float | None, photo_url: PhotoUrl) -> str:
    """The smallest size in which what is seen of it is sharp on a phone and on paper."""
    size = WHOLE_SIZE
    if photo.measured:
        share = WHOLE_SIZE / max(photo.shown)
        if span_mm / photo.mm_per_pixel * share < SHARP_PIXELS:
            size = PIECE_SIZE
    return photo_url(photo, size)


def _matrix(photo: PrintPhoto) -> str:
    return " ".join(f"{value:.8g}" for value in photo.to_mm) if photo.measured else ""
