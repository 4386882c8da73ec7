"""How much room the birds of a house have, against published figures.

Council Directive 1999/74/EC, Article 4: perches without sharp edges, at least 15 cm of perch for
each hen, 30 cm level between perches and 20 cm to the wall; litter of at least 250 cm² for each
hen and on at least a third of the ground (all from memory). Article 1(2), which was read, leaves
out establishments with fewer than 350 laying hens: for a small flock this is orientation.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from flockcare.birds.breeds import WeightClass
from flockcare.housing.figures import (
    BETWEEN_PERCHES_CM,
    PERCH_CM_PER_HEN,
    TO_THE_WALL_CM,
    Verdict,
    at_least,
    edge_verdict,
)
from flockcare.housing.layout import NO_BEDDING, Layout, bedding_of
from flockcare.housing.models import Feature, FeatureKind, FeatureState
from flockcare.housing.units import length_text
from flockcare.people.models import Units

LITTER_CM2_PER_HEN = 250
LITTER_SHARE = 1 / 3
DIRECTIVE_SCOPE = (
    "Figures of Council Directive 1999/74/EC: a rule for 350 laying hens and more, for a small "
    "flock orientation."
)

# Centimetres of roost for a bird: usual advice of US extension services (6 to 10 inches, bantams
# about 6, heavy breeds 10 to 12), from memory; no primary source was read.
THUMB_CM = {
    WeightClass.BANTAM: (15, 15),
    WeightClass.HEAVY: (25, 30),
    WeightClass.VERY_HEAVY: (25, 30),
}
THUMB_OTHER_CM = (15, 25)
THUMB_SCOPE = (
    "By size: usual advice of extension services, 15–25 cm (6–10 in) of roost for each bird, "
    "bantams at the lower end, heavy breeds 25–30 cm (10–12 in)."
)

LITTER_LOOSE_NOT = {NO_BEDDING, "grass", "sharp stone", "gravel"}
SQUARE_CM_PER_SQUARE_FOOT = 30.48**2


@dataclass(frozen=True)
class Line:
    """One figure: what is asked, what there is, and what could not be told and why."""

    name: str
    asked: str
    there: str
    verdict: Verdict
    missing: str = ""


Pairs = Sequence[tuple[Feature, FeatureState]]


def summed(lines: Sequence[Line]) -> str:
    """``1 not met, 4 not known``, or that all are met."""
    counted = [
        f"{count} {verdict}"
        for verdict in (Verdict.NOT_MET, Verdict.UNKNOWN)
        if (count := sum(line.verdict == verdict for line in lines))
    ]
    return ", ".join(counted) or "all met"


def capacity(
    layout: Pairs,
    *,
    floor_cm2: float | None,
    classes: Sequence[str],
    units: str,
    within: Layout | None = None,
) -> list[Line]:
    """The lines of the directive for a house and the weight classes of the birds that live in it.

    ``within``: the same as plain values, from which distances are told that nobody measured.
    What nobody measured is "not known", never zero; where the measured part is enough by itself,
    or too little whatever the rest is, the verdict stands.
    """
    perches = [(one, state) for one, state in layout if one.kind == FeatureKind.ROOST]
    floors = [(one, state) for one, state in layout if one.kind == FeatureKind.FLOOR]
    hens = len(classes)
    litter = _litter(floors, floor_cm2)
    return [
        _perch_length(perches, hens, units),
        *_distances(perches, units, within),
        _edges(perches),
        _litter_each(litter, hens, units),
        _litter_share(litter, floor_cm2),
    ]


def _names(features: Iterable[Feature]) -> str:
    return ", ".join(feature.name for feature in features)


def _unknown(pairs: Pairs, name: str) -> list[Feature]:
    return [feature for feature, state in pairs if getattr(state, name) in (None, "")]


def _known(pairs: Pairs, name: str) -> list:
    return [value for _, state in pairs if (value := getattr(state, name)) not in (None, "")]


# Perches


def _perch_length(perches: Pairs, hens: int, units: str) -> Line:
    each, needed = (
        length_text(cm, unit="cm", units=units)
        for cm in (PERCH_CM_PER_HEN, PERCH_CM_PER_HEN * hens)
    )
    asked = f"{needed} for {_hens(hens)}, {each} each" if hens else f"{each} for each hen"
    total, there, missing = _length_there(perches, units)
    if not hens:
        verdict, missing = Verdict.UNKNOWN, "which birds live here"
    elif total >= PERCH_CM_PER_HEN * hens:
        verdict, missing = Verdict.MET, ""
    else:
        verdict = Verdict.UNKNOWN if missing else Verdict.NOT_MET
    return Line("Length of roost", asked, there, verdict, missing)


def _length_there(perches: Pairs, units: str) -> tuple[float, str, str]:
    """Centimetres that were measured, in words, and what was not measured."""
    total, unmeasured = sum(_known(perches, "length_cm")), _unknown(perches, "length_cm")
    if not perches:
        return 0, "", "any roost"
    words = length_text(total, unit="cm", units=units) if len(unmeasured) < len(perches) else ""
    missing = f"the length of {_names(unmeasured)}" if unmeasured else ""
    return total, f"at least {words}" if words and missing else words, missing


def _distances(perches: Pairs, units: str, within: Layout | None) -> list[Line]:
    places = {place.name: place for place in within.places} if within else {}
    between, wall = [], []
    for feature, state in perches:
        place = places.get(feature.name)
        between.append((feature, within.spacing_of(place) if place else state.spacing_cm))
        wall.append((feature, within.wall_of(place) if place else state.wall_cm))
    lines = [
        # The last of a row of perches has no further one beside it.
        *("Distance between roosts", between, BETWEEN_PERCHES_CM, len(perches) - 1),
        *("Distance to the wall", wall, TO_THE_WALL_CM, len(perches)),
    ]
    first, second = _smallest(*lines[:4], units=units), _smallest(*lines[4:], units=units)
    return [second] if len(perches) == 1 else [first, second]


def _smallest(title: str, distances, least: float, needed: int, *, units: str) -> Line:
    known = [value for _, value in distances if value is not None]
    there = f"smallest {length_text(min(known), unit='cm', units=units)}" if known else ""
    verdicts = {at_least(value, least) for value in known}
    missing = ""
    if Verdict.NOT_MET in verdicts:
        verdict = Verdict.NOT_MET
    elif distances and len(known) >= needed:
        verdict = Verdict.MET
    else:
        verdict = Verdict.UNKNOWN
        unknown = _names(feature for feature, value in distances if value is None)
        missing = f"this distance of {unknown}" if distances else "any roost"
    asked = f"at least {length_text(least, unit='cm', units=units)}"
    return Line(title, asked, there, verdict, missing)


def _edges(perches: Pairs) -> Line:
    verdicts = [(feature, state.edge, edge_verdict(state.edge)) for feature, state in perches]
    unkind = [(one, edge) for one, edge, verdict in verdicts if verdict is Verdict.NOT_MET]
    unknown = [one for one, _, verdict in verdicts if verdict is Verdict.UNKNOWN]
    missing = ""
    if unkind:
        verdict = Verdict.NOT_MET
        there = ", ".join(f"{edge}: {one.name}" for one, edge in unkind)
    elif perches and not unknown:
        verdict, there = Verdict.MET, ", ".join(dict.fromkeys(_known(perches, "edge")))
    else:
        verdict, there = Verdict.UNKNOWN, ""
        missing = f"the edges of {_names(unknown)}" if perches else "any roost"
    return Line("Edges of roosts", "none square or sharp", there, verdict, missing)


# Litter


@dataclass(frozen=True)
class Litter:
    """Square centimetres with loose bedding that are known, and what is missing for the rest."""

    cm2: float
    missing: str = ""


def _litter(floors: Pairs, floor_cm2: float | None) -> Litter:
    if not floors:
        return Litter(0, "the floor and its bedding")
    total, missing = 0.0, []
    for feature, state in floors:
        bedding = bedding_of(state)
        if not bedding:
            missing.append(f"the bedding of {feature.name}")
        elif bedding not in LITTER_LOOSE_NOT:
            if state.length_cm is not None and state.breadth_cm is not None:
                total += state.length_cm * state.breadth_cm
            elif len(floors) == 1 and floor_cm2 is not None:
                # One floor without measures of its own is the whole floor of the house.
                total += floor_cm2
            else:
                missing.append(f"length and breadth of {feature.name}")
    return Litter(total, ", ".join(missing))


def _area_text(cm2: float, units: str) -> str:
    if units == Units.IMPERIAL:
        feet = cm2 / SQUARE_CM_PER_SQUARE_FOOT
        # What one hen needs is a quarter of a square foot, of which a tenth says too little.
        digits = 2 if 0 < feet < 1 else 1
        return f"{feet:.{digits}f}".removesuffix(".0") + " sq ft"
    return f"{cm2 / 10_000:.2f} m²" if cm2 >= 10_000 else f"{cm2:.0f} cm²"


def _litter_each(litter: Litter, hens: int, units: str) -> Line:
    each, needed = (
        _area_text(cm2, units) for cm2 in (LITTER_CM2_PER_HEN, LITTER_CM2_PER_HEN * hens)
    )
    asked = f"{needed} for {_hens(hens)}, {each} each" if hens else f"{each} for each hen"
    there, missing = "", litter.missing
    if litter.cm2 or not missing:
        there = ("at least " if missing else "") + _area_text(litter.cm2, units)
    if not hens:
        verdict, missing = Verdict.UNKNOWN, "which birds live here"
    elif litter.cm2 >= LITTER_CM2_PER_HEN * hens:
        verdict, missing = Verdict.MET, ""
    else:
        verdict = Verdict.UNKNOWN if missing else Verdict.NOT_MET
    return Line("Litter to scratch in", asked, there, verdict, missing)


def _litter_share(litter: Litter, floor_cm2: float | None) -> Line:
    missing = ", ".join(
        filter(None, (litter.missing, "" if floor_cm2 else "the size of the floor"))
    )
    there = ""
    verdict = Verdict.UNKNOWN
    if floor_cm2:
        share = min(litter.cm2 / floor_cm2, 1)
        if litter.cm2 or not litter.missing:
            there = f"{'at least ' if litter.missing else ''}{share:.0%} of the floor"
        # A hair's breadth of rounding must not decide.
        if share >= LITTER_SHARE - 1e-9:
            verdict, missing = Verdict.MET, ""
        elif not litter.missing:
            verdict = Verdict.NOT_MET
    return Line("Share with litter", "a third of the floor", there, verdict, missing)


# Rule of thumb


def thumb(layout: Pairs, *, classes: Sequence[str], units: str) -> Line:
    """Roost length as extension services advise it, by the weight classes of the birds.

    A bird of unknown class counts with the usual range.
    """
    perches = [(one, state) for one, state in layout if one.kind == FeatureKind.ROOST]
    total, there, missing = _length_there(perches, units)
    ranges = [THUMB_CM.get(one, THUMB_OTHER_CM) for one in classes]
    low, high = sum(low for low, _ in ranges), sum(high for _, high in ranges)
    words = [length_text(value, unit="cm", units=units) for value in (low, high)]
    asked = f"{words[0]} to {words[1]} for {_hens(len(classes))}"
    if not classes:
        per_bird = (length_text(cm, unit="cm", units=units) for cm in (15, 30))
        asked = "{} to {} for each bird, by her size".format(*per_bird)
        verdict, missing = Verdict.UNKNOWN, "which birds live here"
    elif total >= low:
        verdict, missing = Verdict.MET, ""
    else:
        verdict = Verdict.UNKNOWN if missing else Verdict.NOT_MET
    return Line("Length of roost by size", asked, there, verdict, missing)


def _hens(count: int) -> str:
    return f"{count} hen{'' if count == 1 else 's'}"
