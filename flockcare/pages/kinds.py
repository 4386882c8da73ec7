"""The kinds of records of all apps below."""

from django.db.models import Model
from django.http import Http404

from flockcare.birds import histories as birds
from flockcare.care import histories as care
from flockcare.feet import histories as feet
from flockcare.housing import histories as housing
from flockcare.pages import histories as pages
from flockcare.people import histories as people
from flockcare.people.kinds import Kind, by_model
from flockcare.photos import histories as photos

KINDS = by_model(
    kind for app in (people, birds, photos, housing, feet, care, pages) for kind in app.KINDS
)


def kind_of(record: Model) -> Kind:
    return KINDS[record._meta.label]


def kind_or_404(slug: str) -> Kind:
    for kind in KINDS.values():
        if kind.slug == slug and not kind.part:
            return kind
    raise Http404("There are no such records.")
