"""Photos to sort, one at a time: which photo, what is chosen for it already, what comes next."""

from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlencode
from uuid import UUID

from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.core.dates import PartialDate
from flockcare.feet.models import Check
from flockcare.feet.sorting import DOUBTFUL, heading, loose, sortable, sorted_lately
from flockcare.feet.sorting_page import DOUBT, Tile, in_order, is_named_by_card, pieces, tile, title
from flockcare.photos.grouping import Group
from flockcare.photos.models import Photo, Precision

FACES = 6
# The keys 0, 1 and 2 are scores.
FIRST_FACE_KEY = 4


@dataclass(frozen=True)
class Stays:
    """What the keeper said last, and stays chosen: a bird's key, an ISO day; or empty."""

    bird: str = ""
    day: str = ""


@dataclass(frozen=True)
class Chosen:
    """What is chosen for a photo before the keeper says anything, and why that bird."""

    bird: str = ""
    why: str = ""
    foot: str = ""
    day: str = ""


@dataclass
class One:
    """One photo and its place among those to sort; ``photo`` is None when there is none left.

    number: from 1, among ``total``: those to sort and those this keeper has sorted lately.
    before, after: keys of its neighbours. then: of the next one to sort, after saving.
    check: the check that it is in by now, which is where it is corrected.
    """

    show: str
    newest_first: bool
    stays: Stays
    total: int
    left: int
    page: int = 1
    photo: Photo | None = None
    number: int = 0
    before: UUID | None = None
    after: UUID | None = None
    then: UUID | None = None
    title: str = ""
    doubt: str = ""
    tile: Tile | None = None
    preload: str = ""
    chosen: Chosen = Chosen()
    check: Check | None = None

    @property
    def under(self) -> str:
        return heading(self.photo)

    @property
    def check_url(self) -> str:
        return reverse("feet:check", args=[self.photo.flock_id, self.check.pk])

    @property
    def day_is_sure(self) -> bool:
        return is_sure(self.photo)

    @property
    def large_size(self) -> tuple[int, int]:
        return self.photo.shown_at(1600)

    @property
    def query(self) -> str:
        """For the address of this photo."""
        return self._at(self.photo and self.photo.pk)

    @property
    def query_before(self) -> str:
        return self._at(self.before)

    @property
    def query_after(self) -> str:
        return self._at(self.after)

    @property
    def list_query(self) -> str:
        """For the place of this photo in the list of all."""
        asked = urlencode({"show": self.show, "order": self._order, "page": self.page})
        return f"{asked}#p-{self.photo.pk}" if self.photo else asked

    @property
    def _order(self) -> str:
        return "newest" if self.newest_first else "oldest"

    def _at(self, key) -> str:
        asked = {"show": self.show, "order": self._order, "photo": key}
        asked |= {"bird": self.stays.bird, "day": self.stays.day}
        return urlencode({name: value for name, value in asked.items() if value})


def is_sure(photo: Photo) -> bool:
    """Whether its day is known well enough for a check."""
    known = photo.taken_precision in (Precision.MOMENT, Precision.DAY)
    return known and photo.taken_source not in DOUBTFUL


def one_photo(
    flock,
    keeper,
    *,
    show: str,
    newest_first: bool,
    stays: Stays,
    now: datetime,
    at: UUID | None = None,
    to_sort: bool = False,
) -> One:
    """The photo ``at``; with ``to_sort`` the next one from there that nobody has sorted yet."""
    related = ("bird", "sorting__card_bird")
    photos = {photo.pk: photo for photo in loose(flock).select_related(*related)}
    here = set(photos)
    # Those sorted are gone from the list; the way back leads to them all the same.
    done = sorted_lately(flock, keeper, now=now) | sortable(flock).filter(pk=at)
    lately = {photo.pk: photo for photo in done.select_related(*related)}
    photos = lately | photos
    groups = in_order(sorted(photos.values(), key=_arrival), newest_first=newest_first)

    def wanted(photo):
        if photo.pk not in here:
            return False
        return heading(photo) == show or (show == "unnamed" and is_named_by_card(photo))

    shown = [
        (shot.key, group)
        for group in groups
        for shot in group.shots
        if wanted(shot.key) or shot.key.pk in lately
    ]
    left = [place for place, (photo, _) in enumerate(shown) if wanted(photo)]
    one = One(show, newest_first, stays, total=len(shown), left=len(left))
    place = next((place for place, (photo, _) in enumerate(shown) if photo.pk == at), None)
    if place is None or (to_sort and place not in left):
        place = _next_of(left, -1 if place is None else place)
    if place is not None:
        _fill(one, flock, place, shown, left)
        if one.photo.pk not in here:
            one.check = Check.objects.filter(photos=one.photo).first()
        one.page = _page_of(one.photo, groups, here, show)
    return one


def _arrival(photo: Photo):
    return photo.added_at, photo.pk


def _next_of(places: list[int], after: int) -> int | None:
    """The first of these places after that one, else the first of all."""
    later = [place for place in places if place > after]
    return next(iter([*later, *places]), None)


def _fill(one: One, flock, place: int, shown: list, left: list[int]) -> None:
    one.photo, group = shown[place]
    one.number = place + 1
    one.tile = tile(flock, one.photo)
    one.title, one.doubt = title(group), DOUBT.get(one.photo.taken_source, "")
    one.before = shown[place - 1][0].pk if place else None
    one.after = shown[place + 1][0].pk if place + 1 < len(shown) else None
    then = _next_of([other for other in left if other != place], place)
    if then is not None:
        one.then = shown[then][0].pk
        one.preload = tile(flock, shown[then][0]).large
    one.chosen = _chosen(one.photo, group, one.stays)


def _chosen(photo: Photo, group: Group, stays: Stays) -> Chosen:
    day = _day_that_stays(photo, stays)
    if photo.bird_id:
        why = "by the card in this photo" if is_named_by_card(photo) else ""
        return Chosen(str(photo.bird_id), why, photo.foot, day)
    earlier = _named_before(photo, group)
    if earlier is None:
        why = "as the photo before" if stays.bird else ""
        return Chosen(stays.bird, why, photo.foot, day)
    if is_named_by_card(earlier):
        return Chosen(str(earlier.bird_id), "by the card before", photo.foot or earlier.foot, day)
    return Chosen(str(earlier.bird_id), "as the photo before", photo.foot, day)


def _named_before(photo: Photo, group: Group) -> Photo | None:
    """The nearest photo before it in its group that says whose it is."""
    before = []
    for shot in group.shots:
        if shot.key == photo:
            break
        note = getattr(shot.key, "sorting", None)
        # Somebody has said of such a card that it names no other photo.
        said_no = note and note.card_bird_id and note.card_answered
        if shot.key.bird_id and not said_no:
            before.append(shot.key)
    return before[-1] if before else None


def _day_that_stays(photo: Photo, stays: Stays) -> str:
    """The day given last, where this photo's own is not known or in doubt."""
    if not stays.day or is_sure(photo):
        return ""
    if photo.taken_precision in (Precision.MONTH, Precision.YEAR):
        form = "%Y-%m" if photo.taken_precision == Precision.MONTH else "%Y"
        if not stays.day.startswith(timezone.localtime(photo.taken).strftime(form)):
            return ""
    return stays.day


def _page_of(photo: Photo, groups: list[Group], here: set, show: str) -> int:
    """On which page of the list it stands, or the next one that stands there."""
    order = [shot.key.pk for group in groups for shot in group.shots]
    onwards = set(order[order.index(photo.pk) :])
    for number, page in enumerate(pieces(groups, here, show), start=1):
        if any(one.pk in onwards for _, photos, _ in page for one in photos):
            return number
    return 1


def stays_after(stays: Stays, given) -> Stays:
    """What stays chosen once this was said of a photo."""
    day = given.date and given.date.day
    return Stays(
        bird=str(given.bird.pk) if given.bird else stays.bird,
        day=str(given.date) if day else stays.day,
    )


def read_stays(asked) -> Stays:
    """From the address of a photo; what makes no sense stays away."""
    try:
        day = str(PartialDate.parse(asked.get("day", "")))
    except ValueError:
        day = ""
    try:
        bird = str(UUID(asked.get("bird", "")))
    except ValueError:
        bird = ""
    return Stays(bird, day)


def faces(birds: list[Bird], recent: list[str], chosen: str) -> tuple[list, list[Bird]]:
    """Those with a button of their own as (key on the keyboard, bird); and all others.

    By name and not by when they were used, so that a bird keeps her place and her key.
    """
    by_key = {str(bird.pk): bird for bird in birds}
    first = [key for key in dict.fromkeys([chosen, *recent, *by_key]) if key in by_key][:FACES]
    near = sorted((by_key[key] for key in first), key=str)
    return list(enumerate(near, start=FIRST_FACE_KEY)), [b for b in birds if b not in near]
