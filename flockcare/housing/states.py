"""What stood in a house on a day, told from the dated states of its features."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.db.models import Exists, OuterRef

from flockcare.drawing.dates import date_words
from flockcare.housing.models import Feature, FeatureState, House


class NotRecorded(ValueError):
    """Nobody wrote down what was there on that day. The message is in a keeper's words."""


class OverlappingStates(ValueError):
    """Two descriptions hold for one feature on the same day."""


def state_on(states: Sequence[FeatureState], day: dt.date) -> FeatureState:
    """The state of one feature that held on ``day``; its ``gone`` says that it was taken away.

    Raises NotRecorded for a day before the first of ``states`` (in any order), and
    OverlappingStates when two of them begin on one day.
    """
    states = sorted(states, key=lambda state: state.since)
    for one, other in pairwise(states):
        if one.since == other.since:
            raise OverlappingStates(
                f"{one.feature.name} is described twice from {date_words(one.since)} on."
            )
    held = [state for state in states if state.since <= day]
    if not held:
        raise NotRecorded(f"Nothing was recorded about it for {date_words(day)}.")
    return held[-1]


@dataclass(frozen=True)
class HouseRecord:
    """All that was ever written down about what stands in a house, read with two queries."""

    house: House
    features: list[Feature]
    states: dict[object, list[FeatureState]]  # By the key of the feature, in time order.

    def on(self, day: dt.date) -> list[tuple[Feature, FeatureState]]:
        """What stood in the house on ``day``, the highest first; see ``layout_on``."""
        begins = self.begins
        if begins is None:
            raise NotRecorded(f"Nothing of {self.house} has been described yet.")
        if day < begins:
            raise NotRecorded(
                f"The record of {self.house} begins on {date_words(begins)}; "
                f"how it was on {date_words(day)} is not known."
            )
        here = [
            (feature, state_on(states, day))
            for feature in self.features
            if (states := self.states.get(feature.pk)) and states[0].since <= day
        ]
        present = [(feature, state) for feature, state in here if not state.gone]
        return sorted(present, key=lambda pair: (-(pair[1].height_cm or 0), pair[0].name.lower()))

    @property
    def begins(self) -> dt.date | None:
        """The first day of which anything is known."""
        return min((states[0].since for states in self.states.values()), default=None)

    @property
    def days(self) -> list[dt.date]:
        """Every day from which on something was otherwise, in order."""
        return sorted({state.since for states in self.states.values() for state in states})

    @property
    def undescribed(self) -> list[Feature]:
        """Features of which only the name is known, as an import may bring them."""
        return [feature for feature in self.features if feature.pk not in self.states]

    def before(self, state: FeatureState) -> FeatureState | None:
        """The state of the same feature that held until ``state`` began."""
        earlier = [one for one in self.states[state.feature_id] if one.since < state.since]
        return earlier[-1] if earlier else None


def record_of(house: House) -> HouseRecord:
    return records_of([house])[house.pk]


def records_of(
    houses: Sequence[House], *, first: dt.date | None = None, last: dt.date | None = None
) -> dict[object, HouseRecord]:
    """The records of several houses by their keys, with two queries for all of them.

    With ``first`` and ``last`` only what tells how things were and changed on these days, with
    one query: what began later is left out, and so are what had ended before and features that
    nobody described.
    """
    records = {house.pk: HouseRecord(house, [], {}) for house in houses}
    states = FeatureState.objects.filter(feature__house__in=records).order_by("since")
    if first and last:
        states = states.filter(since__lte=last).exclude(_ended_before(first))
        states = list(states.select_related("feature"))
        features = {state.feature_id: state.feature for state in states}
    else:
        found = Feature.objects.filter(house__in=records)
        features = {feature.pk: feature for feature in found}
    for feature in features.values():
        # What is here already nobody should have to ask for again.
        feature.house = records[feature.house_id].house
        records[feature.house_id].features.append(feature)
    for state in states:
        state.feature = features[state.feature_id]
        of_house = records[state.feature.house_id].states
        of_house.setdefault(state.feature_id, []).append(state)
    return records


def _ended_before(day: dt.date) -> Exists:
    """Whether a state gave way to a newer one before ``day``."""
    newer = FeatureState.objects.filter(
        feature=OuterRef("feature"), since__gt=OuterRef("since"), since__lt=day
    )
    return Exists(newer)


def layout_on(house: House, day: dt.date) -> list[tuple[Feature, FeatureState]]:
    """What stood in ``house`` on ``day``, the highest first, with its state on that day.

    A feature that was put up later or had been taken away is left out, so are features that
    nobody has described. Raises NotRecorded, in a keeper's words, when the record of the house
    begins later or is empty; OverlappingStates when a feature has two states from one day on,
    which the database prevents.
    """
    return record_of(house).on(day)
