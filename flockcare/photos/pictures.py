"""A photo as pages show it: addresses of its sizes, and how large it is before it has come."""

from django.urls import reverse

from flockcare.photos.intake import SIZES
from flockcare.photos.models import Photo


class Picture:
    """``url_240`` … ``url_1600``, ``srcset``, and ``width`` and ``height`` at the largest size."""

    def __init__(self, photo: Photo):
        self.photo = photo
        self.width, self.height = photo.shown_at(SIZES[0])

    def url(self, size: int) -> str:
        """The address changes with every turn and crop, so that a browser may keep the picture."""
        path = reverse("photos:file", args=[self.photo.flock_id, self.photo.pk, size])
        return f"{path}?v={self.photo.edition or 0}"

    @property
    def url_240(self) -> str:
        return self.url(240)

    @property
    def url_800(self) -> str:
        return self.url(800)

    @property
    def url_1600(self) -> str:
        return self.url(1600)

    @property
    def srcset(self) -> str:
        return ", ".join(
            f"{self.url(size)} {self.photo.shown_at(size)[0]}w" for size in reversed(SIZES)
        )

    @property
    def thumb_size(self) -> tuple[int, int]:
        return self.photo.shown_at(72)
