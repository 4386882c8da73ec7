"""Every write about birds, breeds and weighings."""

from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from flockcare.birds.breeds import known_breed
from flockcare.birds.models import Bird, Breed, Weighing
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
def add_bird(*, bird: Bird, breed_name: str) -> None:
    bird.breed = breed_named(flock=bird.flock, name=breed_name)
    bird.full_clean()
    bird.save()


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
        raise ValidationError(f"There are birds of the breed {breed}. Give them another one first.")
    history.delete(breed, by=by)
