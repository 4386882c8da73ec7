"""Every write about birds, breeds, weighings and states."""

import datetime as dt
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from flockcare.birds.breeds import known_breed
from flockcare.birds.models import Bird, BirdState, Breed, Weighing
from flockcare.people import history, keys

OWN_FIGURE = "entered by a keeper"


@dataclass(frozen=True)
class NewBird:
    """A bird as a list gives her; only the name is needed."""

    name: str
    band_colour: str = ""
    band_number: str = ""
    breed: str = ""


def breed_named(*, flock, name: str) -> Breed | None:
    """The flock's breed of that name; made when first used, with its published adult weight."""
    name = name.strip()
    if not name:
        return None
    breed = Breed.objects.filter(flock=flock, name__iexact=name).first()
    if breed is None:
        breed = new_breed(flock=flock, name=name)
        breed.full_clean()
        try:
            with transaction.atomic():
                breed.save()
        except IntegrityError:  # Somebody else has named it at this moment.
            return Breed.objects.get(flock=flock, name__iexact=breed.name)
    return breed


def new_breed(*, flock, name: str) -> Breed:
    """Not saved yet; with the adult weight that was published of the breed that is meant.

    A variety keeps the name that the keeper gave it.
    """
    published = known_breed(name)
    if published is None:
        return Breed(flock=flock, name=name)
    same = name.lower() == published.breed.lower()
    return Breed(
        flock=flock,
        name=published.breed if same else name,
        adult_grams=published.grams,
        source=published.source,
    )


@transaction.atomic
def add_bird(*, bird: Bird, breed_name: str, quarantine_from=None, by=None) -> None:
    bird.breed = breed_named(flock=bird.flock, name=breed_name)
    bird.full_clean()
    bird.save()
    if quarantine_from:
        quarantine = BirdState.Kind.QUARANTINE
        start_state(bird=bird, kind=quarantine, since=quarantine_from, by=by)


@transaction.atomic
def edit_bird(*, bird: Bird, breed_name: str, by, basis=None) -> None:
    bird.breed = breed_named(flock=bird.flock, name=breed_name)
    change_bird(bird=bird, by=by, basis=basis)


@transaction.atomic
def change_bird(*, bird: Bird, by, basis=None) -> None:
    history.change(bird, by=by, basis=basis)


@transaction.atomic
def add_birds(*, flock, birds: list[NewBird]) -> None:
    """All of them, or none when one cannot be."""
    breeds = {}
    for new in birds:
        key = new.breed.lower()
        if key not in breeds:
            breeds[key] = breed_named(flock=flock, name=new.breed)
        bird = Bird(
            flock=flock,
            name=new.name,
            band_colour=new.band_colour,
            band_number=new.band_number,
            breed=breeds[key],
        )
        bird.full_clean()
        bird.save()


@transaction.atomic
def weigh(*, weighing: Weighing) -> tuple[Weighing, bool]:
    """Store one weighing under the key it was made with; returns ``(weighing, is_new)``.

    The same one sent again is answered as the first time. ``keys.KeyTaken`` when the key is taken
    by something else.
    """
    weighing.full_clean(validate_unique=False, validate_constraints=False)
    keys.refuse_deleted(weighing)
    try:
        with transaction.atomic():
            weighing.save(force_insert=True)
    except IntegrityError:
        stored = keys.saved_before(weighing)
        if stored is None:
            weighing.validate_constraints()
            raise
        if not keys.says_the_same(stored, weighing):
            raise keys.AlreadySaved(stored) from None
        return stored, False
    return weighing, True


@transaction.atomic
def change_weighing(*, weighing: Weighing, by, basis=None) -> None:
    history.change(weighing, by=by, basis=basis)


@transaction.atomic
def delete_weighing(*, weighing: Weighing, by) -> None:
    history.delete(weighing, by=by)


def start_state(*, bird: Bird, kind: str, since, by) -> BirdState:
    """It holds from that day on; where it does already, that one is given and nothing changes.

    ValidationError where it cannot hold on that day.
    """
    state = BirdState(flock_id=bird.flock_id, bird=bird, kind=kind, since=since, keeper=by)
    open_ones = BirdState.objects.filter(bird=bird, kind=kind, until=None)
    if there := open_ones.filter(since__lte=since).first():
        return there
    try:
        add_state(state=state)
    except IntegrityError:  # Somebody else has said it at this moment.
        return open_ones.get()
    return state


@transaction.atomic
def add_state(*, state: BirdState) -> None:
    # Two who say overlapping times of her wait for each other.
    Bird.objects.select_for_update().filter(pk=state.bird_id).first()
    state.full_clean()
    state.save(force_insert=True)


@transaction.atomic
def change_state(*, state: BirdState, by, basis=None) -> None:
    history.change(state, by=by, basis=basis)


@transaction.atomic
def end_state(*, state: BirdState, on, by) -> None:
    """It is over on that day; one that was over earlier stays as it is."""
    stored = history.settle(state, basis=None)
    if stored.until is None or stored.until > on:
        state.until = max(on, state.since)
        history.change(state, by=by)


@transaction.atomic
def delete_state(*, state: BirdState, by) -> None:
    history.delete(state, by=by)


@transaction.atomic
def end_states(*, bird: Bird, on, by) -> None:
    """The bird left the flock on that day: no state goes on."""
    for state in BirdState.objects.on(on).filter(bird=bird).select_related("flock"):
        state.bird, state.until = bird, on
        history.change(state, by=by)


@transaction.atomic
def resume_states(*, bird: Bird, by, ended) -> None:
    """The bird is in the flock again: what ``end_states`` ended goes on, where nothing is since.

    ``ended``: of a record's key, the change by which her leaving ended it, or None.
    """
    states = list(BirdState.objects.filter(bird=bird).select_related("flock"))
    for state in states:
        end = ended(state.pk) if state.until else None
        if end is None:
            continue
        until = end.before.get("until")
        was, state.bird = state.until, bird
        state.until = dt.date.fromisoformat(until) if until else None
        try:
            state.clash(other for other in states if other is not state)
        except ValidationError:
            state.until = was
        else:
            history.change(state, by=by)


@transaction.atomic
def edit_breed(*, breed: Breed, by, basis=None) -> None:
    """A weight typed by a keeper no longer stands under the name of the published source."""
    stored = history.settle(breed, basis=basis)
    if breed.adult_grams != stored.adult_grams:
        breed.source = OWN_FIGURE if breed.adult_grams else ""
    history.change(breed, by=by)


@transaction.atomic
def delete_breed(*, breed: Breed, by) -> None:
    """ValidationError while birds are of this breed."""
    if breed.bird_set.exists():
        raise ValidationError(f"Some birds have the breed {breed}. Give them another one first.")
    history.delete(breed, by=by)
