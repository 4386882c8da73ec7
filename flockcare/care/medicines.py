"""Rules about medicines in laying hens, as dated information with their sources.

Never a dose and never a permission: the app computes nothing from them. For whatever is not
named here: ask your vet.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

ASK = "Ask your vet about every other medicine, and about these too."


@dataclass(frozen=True)
class Prohibited:
    """A class of drugs of 21 CFR 530.41, with words by which a keeper may know it."""

    name: str
    words: tuple[str, ...] = ()
    condition: str = ""


US_LIST = (
    "United States: 21 CFR 530.41, drugs prohibited for extralabel use in food-producing animals "
    "(checked against the original; look for changes). A hen is one, whether or not you sell eggs."
)
PROHIBITED_US = (
    Prohibited("Chloramphenicol", ("chloramphenicol",)),
    Prohibited("Clenbuterol", ("clenbuterol",)),
    Prohibited("Diethylstilbestrol (DES)", ("diethylstilbestrol",)),
    Prohibited("Dimetridazole", ("dimetridazole",)),
    Prohibited("Ipronidazole", ("ipronidazole",)),
    Prohibited("Other nitroimidazoles", ("metronidazole", "ronidazole", "nitroimidazole")),
    Prohibited("Furazolidone", ("furazolidone",)),
    Prohibited("Nitrofurazone", ("nitrofurazone", "nitrofural")),
    Prohibited("Fluoroquinolones", ("enrofloxacin", "ciprofloxacin", "fluoroquinolone")),
    Prohibited("Glycopeptides", ("vancomycin", "avoparcin", "glycopeptide")),
    Prohibited(
        "Cephalosporins other than cephapirin",
        ("ceftiofur", "cefalexin", "cephalexin", "cephalosporin"),
        "in chickens: to prevent disease, at a dose or by a route or for a time that is not "
        "approved, or where it is not approved for the species and its class",
    ),
    Prohibited(
        "Adamantanes and neuraminidase inhibitors",
        ("amantadine", "rimantadine", "oseltamivir"),
        "in chickens",
    ),
)


def prohibited_in_us(product: str) -> Prohibited | None:
    """The class that this text names, word by word. None says nothing: brands are not known."""
    words = set(re.findall(r"[a-z]+", product.lower()))
    return next((drug for drug in PROHIBITED_US if words & set(drug.words)), None)


@dataclass(frozen=True)
class Notice:
    where: str
    text: str
    source: str
    mark: str


NOTICES = (
    Notice(
        "United States",
        "Since 11 June 2023 the antimicrobials that matter in human medicine and used to be sold "
        "over the counter need a vet’s prescription, also for backyard poultry.",
        "FDA Guidance for Industry 263",
        "as others quote it, not checked against the original",
    ),
    Notice(
        "United States",
        "A use that is not on the label needs a vet who knows you and the bird.",
        "AMDUCA 1994; 21 CFR 530",
        "as others quote it, not checked against the original",
    ),
    Notice(
        "United Kingdom (Great Britain; Northern Ireland differs)",
        "Cascade, as amended in 2024: for eggs at least one and a half times the longest time that "
        "the product’s own papers give for any species, or 14 days where it is not authorised for "
        "birds that lay for people. Your vet sets the time.",
        "Veterinary Medicines Regulations, SI 2013/2033, schedule 4, paragraph 2(3), as amended by "
        "SI 2024/567",
        "checked against the original",
    ),
    Notice(
        "European Union",
        "Cascade: for eggs one and a half times the time of the product, or 10 days where it is "
        "not authorised for birds that lay for people. Your vet sets the time.",
        "Regulation (EU) 2019/6, article 115(1)(c)",
        "not checked against the original",
    ),
    Notice(
        "Both",
        "“Seven days”, which older pages give, is out of date in the United Kingdom and in the "
        "European Union.",
        "SI 2006/2407 and Directive 2001/82/EC, article 11",
        "only the first is checked against the original",
    ),
)
