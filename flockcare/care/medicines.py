"""Rules about medicines in laying hens, as dated information with their sources.

Never a dose and never a permission: the app computes nothing from them. For whatever is not
named here: ask your vet.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from flockcare.core.sources import (
    AMDUCA,
    CFR_500,
    CFR_530,
    EU_37_2010,
    EU_2019_6,
    EU_RECORDS,
    FARAD,
    GFI_263,
    MARMULAK,
    NOAH,
    PRACTICE,
    SEVEN_DAYS,
    UK_RECORDS,
    VMD_LIMITS,
    VMR,
    Source,
)

ASK = "Ask your vet about every other medicine, and about these too."
SILENCE = "A medicine not named here may still be forbidden."
US, GB, EU = "United States", "Great Britain", "European Union"


@dataclass(frozen=True)
class Prohibited:
    """A medicine or a class of them, with patterns of words by which a keeper may know it.

    ``words``: regular expressions, each of a whole word or words in lower case. ``condition``: by
    which names it is known, or when it is meant.
    """

    name: str
    words: tuple[str, ...] = ()
    condition: str = ""

    def named_in(self, text: str) -> bool:
        return any(re.search(rf"\b(?:{word})\b", text) for word in self.words)


@dataclass(frozen=True)
class NotAllowed:
    """A list of a country; ``heading`` says what it forbids, ``warning`` what to do at once."""

    heading: str
    about: str
    drugs: tuple[Prohibited, ...]
    sources: tuple[Source, ...]
    warning: str


# Endings and beginnings stand for families: brands are not known, and spellings differ. Cefapirin
# is the one cephalosporin that 21 CFR 530.41 leaves out.
FLOXACINS = r"\w*floxacin\w*"
NIDAZOLES = r"\w*nidazole?s?"
NITROFURANS = r"nitrofur\w*"
CEPHALOSPORINS = r"(?!(?:cef|ceph)apirin)(?:cef|ceph)[a-z]\w*"
CAINES = r"\w+caine?s?"

US_LABEL = NotAllowed(
    "United States: not allowed outside the label",
    "For readers in the United States: in animals that give food. A hen is one, whether or not you "
    "sell eggs.",
    (
        Prohibited("Chloramphenicol", (r"chlor?amphenicol\w*",)),
        Prohibited("Clenbuterol", (r"clenbuterol",)),
        Prohibited("Diethylstilbestrol (DES)", (r"diethylstilbo?estrol",)),
        Prohibited("Dimetridazole", (r"dimetridazole?",)),
        Prohibited("Ipronidazole", (r"ipronidazole?",)),
        Prohibited("Other nitroimidazoles", (NIDAZOLES, r"nitroimidazoles?"), "names in ‑nidazole"),
        Prohibited("Furazolidone", (r"furazolidone?",)),
        Prohibited("Nitrofurazone", (NITROFURANS,), "and other names in nitrofur‑"),
        Prohibited("Fluoroquinolones", (FLOXACINS, r"fluoroquinolones?"), "names in ‑floxacin"),
        Prohibited(
            "Glycopeptides", ("vancomycin", "avoparcin", r"glycopeptides?"), "such as vancomycin"
        ),
        Prohibited(
            "Cephalosporins other than cephapirin",
            (CEPHALOSPORINS,),
            "names in cef‑ and ceph‑; in chickens: to prevent disease, at a dose or by a route or "
            "for a time that is not approved, or where it is not approved for the species and its "
            "class",
        ),
        Prohibited(
            "Adamantanes and neuraminidase inhibitors",
            ("amantadine", "rimantadine", "oseltamivir", "zanamivir"),
            "in chickens",
        ),
    ),
    (CFR_530,),
    "not allowed outside the label in the United States, and maybe not where you are. Ask your "
    "vet before you give any more, and do not eat the eggs.",
)
US_OTHER = NotAllowed(
    "United States: also not to be used",
    "For readers in the United States: old remedies that are still sold.",
    (
        Prohibited("Gentian violet", (r"(?:gentian|crystal)[ -]violet",)),
        Prohibited("Colloidal silver", (r"colloidal[ -]silver|silver[ -]colloid(?:al)?",)),
        Prohibited(
            "DMSO that was not made as a medicine", ("dmso", r"dimethyl[ -]?sulf?(?:ph)?oxide")
        ),
        Prohibited("Dipyrone (metamizole)", (r"dipyrone?", r"metamizole?")),
    ),
    (CFR_500, FARAD),
    "not to be used in a hen in the United States, and maybe not where you are. Ask your vet, and "
    "do not eat the eggs.",
)
EU_LIST = NotAllowed(
    "European Union: never in an animal that gives food",
    "For readers in the European Union and in Northern Ireland. Great Britain keeps a list of its "
    "own, which began with this one. No limit can be set for these: any trace in an egg is a "
    "hazard.",
    (
        Prohibited("Aristolochia and what is made of it", (r"aristolochia\w*",)),
        Prohibited("Chloramphenicol", (r"chlor?amphenicol\w*",)),
        Prohibited("Chloroform", ("chloroform",)),
        Prohibited("Chlorpromazine", (r"chlorpromazine?",)),
        Prohibited("Colchicine", (r"colchicine?",)),
        Prohibited("Dapsone", (r"dapsone?",)),
        Prohibited("Dimetridazole", (r"dimetridazole?",)),
        Prohibited("Metronidazole", (r"metronidazole?",)),
        Prohibited(
            "Nitrofurans, furazolidone too",
            (NITROFURANS, r"nifur\w*", r"furazolidone?", r"furaltadone?"),
        ),
        Prohibited("Ronidazole", (r"ronidazole?",)),
    ),
    (EU_37_2010, VMD_LIMITS),
    "never allowed in an animal that gives food in the European Union, and maybe not where you "
    "are. Ask your vet, and do not eat the eggs.",
)
LISTS = (US_LABEL, US_OTHER, EU_LIST)
PAIN_RELIEVER = Prohibited("Pain relievers, names in ‑caine", (CAINES,))
# Substances that act on an illness, by endings and beginnings of their international names (stems
# of the World Health Organization, from memory), and what labels call such a thing. No brands.
ACTIVE = Prohibited(
    "A medicine by its name",
    (
        *(
            r"\w*cillins?",
            r"\w*cyclines?",
            r"\w+m[yi]cins?",
            r"\w*fenicol",
            r"sul(?:f|ph)a(?!te)\w{3,}",
            r"(?:cef|ceph)apirin\w*",
        ),
        *(
            r"trimethoprim",
            r"tylosin",
            r"tilmicosin",
            r"tylvalosin",
            r"colistin\w*",
            r"polymyxin\w*",
            r"bacitracin\w*",
            r"\w*mulins?",
        ),
        *(r"fusidic acid", r"mupirocin", r"nystatin", r"\w+conazole?", r"clotrimazole?"),
        *(r"\w*mectins?", r"\w*bendazole?", r"levamisole?", r"piperazine?", r"\w*methrins?"),
        *(r"fipronil", r"\w*laner", r"amprolium", r"toltrazuril", r"\w*oxicam", r"\w*profen"),
        *(r"aspirin", r"acetylsalicylic acid", r"paracetamol", r"acetaminophen", r"diclofenac"),
        *(r"\w*metasone?", r"\w*methasone?", r"\w*nisolone?", r"\w*cortisone?", r"tramadol"),
        *(r"antibiotics?", r"antibacterials?", r"antimicrobials?", r"antifungals?", r"medicated"),
        *(
            r"steroids?",
            r"corticosteroids?",
            r"pain ?killers?",
            r"(?:de)?wormers?",
            r"antiparasitics?",
        ),
    ),
)
# “antibiotic-free”, “without steroids”.
_NOT_IN_IT = re.compile(r"\b(?:no|non|without|free of)[ -]\w+|\b\w+[ -]free\b")


def is_medicine_by_name(product: str) -> bool:
    """Whether the name of a product has a substance or a word in it that only a medicine has.

    That it has none says nothing: brands are not known.
    """
    text = _NOT_IN_IT.sub("", product.lower())
    known = (ACTIVE, PAIN_RELIEVER, *(drug for one in LISTS for drug in one.drugs))
    return any(one.named_in(text) for one in known)


def warnings_about(product: str) -> list[str]:
    """What a keeper should hear who enters this product: whole sentences, one a list.

    None of them says nothing: brands are not known.
    """
    text = product.lower()
    found = [
        f"{drug.name}: {one.warning}"
        for one in LISTS
        if (drug := next((drug for drug in one.drugs if drug.named_in(text)), None))
    ]
    if PAIN_RELIEVER.named_in(text):
        found.append(
            f"{PAIN_RELIEVER.name}: ask a vet first, for the dose matters in a small bird."
        )
    return found


@dataclass(frozen=True)
class Notice:
    where: str
    text: str
    sources: tuple[Source, ...]


NOTICES = (
    Notice(
        US,
        "For eggs hardly any medicine has a limit. Then any trace of it in an egg is illegal, and "
        "only a vet can set a time.",
        (MARMULAK,),
    ),
    Notice(
        US,
        "Since 11 June 2023 the antimicrobials that matter in human medicine and used to be sold "
        "over the counter need a vet’s prescription, also for backyard poultry.",
        (GFI_263,),
    ),
    Notice(US, "A use that is not on the label needs a vet who knows you and the bird.", (AMDUCA,)),
    Notice(
        GB,
        "Eggs, where a vet prescribes outside the label: at least one and a half times the longest "
        "time that the product’s own papers give for any species, or 14 days where it is not "
        "authorised for birds whose eggs people eat.",
        (VMR,),
    ),
    Notice(
        GB,
        "Meat: one and a half times the longest time, or 28 days where it is not authorised for "
        "animals that give food. Northern Ireland differs.",
        (NOAH,),
    ),
    Notice(
        "United Kingdom",
        "Keep for five years: proof of purchase, and of each giving the medicine, its batch, "
        "the amount, the day, the birds and the withdrawal.",
        (UK_RECORDS,),
    ),
    Notice(
        EU,
        "Eggs, where a vet prescribes outside the label: one and a half times the time of the "
        "product, or 10 days where it is not authorised for birds whose eggs people eat.",
        (EU_2019_6,),
    ),
    Notice(
        EU,
        "Keep for five years, of each medicine: the first day and for how long, its name and the "
        "amount, who supplied it with the proof, the birds, the vet who prescribed it, and the "
        "withdrawal, even if there is none.",
        (EU_RECORDS,),
    ),
    Notice(
        "Great Britain and European Union",
        "“Seven days for eggs”, which older pages give, is out of date.",
        (SEVEN_DAYS,),
    ),
)
WHOSE_EGGS = (
    "If you cannot tell a treated bird’s eggs from the others’, withhold all that could be its "
    "own, or house it apart. Do not eat, sell, give away or hatch them, and do not feed them back."
)
# Everywhere.
EGGS = (
    Notice(
        "Whose eggs?",
        WHOSE_EGGS,
        (PRACTICE,),
    ),
    Notice(
        "Medicine in water or feed",
        "Every bird that could drink or eat of it was treated: withhold the eggs of all of them.",
        (PRACTICE,),
    ),
    Notice(
        "Meat is not eggs",
        "What a label says about meat says nothing about eggs.",
        (FARAD,),
    ),
)
STEWARDSHIP = (
    "Finish a course as the vet set it, and ask before you stop it. Never use leftovers, and never "
    "one bird’s medicine for another."
)
