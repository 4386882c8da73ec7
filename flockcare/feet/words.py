"""What was seen at a check, in the words of the timeline and of the vet sheet."""

from __future__ import annotations

from decimal import Decimal

from flockcare.feet.models import FOOT_SIGNS, SIGN_WORDS, Comb, Leg, Scab, Site, Swelling
from flockcare.feet.scales import GAIT


def foot_signs(
    sites: list[str] | None,
    scab: str | None,
    scab_mm: Decimal | None,
    swelling: str | None,
    *signs: bool | None,
) -> list[str]:
    """What one foot showed besides its score: ``main pad``, ``black scab 8 mm``, ``hot``.

    The values of a finding, ``FOOT_SIGNS`` last; None for one that there is not.
    """
    words = [" and ".join(Site(site).label for site in sites)] if sites else []
    if scab and scab != Scab.NONE:
        words.append(f"{scab} scab" + (f" {scab_mm.normalize():f} mm" if scab_mm else ""))
    if swelling and swelling != Swelling.NONE:
        words.append(f"swelling {Swelling(swelling).label}")
    return words + [SIGN_WORDS[name] for name, said in zip(FOOT_SIGNS, signs, strict=True) if said]


# Of a check, in the order in which `odd_signs` wants them.
BIRD_SIGNS = ("gait", "limps_on", "manner", "eating", "droppings", "belly", "comb")
ODD = {
    ("manner", "dull"): "dull",
    ("eating", "no"): "not eating",
    ("droppings", "odd"): "abnormal droppings",
    ("belly", "swollen"): "swollen belly",
    ("comb", Comb.PALE): "pale comb",
    ("comb", Comb.PURPLE): "purple comb",
}


def odd_signs(gait: int | None, limps_on: str, *others: str) -> list[str]:
    """What stood out in how the bird was, from the values of ``BIRD_SIGNS``: ``gait 3 obvious``."""
    words = [f"gait {gait} {GAIT.step(gait).short.lower()}"] if gait else []
    if limps_on:
        words.append(f"limps on {'the ' * (limps_on != Leg.BOTH)}{Leg(limps_on).label}")
    return words + [ODD[said] for said in zip(BIRD_SIGNS[2:], others, strict=True) if said in ODD]
