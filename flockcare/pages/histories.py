"""A bird in a keeper's words; see ``people.kinds``. Here, since her leaving ends her stays."""

from flockcare.birds.models import Bird
from flockcare.pages import leaving
from flockcare.people.kinds import Kind


def _change_bird(bird, *, by, basis, kept) -> None:
    """Where she lives ends when she leaves by this, or goes on when she is back."""
    save = leaving.leave_flock if bird.left else leaving.put_back
    save(bird=bird, by=by, basis=basis)


KINDS = (
    Kind(
        Bird,
        title=lambda said: said["name"],
        page=lambda bird: ("bird", bird.pk),
        hidden=frozenset({"created_at"}),
        change=_change_bird,
    ),
)
