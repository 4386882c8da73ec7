"""The drawing of a house on a day with its marks: for every page that shows it."""

from __future__ import annotations

from statistics import fmean

from flockcare.birds.breeds import WeightClass, weight_class
from flockcare.drawing.dates import date_words
from flockcare.housing import elevation, flags
from flockcare.housing.landing import Lander
from flockcare.housing.layout import Layout


def drawn(
    layout: Layout,
    landers: list[Lander],
    units: str,
    *,
    page: str = "",
    sizes=(elevation.NARROW, elevation.BROAD),
) -> dict:
    """The drawings, for a phone and for a wide screen, and what is marked in them.

    ``page`` is the address of the table behind them, where that stands on another page.
    """
    found = flags.findings(flags.flags_of(layout, heavy=is_heavy(landers)))
    weights = [lander.mass_kg for lander in landers if lander.mass_kg]
    drawings = [
        elevation.draw(
            layout,
            found,
            units=units,
            title=f"{layout.house} on {date_words(layout.on)}, drawn",
            page=page,
            size=size,
            hen_kg=fmean(weights) if weights else None,
        )
        for size in sizes
    ]
    used = {finding.rule.mark for finding in found}
    return {
        "drawings": drawings,
        "hardest": elevation.hardest_words(layout, units),
        "found": found,
        "marks": [mark for mark in flags.Mark if mark in used],
    }


def is_heavy(landers: list[Lander]) -> bool:
    """Whether a heavy bird lives there, or one of unknown weight, or nobody is known to."""
    heavy = {WeightClass.HEAVY, WeightClass.VERY_HEAVY}
    return not landers or any(
        not lander.grams or weight_class(lander.grams) in heavy for lander in landers
    )
