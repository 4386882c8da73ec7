"""What in a house hurts feet: what to look for, and why.

Every answer is part of a feature's dated state, so what hurts can be told for any day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from flockcare.core.sources import (
    DAMEROW,
    DIRECTIVE,
    DUNLOP,
    HOCKING,
    PICKEL,
    PRACTICE,
    SCHOLZ,
    TAUSON,
    WANG,
    Source,
)
from flockcare.housing.layout import bedding_of
from flockcare.housing.models import GROUND, Feature, FeatureKind, FeatureState

_STOOD_ON = frozenset(FeatureKind) - GROUND


@dataclass(frozen=True)
class Item:
    """One thing to look for: in which field the answer stands and for which kinds it is asked."""

    key: str
    title: str
    look: str
    why: str
    sources: tuple[Source, ...]
    fields: tuple[str, ...]
    kinds: frozenset[str]


ITEMS = [
    Item(
        key="edges",
        title="Sharp or square edges",
        look="Run a thumb along every edge that a foot grips or lands on.",
        why="Feet carry the whole bird on a narrow line there; a square bar presses harder on the "
        "sole than an oval one. Round the corners.",
        sources=(PICKEL, DIRECTIVE),
        fields=("edge",),
        kinds=_STOOD_ON,
    ),
    Item(
        key="surface",
        title="Splinters, rough or slippery places",
        look="Stroke along the wood and look for nail heads and wire ends. Does a round bar turn "
        "or slip in a wet hand?",
        why="A splinter or scrape opens the skin; on a slippery bar the foot slides and lands "
        "hard. Wide, flat and smooth is kinder, round pipe is not; steel was the worst of the bars "
        "that hens landed on in a trial. Sand splinters off.",
        sources=(DAMEROW, SCHOLZ, PRACTICE),
        fields=("surface",),
        kinds=_STOOD_ON,
    ),
    Item(
        key="cover",
        title="Abrasive covers",
        look="What is nailed or stuck on bars, steps and shelves to give grip?",
        why="What gives grip also files the sole at every landing. A rubber cover of 4 mm did not "
        "help in a trial; soft bars eased the load on the foot in another.",
        sources=(TAUSON, PICKEL, PRACTICE),
        fields=("cover",),
        kinds=_STOOD_ON,
    ),
    Item(
        key="wire",
        title="Wire underfoot",
        look="Is there wire, mesh or a grid where birds stand or land?",
        why="Wire presses into the sole along thin lines, and its cut ends pierce.",
        sources=(PRACTICE,),
        fields=("material",),
        kinds=_STOOD_ON | GROUND,
    ),
    Item(
        key="landing",
        title="Hard or bare landing places",
        look="Stand where they come down. What is under your feet there?",
        why="The harm is in coming down, not in going up. Stone and bare boards give back all of "
        "the landing.",
        sources=(PRACTICE,),
        fields=("bedding",),
        kinds=frozenset(GROUND),
    ),
    Item(
        key="depth",
        title="Thin bedding",
        look="Measure the depth at the very spot where they land, not beside it.",
        why="Hens scratch bedding away exactly where they land. Top it up there and check again at "
        "the next round.",
        sources=(PRACTICE,),
        fields=("bedding_depth_cm",),
        kinds=frozenset(GROUND),
    ),
    Item(
        key="damp",
        title="Wet bedding",
        look="Squeeze a handful. It falls apart: dry. It keeps its shape: damp. Water shows or "
        "your hand is wet: wet. Or weigh a sample, dry it, weigh it again, and give the percent.",
        why="In a trial feet had lesions on 38% of the hens on dry litter and on 92% of those on "
        "wet litter; in another, 13–17% on dry and 48–49% on wet litter. The drawing marks more "
        "than 30% of water; some call it wet from 25% on, and there is no agreed bound.",
        sources=(WANG, HOCKING, DUNLOP, PRACTICE),
        fields=("damp", "moisture_percent"),
        kinds=frozenset(GROUND),
    ),
]

Pairs = Sequence[tuple[Feature, FeatureState]]


def items_for(feature: Feature, state: FeatureState) -> list[Item]:
    """What is asked about a feature; a thing of no height and no named kind is not stood on."""
    if feature.kind == FeatureKind.OTHER and state.height_cm is None:
        return []
    return [item for item in ITEMS if feature.kind in item.kinds]


def _answer(state: FeatureState, name: str):
    return bedding_of(state) if name == "bedding" else getattr(state, name)


def unanswered(layout: Pairs) -> int:
    """How many answers of the checklist nobody has given yet."""
    return sum(
        all(_answer(state, name) in (None, "") for name in item.fields)
        for feature, state in layout
        for item in items_for(feature, state)
    )
