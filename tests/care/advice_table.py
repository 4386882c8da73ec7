"""Combinations of signs, and the levels of advice that a careful vet could accept for each.

Written from the sources and not from the rules. A row says what differs from a
bird of which everything is known (`CLEAR`, `SKIN`, `SCAB`) or from one of which nothing is
(`NOTHING`), which levels are acceptable, why, and who says so.

How sure a source is: `read` (the text, an abstract or an excerpt was read), `as cited` (read in
another text), `from memory`, `common practice, no published source`, `our choice`.
"""

from dataclasses import dataclass

from flockcare.care.sizes import Size

NOTHING: dict = {}
# Both feet clear, the hen well, and everything looked at.
CLEAR = {
    "score": 0,
    "other_score": 0,
    "swelling": "none",
    "scab": "none",
    "hot": False,
    "oozing": False,
    "cold_or_dark": False,
    "bleeding": False,
    "constricted": False,
    "plug_or_hole": False,
    "joint_swollen": False,
    "bone_or_joint": False,
    "raised_scales": False,
    "gait": 0,
    "bright": True,
    "eating": True,
    "belly_swollen": False,
    "droppings_normal": True,
    "body_condition": 2,
    "comb": "normal",
    "moulting": False,
    "broody": False,
    "days_affected": 0,
    "days_limping": 0,
    "cases_in_foot_12_months": 0,
    "others_new_14_days": 0,
    "weight_g": 2400,
    "weight_change_28_days": 0.0,
    "age_days": 700,
    "under_vet_plan": False,
}
# Thick dry skin, the commonest finding of all; and a plain scab of a few days.
SKIN = {**CLEAR, "score": 1, "days_affected": 3, "cases_in_foot_12_months": 1}
SCAB = {**SKIN, "scab": "brown"}
SWOLLEN = {**SKIN, "swelling": "moderate"}
BOTH = {**SKIN, "other_score": 1}

WQ = "Welfare Quality protocol for poultry 2009, laying hens: from memory"
BSAVA = (
    "BSAVA Manual of Raptors, Pigeons and Passerine Birds 2008, figure 16.4, made for raptors: read"
)
KESTIN = "Kestin et al. 1992, made for broilers: as cited"
HOSPITAL = (
    "A bird hospital's list of what needs a vet at once (bleeding that cannot be stopped, a cut "
    "that exposes bone, a broken bone; coloradoexoticanimalhospital.com, bird emergencies): read"
)
BIRD_FLU = (
    "Animal and Plant Health Agency, Bird flu: how to spot it and report it, 4 November 2022 "
    "(lethargy, lying down, eating less, blue comb, redness of shanks, loose droppings): read"
)
SYNOVIAE = (
    "Mycoplasma synoviae: hot swollen hocks and foot pads, lame, all ages "
    "(poultryworld.net, mycoplasma: infectious synovitis): read"
)
FROSTBITE = (
    "Leg bands and tight bandages cut off the blood; toes dry up (vetbook.org, bird, Frostbite): "
    "read"
)
STAPH = "Staphylococcosis: down on hocks, swollen feet or hocks (poultryworld.net): read"
MAREK = (
    "Marek's disease: lame, then paralysed, mostly between six weeks and six months "
    "(thisnzlife.co.nz, Clarke, Odd reasons your chicken might be lame; poultryworld.net): read"
)
LAMENESS = (
    "Lameness: feel the whole leg, thigh to sole, compare both, ask how old she is "
    "(thisnzlife.co.nz, Clarke; thecountrysmallholder.com, Skeletal problems): read"
)
PERITONITIS = (
    "Egg peritonitis: dull, a swollen hot belly, loses condition "
    "(chickenvet.co.uk, Crisp, Reproductive disorders): read"
)
WEIGHT = (
    "A loss of 10 % or more should prompt a visit (birdchannel.com, weight loss, of cage birds): "
    "read"
)
CORE = (
    "The wound heals outside and leaves a hard core of pus inside "
    "(farmhealthonline.com, Bumblefoot): read"
)
PREVALENCE = (
    "86 % of 864 foot pads showed some change, 57 % a mild one (Weitzenbürger et al. 2006); of "
    "affected hens 52 % on both feet (Volkmann et al.): read"
)
HUMAN = (
    "Studies of ulcers in people: Sheehan et al. 2003, Coerper et al. 2009 (half of the area in "
    "four weeks): read; two weeks: our choice; never tested in birds"
)
PEA = (
    "Only what is 5 mm (a pea) or more is recorded (University of California, Davis, assessment "
    "of laying hens): read; from 10 mm on a vet: from memory"
)
SCALY = "Scaly-leg mites: raised scales, lame only where severe (extension text): as cited"
PRACTICE = "common practice, no published source"
MEMORY = "what a careful vet would say: from memory"
OURS = "our choice"


@dataclass(frozen=True)
class Row:
    base: dict
    signs: dict
    levels: frozenset[str]
    reason: str
    source: str

    @property
    def values(self) -> dict:
        return {**self.base, **self.signs}


def row(levels: str, base: dict, reason: str, source: str, **signs) -> Row:
    return Row(base, signs, frozenset(levels.split()), reason, source)


def mm(*readings, error=1.0):
    """(value, days ago)"""
    return tuple(Size(value, error, "mm", days) for value, days in readings)


def mm2(*readings, relative=0.05):
    return tuple(Size(value, value * relative, "mm²", days) for value, days in readings)


ROWS = (
    # --- Nothing known, and nothing the matter
    row("LOOK", NOTHING, "Nobody has checked her", OURS),
    row("LEAVE", CLEAR, "Nothing the matter", WQ),
    row("LEAVE", NOTHING, "Both feet clear by one tap", WQ, score=0, other_score=0),
    row("LEAVE LOOK", NOTHING, "One foot clear, the rest not checked", WQ, score=0),
    row("LOOK", NOTHING, "A score without anything else", OURS, score=1),
    row("LOOK LEAVE", NOTHING, "Nor with the other foot", OURS, score=1, other_score=0),
    row("LOOK", NOTHING, "A gait of 0 says nothing of the foot", OURS, gait=0),
    row("LOOK", NOTHING, "A bright bird may still have a bad foot", OURS, bright=True, eating=True),
    row("LEAVE", CLEAR, "In moult, and well", PRACTICE, moulting=True),
    row("LEAVE", CLEAR, "Broody, and well", PRACTICE, broody=True),
    row("LEAVE", CLEAR, "Young, and well", MAREK, age_days=100),
    row("LEAVE", CLEAR, "A little lighter is nothing", WEIGHT, weight_change_28_days=-0.03),
    row("LEAVE", CLEAR, "Heavier is nothing for a vet", WEIGHT, weight_change_28_days=0.2),
    row("LEAVE", CLEAR, "A healed foot, three cases behind it", MEMORY, cases_in_foot_12_months=3),
    row("LEAVE", CLEAR, "Others are sore, she is not", MEMORY, others_new_14_days=4),
    # --- Mild skin and plain scabs
    row("LEAVE HOME", SKIN, "Dry thick skin: look for the cause", BSAVA),
    row("LEAVE HOME", SKIN, "The same for half a year", PREVALENCE, days_affected=180),
    row("LEAVE", SCAB, "A plain scab, nothing else: leave, look for the cause", PRACTICE),
    row("LEAVE", SCAB, "A black one too", PRACTICE, scab="black"),
    row("LOOK", SCAB, "Is she bright? Not known", OURS, bright=None),
    row("LEAVE", SCAB, "Bright and walks well; eating not recorded", PRACTICE, eating=None),
    row("LEAVE", SCAB, "Nor the other foot: asked for, no alarm", PRACTICE, other_score=None),
    row(
        "LOOK",
        SCAB,
        "Neither how she is nor the other foot is known",
        OURS,
        bright=None,
        eating=None,
        other_score=None,
    ),
    row(
        "LEAVE",
        NOTHING,
        "A dry scab, a bright bird that walks well, and no more recorded",
        PRACTICE,
        score=1,
        scab="brown",
        swelling="none",
        gait=0,
        bright=True,
    ),
    row(
        "LEAVE",
        NOTHING,
        "The same without a score",
        PRACTICE,
        scab="black",
        swelling="none",
        gait=0,
        bright=True,
        eating=True,
    ),
    row(
        "LEAVE HOME",
        NOTHING,
        "Dry skin by itself",
        BSAVA,
        score=1,
        scab="none",
        swelling="none",
        gait=0,
    ),
    row("LOOK", SCAB, "Swollen? Not known", OURS, swelling=None),
    row("LOOK", SCAB, "Does she limp? Not known", OURS, gait=None),
    row(
        "LOOK LEAVE",
        NOTHING,
        "A scab, and nothing else written down",
        OURS,
        score=1,
        scab="black",
        swelling="none",
        gait=0,
    ),
    row("LEAVE LOOK", SCAB, "A scab, yet scored clear: the sign counts", OURS, score=0),
    row("LEAVE HOME", SKIN, "Grade I is this very skin", BSAVA, grade=1),
    row("LEAVE HOME", SCAB, "Grade II: a small scab on the surface", BSAVA, grade=2),
    row("HOME ASK", SKIN, "Raised scales: treat the mites", SCALY, raised_scales=True),
    row("HOME ASK", CLEAR, "Raised scales on a clear foot", SCALY, raised_scales=True),
    row("HOME ASK SOON", SKIN, "Raised scales and a limp", SCALY, raised_scales=True, gait=2),
    # --- Both feet
    row("HOME LEAVE", BOTH, "The commonest finding: bedding, roost, weight", PREVALENCE),
    row("HOME LEAVE ASK", BOTH, "For months", PREVALENCE, days_affected=120),
    row("HOME LEAVE ASK", BOTH, "Two plain scabs", PREVALENCE, scab="brown"),
    row("SOON", BOTH, "One of them seen from above", WQ, other_score=2),
    row("SOON", BOTH, "This one seen from above", WQ, score=2),
    row("SOON", BOTH, "Moderately swollen, no sound foot", MEMORY, swelling="moderate"),
    row("ASK SOON", BOTH, "Lame a little, no sound foot", MEMORY, gait=1),
    row("SOON", BOTH, "Lame, no sound foot", KESTIN, gait=3),
    row(
        "HOME LEAVE ASK LOOK",
        NOTHING,
        "Both mild, the rest not known",
        PREVALENCE,
        score=1,
        other_score=1,
    ),
    # --- Swelling
    row("HOME", SWOLLEN, "Moderate, she walks well: soak, cover, rest", PRACTICE),
    row("HOME", SWOLLEN, "With a scab", PRACTICE, scab="brown"),
    row("HOME LOOK ASK", SWOLLEN, "Moderate, gait not known", OURS, gait=None),
    row("HOME", NOTHING, "Moderate, and no score beside it", PRACTICE, swelling="moderate"),
    row("SOON", NOTHING, "Moderate and limps, no score", MEMORY, swelling="moderate", gait=1),
    row(
        "ASK SOON",
        NOTHING,
        "Moderate for two weeks, no score",
        MEMORY,
        swelling="moderate",
        days_affected=14,
    ),
    row("SOON", SWOLLEN, "Swollen and she limps", MEMORY, gait=1),
    row("SOON", SWOLLEN, "Swollen and she limps, one day", MEMORY, gait=2, days_limping=1),
    row("SOON", SKIN, "Seen from above", WQ, score=2, swelling="from above"),
    row("SOON", SKIN, "Seen from above, by the score alone", WQ, score=2, swelling=None),
    row("SOON", SKIN, "Seen from above, whatever the score", WQ, swelling="from above"),
    row("SOON", CLEAR, "Seen from above, though scored clear", WQ, swelling="from above"),
    row("SOON", SKIN, "Scored swollen, though “no swelling”", WQ, score=2, swelling="none"),
    row("LOOK HOME ASK", CLEAR, "Swollen, though scored clear", OURS, swelling="moderate"),
    row("SOON", CLEAR, "Swollen, scored clear, and limps", MEMORY, swelling="moderate", gait=1),
    row("HOME", SWOLLEN, "Under two weeks", MEMORY, days_affected=13),
    row("ASK SOON", SWOLLEN, "Two weeks of it, nothing measured", MEMORY, days_affected=14),
    row("ASK SOON", SWOLLEN, "Six weeks of it", MEMORY, days_affected=42),
    row(
        "HOME LEAVE ASK",
        SWOLLEN,
        "Three weeks, and measured half as large",
        HUMAN,
        days_affected=21,
        sizes=mm2((20, 0), (50, 20)),
    ),
    # --- Infection, the deep structures, the grades
    row("SOON", SKIN, "Hot: usually infected", BSAVA, hot=True),
    row("SOON", SKIN, "Oozing: usually infected", BSAVA, oozing=True),
    row("SOON", CLEAR, "Hot without a sore: joint or tendon", SYNOVIAE, hot=True),
    row("SOON", NOTHING, "Hot, and nothing else known", BSAVA, hot=True),
    row("SOON", SCAB, "A plug: a core of pus may reach deep", CORE, plug_or_hole=True),
    row("SOON", CLEAR, "A hock swollen, feet clear", SYNOVIAE, joint_swollen=True),
    row("SOON", SKIN, "A joint swollen", STAPH, joint_swollen=True),
    row("SOON NOW", SKIN, "Bone, joint or tendon", BSAVA, bone_or_joint=True),
    row("SOON NOW", SKIN, "Bone, joint or tendon, open", HOSPITAL, bone_or_joint=True, oozing=True),
    row("NOW", SKIN, "Open to the bone, and bleeds", HOSPITAL, bone_or_joint=True, bleeding=True),
    row("SOON", SKIN, "Grade III", BSAVA, grade=3),
    row("SOON NOW", SKIN, "Grade IV", BSAVA, grade=4),
    row("SOON NOW", SKIN, "Grade V", BSAVA, grade=5),
    row("SOON", SCAB, "Grade III, though it looks plain", BSAVA, grade=3),
    row("SOON", NOTHING, "Grade III and nothing else", BSAVA, grade=3),
    row("LOOK LEAVE HOME", NOTHING, "Grade II and nothing else", BSAVA, grade=2),
    # --- Today
    row("NOW", CLEAR, "Cold or dark: blood does not reach it", FROSTBITE, cold_or_dark=True),
    row("NOW", NOTHING, "The same, nothing else known", FROSTBITE, cold_or_dark=True),
    row("NOW", SWOLLEN, "Swollen and dark", MEMORY, cold_or_dark=True),
    row("NOW", CLEAR, "A thread round a toe", MEMORY, constricted=True),
    row("NOW", SKIN, "A band too tight, toes cold", FROSTBITE, constricted=True, cold_or_dark=True),
    row("NOW SOON", SKIN, "Open and bleeding", HOSPITAL, bleeding=True),
    row("NOW", CLEAR, "She cannot stand", KESTIN, gait=5),
    row("NOW", SCAB, "She cannot stand, with a plain scab", KESTIN, gait=5),
    row("NOW", CLEAR, "Dull, feet clear", BIRD_FLU, bright=False),
    row("NOW", SCAB, "Dull, with a plain scab", MEMORY, bright=False),
    row("NOW SOON", CLEAR, "Not eating, feet clear", BIRD_FLU, eating=False),
    row("NOW", CLEAR, "Dull and not eating", BIRD_FLU, bright=False, eating=False),
    row("NOW", NOTHING, "Dull, nothing else known", BIRD_FLU, bright=False),
    row("NOW SOON", NOTHING, "Not eating, nothing else known", BIRD_FLU, eating=False),
    row("NOW", SWOLLEN, "A swollen foot and dull", MEMORY, bright=False, hot=True),
    row("NOW", CLEAR, "Purple comb", BIRD_FLU, comb="purple"),
    row("NOW", CLEAR, "Swollen belly and dull", PERITONITIS, belly_swollen=True, bright=False),
    # --- In moult or broody
    row("ASK LOOK HOME", CLEAR, "Broody hens eat little", PRACTICE, eating=False, broody=True),
    row("ASK LOOK HOME", CLEAR, "In moult, eats less", PRACTICE, eating=False, moulting=True),
    row("ASK LOOK HOME", CLEAR, "In moult, quiet", PRACTICE, bright=False, moulting=True),
    row("ASK LOOK HOME", CLEAR, "Broody, quiet on her nest", PRACTICE, bright=False, broody=True),
    row("ASK LOOK HOME", SCAB, "Broody with a plain scab", PRACTICE, eating=False, broody=True),
    row(
        "ASK SOON NOW",
        CLEAR,
        "In moult, dull and not eating",
        MEMORY,
        bright=False,
        eating=False,
        moulting=True,
    ),
    row(
        "SOON NOW",
        CLEAR,
        "In moult, quiet, and limps",
        LAMENESS,
        bright=False,
        moulting=True,
        gait=2,
    ),
    row(
        "SOON NOW",
        CLEAR,
        "Broody, eats little, and limps",
        LAMENESS,
        eating=False,
        broody=True,
        gait=1,
    ),
    row(
        "SOON NOW", SWOLLEN, "In moult, quiet, a foot swollen", MEMORY, bright=False, moulting=True
    ),
    row("NOW SOON", CLEAR, "Moult not known", OURS, eating=False, moulting=None, broody=None),
    row("NOW", CLEAR, "Broody explains no cold foot", MEMORY, cold_or_dark=True, broody=True),
    row("NOW", CLEAR, "Moult explains no purple comb", BIRD_FLU, comb="purple", moulting=True),
    row("NOW", CLEAR, "Moult explains no lame bird", KESTIN, gait=5, moulting=True),
    row(
        "NOW SOON",
        SWOLLEN,
        "Not eating in moult, with an infected foot",
        MEMORY,
        eating=False,
        moulting=True,
        hot=True,
    ),
    row(
        "NOW SOON",
        CLEAR,
        "Broody and dull, with a swollen belly",
        PERITONITIS,
        bright=False,
        broody=True,
        belly_swollen=True,
    ),
    row(
        "NOW SOON",
        CLEAR,
        "Broody, not eating, abnormal droppings",
        BIRD_FLU,
        eating=False,
        broody=True,
        droppings_normal=False,
    ),
    # --- The bird
    row("SOON NOW", CLEAR, "Swollen belly, bright", PERITONITIS, belly_swollen=True),
    row("ASK", CLEAR, "Abnormal droppings, bright", MEMORY, droppings_normal=False),
    row("ASK", SCAB, "Abnormal droppings and a plain scab", MEMORY, droppings_normal=False),
    row(
        "NOW",
        CLEAR,
        "Abnormal droppings and dull",
        BIRD_FLU,
        droppings_normal=False,
        bright=False,
    ),
    row("SOON", CLEAR, "Very thin", WEIGHT, body_condition=0),
    row("SOON", SCAB, "Very thin, with a plain scab", WEIGHT, body_condition=0),
    row("LEAVE", CLEAR, "Lean", MEMORY, body_condition=1),
    row("LEAVE", CLEAR, "Plump", MEMORY, body_condition=3),
    row("SOON", CLEAR, "A tenth of her weight in four weeks", WEIGHT, weight_change_28_days=-0.1),
    row("SOON", SCAB, "More than a tenth", WEIGHT, weight_change_28_days=-0.15),
    row("LEAVE ASK", CLEAR, "Not quite a tenth", WEIGHT, weight_change_28_days=-0.09),
    row("ASK SOON", CLEAR, "Pale comb: mites, worms, blood lost", MEMORY, comb="pale"),
    row("NOW", CLEAR, "Pale comb and dull", MEMORY, comb="pale", bright=False),
    # --- How she walks
    row("LOOK HOME", CLEAR, "Limps, no sore: hock, leg, keel, belly", LAMENESS, gait=1),
    row("LOOK HOME", CLEAR, "The same, plainer", LAMENESS, gait=2, days_limping=2),
    row("LOOK HOME", CLEAR, "Other foot not known", LAMENESS, gait=1, other_score=None),
    row("ASK SOON LOOK", CLEAR, "On the third day", MEMORY, gait=1, days_limping=3),
    row("SOON", CLEAR, "Still limping on the fifth day", MEMORY, gait=1, days_limping=5),
    row("SOON", CLEAR, "For three weeks", MEMORY, gait=2, days_limping=21),
    row("SOON", CLEAR, "Limps, five months old", MAREK, gait=1, age_days=150),
    row("SOON", CLEAR, "Limps, ten weeks old, first day", MAREK, gait=2, age_days=70),
    row("LOOK HOME", CLEAR, "Limps, seven months old", MAREK, gait=1, age_days=213),
    row("LOOK HOME", CLEAR, "Limps, age not known", MAREK, gait=1, age_days=None),
    row("SOON ASK", SKIN, "Limps with a sore, five months old", MAREK, gait=1, age_days=150),
    row("SOON", NOTHING, "Young and limps, nothing else", MAREK, gait=1, age_days=120),
    row("HOME", SKIN, "A sore, and she limps a little: rest", PRACTICE, gait=1),
    row("HOME", SCAB, "A scab, and she limps a little", PRACTICE, gait=2, days_limping=1),
    row("SOON ASK", SCAB, "And still on the fourth day", MEMORY, gait=2, days_limping=4),
    row("SOON ASK", SCAB, "And still after a week", MEMORY, gait=1, days_limping=7),
    row(
        "HOME LOOK LEAVE",
        CLEAR,
        "Limps, the other foot has the sore",
        LAMENESS,
        gait=1,
        other_score=1,
    ),
    row("SOON", CLEAR, "Lame, no sore", KESTIN, gait=3),
    row("SOON", SCAB, "Lame, a plain scab", KESTIN, gait=3),
    # Within days would leave a bird that walks only when driven without food and water.
    row("NOW", CLEAR, "Severely lame", KESTIN, gait=4),
    row("NOW", SCAB, "Severely lame, a plain scab", KESTIN, gait=4),
    row("NOW", CLEAR, "Hot swollen joint, limps", SYNOVIAE, joint_swollen=True, hot=True, gait=1),
    row("SOON", CLEAR, "Hot swollen joint, no limp", SYNOVIAE, joint_swollen=True, hot=True),
    row("SOON", NOTHING, "Lame, and nothing else known", KESTIN, gait=3),
    row("LOOK", NOTHING, "A little lame, and nothing else known", OURS, gait=1),
    row(
        "HOME", NOTHING, "A sore, and she limps since yesterday", PRACTICE, score=1, days_limping=1
    ),
    row("LOOK HOME", NOTHING, "A clear foot and a limp", LAMENESS, score=0, gait=2),
    row(
        "LOOK HOME",
        NOTHING,
        "A clear foot, limps since yesterday",
        LAMENESS,
        score=0,
        days_limping=1,
    ),
    row("LEAVE", SCAB, "It limped once, and walks well now", OURS, days_limping=5, gait=0),
    # --- How long, how often, how many
    row("LEAVE", SCAB, "A scab of three weeks", PRACTICE, days_affected=27),
    row("ASK", SCAB, "A scab of four weeks, nothing measured", MEMORY, days_affected=28),
    row("ASK SOON", SCAB, "A scab of three months", MEMORY, days_affected=90),
    row(
        "LEAVE HOME",
        SCAB,
        "Five weeks, and three quarters gone",
        HUMAN,
        days_affected=35,
        sizes=mm2((10, 0), (40, 34)),
    ),
    row("ASK", SCAB, "The third time within a year", MEMORY, cases_in_foot_12_months=3),
    row("ASK", SKIN, "The fourth time", MEMORY, cases_in_foot_12_months=4),
    row("ASK", NOTHING, "The third time, not checked yet", MEMORY, cases_in_foot_12_months=3),
    row("LEAVE", SCAB, "The second time", MEMORY, cases_in_foot_12_months=2),
    row("ASK SOON", SCAB, "Three more within two weeks", SYNOVIAE, others_new_14_days=3),
    row("ASK SOON", SWOLLEN, "Three more within two weeks", SYNOVIAE, others_new_14_days=5),
    row("ASK SOON", NOTHING, "Three others new, she not checked", SYNOVIAE, others_new_14_days=3),
    row(
        "LEAVE",
        NOTHING,
        "Others new, both her feet clear by one tap",
        MEMORY,
        score=0,
        other_score=0,
        others_new_14_days=3,
    ),
    row("LEAVE HOME ASK", SCAB, "One more", SYNOVIAE, others_new_14_days=1),
    row("SOON", SKIN, "Several, with hot feet", SYNOVIAE, others_new_14_days=3, hot=True),
    # --- Sizes
    row("LEAVE", SCAB, "Measured once, small", PEA, sizes=mm((4, 0))),
    row("LEAVE", SCAB, "Six, then four millimetres", HUMAN, sizes=mm((4, 0), (6, 15))),
    row("SOON", SCAB, "Grown beyond the error", HUMAN, sizes=mm((8, 0), (5, 7))),
    row("SOON", SCAB, "Grown, by outline", HUMAN, sizes=mm2((60, 0), (40, 5))),
    row("LEAVE", SCAB, "Within the error", HUMAN, sizes=mm((6, 0), (5, 7))),
    row("LEAVE", SCAB, "87 % below its peak", HUMAN, sizes=mm2((10, 0), (75, 10), (1.4, 20))),
    row(
        "SOON ASK",
        SCAB,
        "Shrunk, and grown again",
        HUMAN,
        sizes=mm2((30, 0), (5, 7), (40, 20)),
    ),
    row("SOON ASK", SCAB, "Crept up within the error", HUMAN, sizes=mm((6, 0), (5, 3), (4, 6))),
    row("SOON ASK", SCAB, "6 mm after two weeks", HUMAN, sizes=mm((6, 0), (6, 14))),
    row("LEAVE", SCAB, "6 mm after 13 days", HUMAN, sizes=mm((6, 0), (6, 13))),
    row("SOON ASK", SCAB, "9.9 of 10 mm² after six weeks", HUMAN, sizes=mm2((9.9, 0), (10, 42))),
    row("HOME LEAVE ASK", SCAB, "4 of 4 mm: too coarse", HUMAN, sizes=mm((4, 0), (4, 14))),
    row("SOON ASK", SCAB, "A third gone in a month", HUMAN, sizes=mm2((40, 0), (60, 30))),
    row("LEAVE", SCAB, "A third gone in two weeks", HUMAN, sizes=mm2((40, 0), (60, 14))),
    row("LEAVE", SCAB, "More than half gone in a month", HUMAN, sizes=mm2((25, 0), (60, 30))),
    row("ASK SOON", SCAB, "12 mm wide", PEA, sizes=mm((12, 0))),
    row("SOON", SCAB, "25 mm and black", PEA, sizes=mm((25, 0)), scab="black"),
    row("ASK SOON", SCAB, "10 mm wide", PEA, sizes=mm((10, 0))),
    row("LEAVE", SCAB, "9 mm on a large hen", PEA, sizes=mm((9, 0)), weight_g=3500),
    row("ASK SOON", SCAB, "6 mm on a bantam", PEA, sizes=mm((6, 0)), weight_g=800),
    row("LEAVE", SCAB, "4 mm on a bantam", PEA, sizes=mm((4, 0)), weight_g=800),
    row("LEAVE", SCAB, "6 mm, weight not known", PEA, sizes=mm((6, 0)), weight_g=None),
    row("ASK SOON", SCAB, "200 mm² by outline", PEA, sizes=mm2((200, 0))),
    row(
        "ASK SOON",
        SCAB,
        "Large still, though it shrinks",
        PEA,
        sizes=mm((12, 0), (16, 10)),
    ),
    # --- Under a vet's plan
    row("HOME", SWOLLEN, "Old signs: the vet's plan", OURS, gait=2, under_vet_plan=True),
    row("HOME", SKIN, "Hot, as the vet knows", OURS, hot=True, under_vet_plan=True),
    row("HOME", SKIN, "Grade IV under treatment", OURS, grade=4, gait=3, under_vet_plan=True),
    row("LEAVE HOME", CLEAR, "A plan, and nothing there", OURS, under_vet_plan=True),
    row("LEAVE HOME", SCAB, "A plan, and a plain scab", OURS, under_vet_plan=True),
    row("NOW", SKIN, "A cold foot under a plan", MEMORY, cold_or_dark=True, under_vet_plan=True),
    row("NOW", CLEAR, "Dull under a plan", MEMORY, bright=False, under_vet_plan=True),
    row("NOW", CLEAR, "A thread under a plan", MEMORY, constricted=True, under_vet_plan=True),
    row("NOW", CLEAR, "Cannot stand under a plan", KESTIN, gait=5, under_vet_plan=True),
    row("HOME", SKIN, "Severely lame, as the vet knows", OURS, gait=4, under_vet_plan=True),
    row(
        "ASK SOON",
        SCAB,
        "Larger since the vet saw it",
        MEMORY,
        under_vet_plan=True,
        larger_since_visit=True,
    ),
    row("SOON", SKIN, "The plan ended, hot and lame", OURS, hot=True, gait=2, under_vet_plan=False),
    row("SOON", SKIN, "Whether a plan holds is not known", OURS, hot=True, under_vet_plan=None),
    row(
        "HOME",
        BOTH,
        "Several old signs under a plan",
        OURS,
        other_score=2,
        gait=3,
        days_limping=9,
        cases_in_foot_12_months=3,
        under_vet_plan=True,
    ),
    # --- Several at once
    row(
        "NOW",
        SWOLLEN,
        "Hot, lame, dull",
        MEMORY,
        hot=True,
        gait=4,
        bright=False,
    ),
    row(
        "SOON NOW",
        SWOLLEN,
        "Hot, oozing, thin",
        MEMORY,
        hot=True,
        oozing=True,
        body_condition=0,
    ),
    row(
        "SOON",
        SCAB,
        "Third case, four weeks, and grows",
        HUMAN,
        cases_in_foot_12_months=3,
        days_affected=30,
        sizes=mm((9, 0), (6, 10)),
    ),
    row(
        "ASK SOON",
        SCAB,
        "Third case, four weeks, abnormal droppings",
        MEMORY,
        cases_in_foot_12_months=3,
        days_affected=30,
        droppings_normal=False,
    ),
    row(
        "SOON",
        BOTH,
        "Both feet, limps, and loses weight",
        WEIGHT,
        gait=2,
        weight_change_28_days=-0.12,
    ),
    row(
        "SOON",
        CLEAR,
        "Young, limps, thin",
        MAREK,
        gait=2,
        age_days=120,
        body_condition=0,
    ),
    row(
        "SOON",
        CLEAR,
        "Swollen hock, limps, others too",
        SYNOVIAE,
        joint_swollen=True,
        gait=2,
        others_new_14_days=4,
    ),
    row(
        "NOW",
        SCAB,
        "Large scab, grade V, cannot stand",
        BSAVA,
        sizes=mm((20, 0)),
        grade=5,
        gait=5,
    ),
    row(
        "NOW",
        NOTHING,
        "Bleeding, and eating is all that is known",
        HOSPITAL,
        bleeding=True,
        cold_or_dark=True,
        eating=True,
    ),
    row(
        "LOOK",
        NOTHING,
        "A sore foot that nobody has looked at for weeks: what it showed is not known to be so",
        "our choice",
        seen_long_ago=True,
    ),
    row(
        "NOW",
        CLEAR,
        "The other foot was not looked at for weeks, and the hen is dull today",
        HOSPITAL,
        score=None,
        seen_long_ago=True,
        bright=False,
    ),
    row("LOOK HOME", CLEAR, "In moult, limps a little", LAMENESS, gait=1, moulting=True),
    row("SOON", CLEAR, "Broody, a tenth lighter, very thin", WEIGHT, broody=True, body_condition=0),
)
