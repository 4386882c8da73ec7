"""A round on paper: the birds in the order of the sheet, and the sheet typed in again."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.urls import reverse

from flockcare.birds.models import Bird, BirdState
from flockcare.core.forms import KeeperForm, record_keys
from flockcare.core.lines import one_line
from flockcare.feet import services
from flockcare.feet.models import Check, FootFinding
from flockcare.feet.scales import LESION
from flockcare.housing.models import House
from flockcare.housing.residents import houses_on
from flockcare.people import history, keys
from flockcare.people.bylines import Guest
from flockcare.people.models import Keeper, Revision
from flockcare.photos.models import Foot

NOON = time(12)
# A limp that is seen, and does not hinder her; one that does asks for a full check.
GAIT_OF = {"no": 0, "yes": 2}
NO_HOUSE = "In no house"
APART = "In quarantine: check these last"


class Order(models.TextChoices):
    HOUSE = "house", "by house, then name"
    NAME = "name", "by name"
    BAND = "band", "by band"


def groups_of(flock, order: str, day: date, also=()) -> list[tuple[str, list[Bird]]]:
    """The birds that are here, in the order of the sheet; only by house they stand in groups, which
    have its name. Who is in quarantine stands last, in a group of its own. ``also``: keys of birds
    that may have left. Four queries.
    """
    found = Bird.objects.filter(Q(left="") | Q(pk__in=also), flock=flock)
    birds = sorted(found, key=lambda bird: bird.name.casefold())
    if order == Order.BAND:
        birds.sort(key=lambda bird: (not bird.band, bird.band_colour, *_counted(bird.band_number)))
    quarantine = BirdState.objects.filter(flock=flock, kind=BirdState.Kind.QUARANTINE).on(day)
    kept_apart = set(quarantine.values_list("bird", flat=True))
    apart = [bird for bird in birds if bird.pk in kept_apart]
    birds = [bird for bird in birds if bird.pk not in kept_apart]
    groups = _by_house(flock, birds, day) if order == Order.HOUSE else [("", birds)]
    return [(name, some) for name, some in [*groups, (APART, apart)] if some]


def _by_house(flock, birds: list[Bird], day: date) -> list[tuple[str, list[Bird]]]:
    lives_in = houses_on(flock, day)
    by_house = defaultdict(list)
    for bird in birds:
        by_house[lives_in.get(bird.pk)].append(bird)
    houses = sorted(House.objects.filter(flock=flock), key=lambda house: house.name.casefold())
    named = [(house.name, by_house.pop(house.pk, [])) for house in houses]
    homeless = [bird for bird in birds if any(bird in some for some in by_house.values())]
    return [*named, (NO_HOUSE, homeless)]


def _counted(number: str) -> tuple[int, str]:
    """So that 9 comes before 10."""
    return (int(number) if number.isdecimal() else 0), number


# --- Typed in


def _scores(label: str) -> forms.TypedChoiceField:
    scores = [(str(step.value), step.short) for step in LESION.steps]
    return forms.TypedChoiceField(
        label=label,
        choices=[("", "–"), *scores],
        coerce=int,
        empty_value=None,
        required=False,
        widget=forms.RadioSelect,
        error_messages={"invalid_choice": "The lesion score is 0, 1 or 2."},
    )


class RowForm(KeeperForm):
    """One bird's line of the sheet; left empty she was not checked.

    ``too``: that a second check of the day is meant.
    """

    left, right = _scores("Left foot"), _scores("Right foot")
    limps = forms.ChoiceField(
        label="Limps",
        choices=[("", "–"), ("no", "No"), ("yes", "Yes")],
        required=False,
        widget=forms.RadioSelect,
    )
    note = forms.CharField(
        required=False, max_length=Check._meta.get_field("note").max_length, label="Note"
    )
    too = forms.BooleanField(label="Save this one too", required=False)

    def __init__(self, data=None, *, bird: Bird, **kwargs):
        super().__init__(data, prefix=str(bird.pk), **kwargs)
        self.bird = bird
        self.on_that_day: Check | None = None

    @property
    def is_filled(self) -> bool:
        names = ("left", "right", "limps", "note")
        return any(self.data.get(self.add_prefix(name), "").strip() for name in names)

    @property
    def asks_again(self) -> bool:
        return bool(self.on_that_day) or bool(self.data.get(self.add_prefix("too")))

    def clean(self):
        said = super().clean()
        if self.is_filled and not self.errors and not self.scores and not said.get("limps"):
            self.add_error("left", "Score a foot, or say whether the bird limps.")
        return said

    @property
    def scores(self) -> dict[str, int]:
        found = {foot: self.cleaned_data.get(foot) for foot in Foot.values}
        return {foot: score for foot, score in found.items() if score is not None}

    def seen(self) -> services.Seen:
        said = self.cleaned_data
        findings = [FootFinding(foot=foot, score=score) for foot, score in self.scores.items()]
        return services.Seen(
            findings, signs={"gait": GAIT_OF.get(said["limps"]), "note": said["note"]}
        )


class SheetForm(KeeperForm):
    """Day and keeper of a sheet. ``key``: a UUID made with the page, so that what is sent twice is
    saved once.
    """

    ANOTHER = "another"

    key = forms.UUIDField(widget=forms.HiddenInput)
    day = forms.DateField(
        label="Day of the round",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    by = forms.ChoiceField(label="Who checked")
    name = forms.CharField(
        label="Name, if somebody else",
        required=False,
        max_length=Check._meta.get_field("keeper_name").max_length,
        validators=[one_line],
    )

    def __init__(self, data=None, *, flock, keeper: Keeper, today: date):
        super().__init__(data, initial={"key": uuid.uuid4(), "day": today, "by": keeper.pk})
        self.today = today
        self.keepers = {str(one.pk): one for one in Keeper.objects.filter(membership__flock=flock)}
        names = sorted(
            ((key, one.name) for key, one in self.keepers.items()),
            key=lambda pair: pair[1].casefold(),
        )
        self.fields["by"].choices = [*names, (self.ANOTHER, "Somebody else")]

    def clean_day(self):
        if self.cleaned_data["day"] > self.today:
            raise ValidationError(services.FUTURE)
        return self.cleaned_data["day"]

    def clean(self):
        said = super().clean()
        if said.get("by") == self.ANOTHER and not said.get("name"):
            self.add_error("name", "Say who checked.")
        return said

    @property
    def who(self) -> Keeper | Guest:
        said = self.cleaned_data
        return self.keepers.get(said["by"]) or Guest(said["name"])


@dataclass
class RowsRefused(Exception):
    """Nothing was saved; ``errors``: why, by the key of the bird."""

    errors: Mapping[uuid.UUID, ValidationError]


def save_sheet(
    *, flock, rows: Iterable[RowForm], day: date, who: Keeper | Guest, key, by: Keeper, now
) -> Revision | None:
    """Save a check for each of these lines, all or none, as one changeset; returns its first
    revision, None where all of it was saved before.

    A sheet has no times: a check stands at noon of its day where the flock lives, or now, if that
    is earlier. RowsRefused for what cannot be.
    """
    rows, errors = list(rows), {}
    at = min(datetime.combine(day, NOON, flock.zone), now)
    with history.changeset() as current:
        _refuse_twice(flock, rows, day, key)
        new = []
        for row in rows:
            bird = row.bird
            bird.flock = flock
            try:
                check, is_new = services.save_check(
                    flock=flock,
                    bird=bird,
                    keeper=who,
                    check_id=_check_id(key, bird),
                    at=at,
                    time_known=False,
                    seen=row.seen(),
                    now=now,
                )
            except keys.KeyTaken as taken:
                errors[bird.pk] = keys.refusal(taken, _address)
            except ValidationError as error:
                errors[bird.pk] = ValidationError(error.messages)
            else:
                new += [check] if is_new else []
        if errors:
            raise RowsRefused(errors)
        history.keep_all([(check, {}) for check in new], action=Revision.Action.ADD, by=by)
        count = f"{len(new)} check{'' if len(new) == 1 else 's'}"
        current.words = f"Coop sheet of {day.day} {day:%B %Y}, {count}"
    return current.first


def _check_id(key: uuid.UUID, bird: Bird) -> uuid.UUID:
    return uuid.uuid5(key, str(bird.pk))


def _address(check: Check) -> str:
    return reverse("feet:check", args=[check.flock_id, check.pk])


def _refuse_twice(flock, rows: Iterable[RowForm], day: date, key) -> None:
    """A bird that has a check of that day already is most likely typed in twice."""
    asked = {row.bird.pk: row for row in rows if not row.cleaned_data["too"]}
    own = [_check_id(key, row.bird) for row in asked.values()]
    midnight = datetime.combine(day, time(), flock.zone)
    after = datetime.combine(day + timedelta(1), time(), flock.zone)
    found = Check.objects.filter(flock=flock, bird__in=asked, at__gte=midnight, at__lt=after)
    errors = {}
    for check in found.exclude(pk__in=own).select_related("keeper").prefetch_related("findings"):
        asked[check.bird_id].on_that_day = check
        said = ", ".join(filter(None, (check.summary(), check.by and f"by {check.by}")))
        errors[check.bird_id] = ValidationError(
            f"There is a check of that day already{': ' if said else ''}{said}. Clear this line, "
            "or tick “Save this one too”."
        )
    if errors:
        raise RowsRefused(errors)


def typed_of(data) -> set[uuid.UUID]:
    """The birds of which something was typed, also where they left or were deleted meanwhile."""
    found = (name.rpartition("-") for name, value in data.items() if value.strip())
    return set(record_keys(key for key, _, name in found if name in RowForm.base_fields))


def as_typed(data, flock, order: str, day: date) -> list[tuple[str, list[RowForm]]]:
    """The lines of the sheet, with what was typed."""
    groups = groups_of(flock, order, day, typed_of(data) if data else ())
    return [(name, [RowForm(data, bird=bird) for bird in birds]) for name, birds in groups]
