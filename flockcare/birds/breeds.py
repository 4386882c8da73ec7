"""Adult weights of hens by breed: editable starting values, each with how sure it is.

Weights after the American Poultry Association's Standard of Perfection. Most were written down
from memory, some read in a secondary source; published tables disagree with each other, so every
flock may change them. The bounds between the weight classes follow a magazine's table (Mitchell
2012, read in a secondary source), with the gaps between its bands split in the middle.
"""

from dataclasses import dataclass

from django.db.models import TextChoices


class WeightClass(TextChoices):
    BANTAM = "bantam", "bantam"
    LIGHT = "light", "light"
    MEDIUM = "medium", "medium"
    HEAVY = "heavy", "heavy"
    VERY_HEAVY = "very heavy", "very heavy"


# Upper bound of each class in grams of adult weight.
CLASS_BOUNDS = [
    (1470, WeightClass.BANTAM),
    (2380, WeightClass.LIGHT),
    (3060, WeightClass.MEDIUM),
    (4190, WeightClass.HEAVY),
]


def weight_class(grams: int) -> WeightClass:
    for bound, name in CLASS_BOUNDS:
        if grams <= bound:
            return name
    return WeightClass.VERY_HEAVY


def class_of(breed: str, grams: int | None) -> str:
    """By the adult weight; where it is not known, a breed called bantam is one. Else empty.

    Source of the latter: common practice, no published source.
    """
    if grams:
        return weight_class(grams)
    return WeightClass.BANTAM if "bantam" in breed.lower() else ""


@dataclass(frozen=True)
class PublishedWeight:
    breed: str
    grams: int
    source: str


STANDARD = "American Poultry Association, Standard of Perfection"
# Two names for one text: which weight was read where is said on the page of sources.
MEMORY = CITED = STANDARD  # from memory; as cited by secondary sources
CUSTOM = "common practice, no published source"

PUBLISHED = [
    PublishedWeight("Leghorn", 2040, MEMORY),
    PublishedWeight("Dominique", 2270, MEMORY),
    PublishedWeight("Ameraucana", 2490, MEMORY),
    PublishedWeight("Rhode Island Red", 2950, CITED),
    PublishedWeight("New Hampshire", 2950, CITED),
    PublishedWeight("Wyandotte", 2950, MEMORY),
    PublishedWeight("Australorp", 2950, MEMORY),
    PublishedWeight("Sussex", 3180, MEMORY),
    PublishedWeight("Plymouth Rock", 3400, MEMORY),
    PublishedWeight("Orpington", 3630, CITED),
    PublishedWeight("Cochin", 3860, MEMORY),
    PublishedWeight("Brahma", 4310, MEMORY),
    PublishedWeight("Jersey Giant", 4540, CITED),
    PublishedWeight("Silkie bantam", 910, MEMORY),
    PublishedWeight("Sebright bantam", 570, MEMORY),
    PublishedWeight("Brown hybrid", 2000, CUSTOM),
    PublishedWeight("White hybrid", 1680, CUSTOM),
]
BY_NAME = {entry.breed.lower(): entry for entry in PUBLISHED}
