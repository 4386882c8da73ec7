"""What was seen at a check, in the words of the timeline and of the vet sheet."""

from __future__ import annotations

from decimal import Decimal

from flockcare.feet.models import Scab, Site, Swelling
from flockcare.feet.scales import GAIT


def foot_signs(
    sites: list[str] | None,
    scab: str | None,
    scab_mm: Decimal | None,
    swelling: str | None,
    hot: bool | None,
    oozing: bool | None,
    cold_or_dark: bool | None,
) -> list[str]:
    """What one foot showed besides its score: ``main pad``, ``black scab 8 mm``, ``hot``.

    The values of a finding; None for one that there is not.
    """
    words = [" and ".join(Site(site).label for site in sites)] if sites else []
    if scab and scab != Scab.NONE:
        words.append(f"{scab} scab" + (f" {scab_mm.normalize():f} mm" if scab_mm else ""))
    if swelling and swelling != Swelling.NONE:
        words.append(f"swelling {Swelling(swelling).label}")
    if hot:
        words.append("hot")
    if oozing:
        words.append("oozing")
    if cold_or_dark:
        words.append("cold or dark")
    return words


def odd_signs(gait: int | None, manner: str, eating: str, droppings: str, belly: str) -> list[str]:
    """What stood out in how the bird was, from the values of a check: ``gait 3 obvious``."""
    words = [f"gait {gait} {GAIT.step(gait).short.lower()}"] if gait else []
    if manner == "dull":
        words.append("dull")
    if eating == "no":
        words.append("not eating")
    if droppings == "odd":
        words.append("odd droppings")
    if belly == "swollen":
        words.append("swollen belly")
    return words
