"""Adult weights of hens by breed: editable starting values, and which breed a name means.

Weights after the American Poultry Association's Standard of Perfection, where nothing else is
said. Published tables disagree with each other, so every flock may change them. The bounds between
the weight classes follow a magazine's table (Mitchell 2012, read in a secondary source), with the
gaps between its bands split in the middle.
"""

import re
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
    return WeightClass.BANTAM if _BANTAM & set(_words(breed)) else ""


@dataclass(frozen=True)
class PublishedWeight:
    """``elsewhere``: what another standard says, in grams with its source; None where not known."""

    breed: str
    grams: int
    source: str
    elsewhere: tuple[int, str] | None = None


STANDARD = "American Poultry Association, Standard of Perfection"
BRITISH = "Poultry Club of Great Britain, British Poultry Standards"
CUSTOM = "common practice"  # No published source.

# How each figure was come by: "cited" was read in secondary sources that name the standard, all
# others are from memory.
PUBLISHED = [
    PublishedWeight("Leghorn", 2040, STANDARD),
    PublishedWeight("Dominique", 2270, STANDARD),
    PublishedWeight("Ameraucana", 2490, STANDARD),
    PublishedWeight("Rhode Island Red", 2950, STANDARD),  # cited
    PublishedWeight("New Hampshire", 2950, STANDARD),  # cited
    PublishedWeight("Wyandotte", 2950, STANDARD),
    PublishedWeight("Australorp", 2950, STANDARD),
    PublishedWeight("Sussex", 3180, STANDARD),
    PublishedWeight("Plymouth Rock", 3400, STANDARD),
    PublishedWeight("Orpington", 3630, STANDARD),  # cited
    PublishedWeight("Cochin", 3860, STANDARD),
    # The American standard's is that of the light variety (9 lb 8 oz); the British one has hens
    # of 7–9 lb, of which this is the middle.
    PublishedWeight("Brahma", 4310, STANDARD, (3630, BRITISH)),
    PublishedWeight("Jersey Giant", 4540, STANDARD),  # cited
    # No bantam in Britain (3 lb); in America there is no other Silkie than the bantam.
    PublishedWeight("Silkie", 1360, BRITISH, (910, STANDARD)),
    PublishedWeight("Silkie bantam", 910, STANDARD),
    PublishedWeight("Sebright bantam", 570, STANDARD),
    PublishedWeight("Brown hybrid", 2000, CUSTOM),
    PublishedWeight("White hybrid", 1680, CUSTOM),
]
BY_NAME = {entry.breed.lower(): entry for entry in PUBLISHED}

# What the trade calls them besides: common practice, no published source.
_ALSO_CALLED = {
    "Rhode Island Red": ["rir", "rhode island"],
    "New Hampshire": ["new hamp", "new hamps"],
    "Plymouth Rock": ["plymouth"],
    "Jersey Giant": ["black giant", "white giant", "blue giant"],
    "Sebright bantam": ["sebright"],
    "Orpington": ["orp", "orpie"],
    "Australorp": ["australorpe", "black aussie"],
}
# A Plymouth Rock is mostly called by its colour alone.
_COLOURS_OF_ROCKS = ("barred", "white", "buff", "blue", "partridge", "silver", "columbian")

_BANTAM = {"bantam", "banty", "bantie", "miniature", "mini"}
# Of two breeds, whose weight nobody knows.
_CROSS = {"x", "cross", "crossed", "crossbred", "crossbreed", "mix", "mixed", "hybrid"}
# A breed of its own, though its name begins as another's.
_OTHER_BREED = ("rhode", "island", "white")
# Breeds without a weight here, whose name a colour may follow: no hybrid is meant.
_WITHOUT_WEIGHT = {
    *("ancona", "appenzeller", "araucana", "asil", "barnevelder", "buckeye", "campine", "cornish"),
    *("delaware", "dorking", "faverolle", "frizzle", "game", "hamburg", "hamburgh", "houdan"),
    *(
        "java",
        "rhode",
        "lakenvelder",
        "langshan",
        "legbar",
        "malay",
        "maran",
        "minorca",
        "pekin",
        "polish",
    ),
    *("sulmtaler", "vorwerk", "welbar", "welsummer", "yokohama", "egger"),
}
_OF_LAYERS = {"hybrid", "layer", "link", "comet"}
_BROWN = {"brown", "red", "ginger", "golden", "gold"}


def known_breed(name: str) -> PublishedWeight | None:
    """The breed of known weight that is meant by ``name`` as keepers write it.

    ``Buff Orpington`` is an Orpington; a bantam, a cross and whatever else is not told by its
    name are of no known weight.
    """
    if exact := BY_NAME.get(name.strip().lower()):
        return exact
    words = _words(name)
    breeds = _breeds_in(words)
    if len(breeds) == 1 and not _CROSS & set(words):
        (breed,) = breeds
        return _bantam_of(breed) if _BANTAM & set(words) else breed
    return None if breeds or _BANTAM & set(words) else _hybrid(words)


def _words(name: str) -> list[str]:
    """In small letters and the singular, without signs and numbers."""
    words = re.findall(r"[^\W\d_]+", re.sub(r"['’]", "", name.lower().replace("×", " x ")))
    return [re.sub(r"(?<=[^\Ws][^\Ws][^\Ws])s$", "", word) for word in words]


_BREEDS = {
    tuple(_words(called)): entry
    for entry in PUBLISHED
    if entry.source != CUSTOM
    for called in (entry.breed, *_ALSO_CALLED.get(entry.breed, ()))
}
_BREEDS |= {(colour, "rock"): BY_NAME["plymouth rock"] for colour in _COLOURS_OF_ROCKS}
_LONGEST = max(map(len, _BREEDS))


def _breeds_in(words: list[str]) -> set[PublishedWeight]:
    """Every breed that is named, each by the longest of its names."""
    found, at = set(), 0
    while at < len(words):
        for length in range(_LONGEST, 0, -1):
            part = tuple(words[at : at + length])
            if part in _BREEDS:
                found.add(_BREEDS[part])
            if part in _BREEDS or part == _OTHER_BREED:
                break
        at += length
    return found


def _bantam_of(breed: PublishedWeight) -> PublishedWeight | None:
    return BY_NAME.get(f"{breed.breed.lower().removesuffix(' bantam')} bantam")


def _hybrid(words: list[str]) -> PublishedWeight | None:
    """Layers of no breed: most are sold under a name of their own that ends in Brown or White.

    Common practice, no published source.
    """
    said = set(words)
    if _WITHOUT_WEIGHT & said or (_CROSS - {"hybrid"}) & said:
        return None
    sold_as = words[-1] if len(words) > 1 and words[0] not in _BROWN | {"dark", "light"} else ""
    if sold_as == "brown" or (_OF_LAYERS & said and _BROWN & said):
        return BY_NAME["brown hybrid"]
    if sold_as == "white" or (_OF_LAYERS & said and "white" in said):
        return BY_NAME["white hybrid"]
    return None
