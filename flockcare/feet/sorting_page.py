"""What the page "Photos to sort" shows: groups, cards that name others, photos that look alike."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from flockcare.birds.models import Bird
from flockcare.feet.sorting import DOUBTFUL, UNDO_FOR, heading, last_of, loose
from flockcare.people.models import Revision
from flockcare.photos.editing import used_in_records
from flockcare.photos.grouping import (
    Copy,
    Group,
    Shot,
    best_of,
    cards_and_followers,
    into_groups,
    sets_alike,
)
from flockcare.photos.models import CardReading, DateSource, Photo, Precision
from flockcare.photos.sharpness import sharpness_of

PAGE_PHOTOS = 120
SETS_SHOWN = 6
LOOKED_BACK = 12
RECENT_BIRDS = 4
SHOWN = {
    "unnamed": "Not named",
    "named": "Named",
    "unknown": "Unknown",
}
NOT_KNOWN = {
    Precision.DAY: "time not known",
    Precision.MONTH: "day not known",
    Precision.YEAR: "month not known",
}
DOUBT = {
    DateSource.FILE_TIME: "by the file’s time, doubtful",
    DateSource.UPLOAD: "the day it was sent, doubtful",
}


@dataclass(frozen=True)
class Tile:
    """One photo; the picture before it has come is ``width`` × ``height``.

    maybe: whose it may be, by the card before it.
    """

    photo: Photo
    small: str
    large: str
    width: int
    height: int
    when: str
    maybe: str = ""

    @property
    def who(self) -> str:
        return " ".join(filter(None, (str(self.photo.bird or ""), self.photo.foot)))

    @property
    def time(self) -> str:
        """The time of day; the rest of the date stands above the group."""
        exact = self.photo.taken_precision == Precision.MOMENT
        return f"{timezone.localtime(self.photo.taken):%H:%M}" if exact else ""

    @property
    def words(self) -> str:
        return ", ".join(filter(None, (self.who or "photo of nobody yet", self.when)))


@dataclass(frozen=True)
class Follow:
    """The card in ``card`` may name the photos that follow it."""

    card: Photo
    photos: list[Photo]

    @property
    def names(self) -> str:
        note = self.card.sorting
        return f"{note.card_bird}, {note.card_foot} foot" if note.card_foot else f"{note.card_bird}"


@dataclass(frozen=True)
class Alike:
    """Photos that look the same; ``keep`` is the one to keep, and ``why`` in words."""

    tiles: list[Tile]
    keep: Photo
    why: str
    drop: list[Photo]


@dataclass
class Section:
    """One group, or the part of it that is on this page."""

    key: str
    title: str
    doubt: str
    tiles: list[Tile]
    follows: list[Follow]
    continued: bool = False


@dataclass
class SortPage:
    show: str
    newest_first: bool
    number: int
    pages: int
    counts: Counter
    loose: set
    sections: list[Section] = field(default_factory=list)
    alike: list["Alike"] = field(default_factory=list)
    more_alike: int = 0

    @property
    def query(self) -> str:
        """For the address of this page."""
        order = "newest" if self.newest_first else "oldest"
        return f"show={self.show}&order={order}&page={self.number}"

    @property
    def one_query(self) -> str:
        """For the address of one of its photos, whose key comes last."""
        order = "newest" if self.newest_first else "oldest"
        return f"show={self.show}&order={order}&photo="

    @property
    def tabs(self) -> list[tuple[str, str, int]]:
        return [(show, words, self.counts[show]) for show, words in SHOWN.items()]

    @property
    def follows(self) -> list[Follow]:
        return [follow for section in self.sections for follow in section.follows]


def sort_page(flock, *, show: str, newest_first: bool, number: int) -> SortPage:
    """In three queries, however many photos there are."""
    photos = {
        photo.pk: photo
        for photo in loose(flock)
        .select_related("bird", "sorting__card_bird")
        .order_by("added_at", "pk")
    }
    found = pieces(in_order(photos.values(), newest_first=newest_first), photos, show)
    number = max(1, min(number, len(found)))
    page = SortPage(
        show=show,
        newest_first=newest_first,
        number=number,
        pages=len(found),
        counts=Counter(map(heading, photos.values())),
        loose=set(photos),
    )
    if found:
        page.sections = [_section(flock, *piece) for piece in found[number - 1]]
    sets = alike_among(flock, photos)
    page.alike = _compared(flock, sets[:SETS_SHOWN], photos)
    page.more_alike = max(0, len(sets) - SETS_SHOWN)
    return page


# --- Groups


def group_photos(photos) -> list[Group]:
    """Groups of photos (in the order in which they came) by when they were taken."""
    return into_groups(_shot(photo, place) for place, photo in enumerate(photos))


def in_order(photos, *, newest_first: bool) -> list[Group]:
    """Their groups in the order in which they are shown."""
    groups = group_photos(photos)
    if newest_first:
        groups.sort(key=_newest_first)
    return groups


def is_named_by_card(photo: Photo) -> bool:
    """Whether nobody but the card in it has said whose it is."""
    note = _note(photo)
    return bool(note and note.card_bird_id and note.card_bird_id == photo.bird_id) and not (
        photo.version > 1
    )


def _shot(photo: Photo, place: int) -> Shot:
    doubt = photo.taken_source if photo.taken_source in DOUBTFUL else ""
    note = _note(photo)
    return Shot(
        key=photo,
        kind=f"{photo.taken_precision} {doubt}",
        exact=photo.taken_precision == Precision.MOMENT,
        taken=photo.taken,
        place=place,
        names=note and note.card_bird_id,
        open=heading(photo) == "unnamed",
    )


def _note(photo: Photo):
    return getattr(photo, "sorting", None)


def _newest_first(group: Group) -> float:
    return -group.start.timestamp() if group.start else float("inf")


def pieces(groups: list[Group], here, show: str) -> list[list[tuple]]:
    """Pages of (group, its photos on that page, whether it began on the page before).

    here: keys of the photos that are still to be sorted.
    """
    pages, filled = [], PAGE_PHOTOS
    for group in groups:
        wanted = [s.key for s in group.shots if s.key.pk in here and heading(s.key) == show]
        for start in range(0, len(wanted), PAGE_PHOTOS):
            part = wanted[start : start + PAGE_PHOTOS]
            if filled + len(part) > PAGE_PHOTOS:
                pages.append([])
                filled = 0
            pages[-1].append((group, part, start > 0))
            filled += len(part)
    return pages


def _section(flock, group: Group, photos: list[Photo], continued: bool) -> Section:
    here = set(photos)
    follows = [
        Follow(card.key, followers)
        for card, shots in cards_and_followers(group.shots)
        if not card.key.sorting.card_answered
        and (followers := [shot.key for shot in shots if shot.key in here])
    ]
    maybe = {photo: follow.names for follow in follows for photo in follow.photos}
    return Section(
        key=f"g-{photos[0].pk}",
        title=title(group),
        doubt=DOUBT.get(photos[0].taken_source, ""),
        tiles=[tile(flock, photo, maybe.get(photo, "")) for photo in photos],
        follows=follows,
        continued=continued,
    )


def title(group: Group) -> str:
    first, last = (group.shots[place].key for place in (0, -1))
    if first.taken is None:
        return "No date known"
    words = _when(first)
    if first.taken_precision != Precision.MOMENT:
        return f"{words}, {NOT_KNOWN[first.taken_precision]}"
    start, end = (timezone.localtime(photo.taken) for photo in (first, last))
    if f"{start:%H:%M}" == f"{end:%H:%M}":
        return words
    return f"{words}–{end:%H:%M}" if start.date() == end.date() else f"{words} – {_when(last)}"


FORMS = {
    Precision.MOMENT: "%-d %b %Y, %H:%M",
    Precision.DAY: "%-d %b %Y",
    Precision.MONTH: "%B %Y",
    Precision.YEAR: "%Y",
}


def _when(photo: Photo) -> str:
    if photo.taken is None:
        return ""
    return timezone.localtime(photo.taken).strftime(FORMS[photo.taken_precision])


def tile(flock, photo: Photo, maybe: str = "") -> Tile:
    # Reversed by hand: a page has hundreds of them.
    folder = reverse("photos:add", args=[flock.pk]).removesuffix("add/")
    small, large = (f"{folder}{photo.pk}/{size}.jpg?v={photo.edition or 0}" for size in (240, 1600))
    width, height = photo.shown_at(240)
    return Tile(photo, small, large, width, height, _when(photo), maybe)


# --- Photos that look the same


def alike_among(flock, photos: dict) -> list[list]:
    """Keys of photos that look the same, at least one of them loose and not kept on purpose.

    A foot looks as it did the month before: photos of two days are two photos.
    """
    looks = {
        key: photo.look_hash
        for key, photo in photos.items()
        if not (_note(photo) and _note(photo).kept_beside_alike)
    }
    if not looks:
        return []
    asked = ("pk", "look_hash", "taken", "taken_precision", "taken_source")
    every = {one.pk: one for one in Photo.objects.filter(flock=flock).order_by().only(*asked)}
    sets = sets_alike(looks, among={key: photo.look_hash for key, photo in every.items()})
    parts = [part for members in sets for part in _by_day([every[key] for key in members])]
    return [part for part in parts if len(part) > 1 and not looks.keys().isdisjoint(part)]


def _by_day(photos: list[Photo]) -> list[list]:
    """Keys by the day they were surely taken; those without one beside those of the only day."""
    days: dict = {}
    for photo in photos:
        known = photo.taken_precision in (Precision.MOMENT, Precision.DAY)
        sure = known and photo.taken_source not in DOUBT
        days.setdefault(photo.taken.date() if sure else None, []).append(photo.pk)
    if len(days) == 2 and None in days:
        return [[*days.pop(None), *days.popitem()[1]]]
    return list(days.values())


def _compared(flock, sets: list[list], photos: dict) -> list[Alike]:
    keys = {key for found in sets for key in found}
    if not keys:
        return []
    others = Photo.objects.filter(pk__in=keys - set(photos)).select_related("bird", "sorting")
    every = photos | others.in_bulk()
    on_record = used_in_records(keys)
    with_card = {
        *CardReading.objects.filter(photo__in=keys).exclude(code="").values_list("photo", flat=True)
    }
    found = []
    for members in sets:
        there = [every[key] for key in members if key in every]
        sharp = sharpness_of(there)
        copies = [
            Copy(
                key=photo,
                on_record=photo.pk in on_record,
                card=photo.pk in with_card or bool(_note(photo) and _note(photo).card_bird_id),
                sharpness=sharp.get(photo),
                pixels=photo.shown[0] * photo.shown[1],
            )
            for photo in there
        ]
        best, why = best_of(copies)
        drop = [c.key for c in copies if c is not best and c.key.pk in photos and not c.on_record]
        found.append(Alike([tile(flock, one) for one in there], best.key, why, drop))
    return found


# --- What was done last


def last_sorted(
    flock, keeper, *, now: datetime, looked_back=LOOKED_BACK, birds=RECENT_BIRDS
) -> tuple[Revision | None, list[str]]:
    """What this keeper can undo, and the keys of the birds they named last.

    birds: how many at most, among the last ``looked_back`` changes.
    """
    last = list(last_of(flock, keeper)[:looked_back])
    keys = [first.pk for first in last]
    records = (
        Revision.objects.filter(Q(pk__in=keys) | Q(first__in=keys), kind=Photo._meta.label)
        .order_by("-pk")
        .values_list("record", flat=True)
    )
    named = dict(
        Photo.objects.filter(pk__in=records.order_by()).order_by().values_list("pk", "bird")
    )
    found = dict.fromkeys(str(named[key]) for key in records if named.get(key))
    first = last[0] if last and last[0].at >= now - UNDO_FOR else None
    return first, list(found)[:birds]


def birds_to_pick(flock, recent: list[str]) -> list[Bird]:
    """Every bird: those named last, those here, those that left. Old photos show them all."""
    place = {key: number for number, key in enumerate(recent)}
    birds = Bird.objects.filter(flock=flock)
    return sorted(birds, key=lambda bird: (place.get(str(bird.pk), len(place)), bool(bird.left)))
