"""Every published source that the app goes by: once, with what it says and how it was read.

Tables and pages name sources from here, or by a text in which one is recognised, and show no more
than a small mark that leads to the page of sources. What was read and what was not stands there.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Reading(StrEnum):
    """How its maker knows what a source says."""

    READ = "read"
    ABSTRACT = "summary read"
    QUOTED = "read as others quote it"
    MEMORY = "from memory"
    NONE = "no published source"


@dataclass(frozen=True)
class Source:
    """``short`` names it in a line; ``names``: patterns by which a text is seen to name it, for
    tables and records that hold a text.

    ``limits``: what has to be known about how it was read, or about how far it reaches. ``mark``:
    the word that leads to it.
    """

    key: str
    group: str
    short: str
    citation: str
    says: str
    reading: Reading
    names: tuple[str, ...] = ()
    limits: str = ""
    mark: str = "source"


SCALES = "Scales and signs"
SIZES = "Sizes of sores"
WEIGHTS = "Weights"
HOUSES = "Houses"
CARE = "Care and hygiene"
DISEASE = "Diseases that must be reported"
LAW = "Medicines and the law"

PRACTICE = Source(
    "practice",
    CARE,
    "Common practice",
    "Keepers and vets, by word of mouth and in handbooks",
    "What many do and nobody has tested, or not in hens.",
    Reading.NONE,
    ("common practice", "^keepers$", "^vets of poultry and keepers"),
    mark="common practice",
)
OWN_CHOICE = Source(
    "our-choice",
    CARE,
    "Our own choice",
    "The makers of Flockcare",
    "A number or a day that no source gives.",
    Reading.NONE,
    ("our own choice",),
    mark="our choice",
)

# --- Scales and signs

WELFARE_QUALITY = Source(
    "welfare-quality-2009",
    SCALES,
    "Welfare Quality (2009)",
    "Welfare Quality Consortium (2009), Assessment protocol for poultry, laying hens, foot pad "
    "dermatitis",
    "The score 0, 1, 2 of a foot; the worse foot counts.",
    Reading.MEMORY,
    ("welfare quality",),
    "That it exists was read, its wording was not.",
)
KESTIN = Source(
    "kestin-1992",
    SCALES,
    "Kestin et al. (1992)",
    "Kestin, Knowles, Tinch and Gregory (1992), Veterinary Record 131:190–194",
    "How a bird walks, from 0 (nothing to see) to 5 (cannot walk).",
    Reading.QUOTED,
    ("kestin",),
    "Made for broilers. No scale of walking has been tested in laying hens. From which score on a "
    "vet is called is our choice.",
)
GREGORY_ROBINS = Source(
    "gregory-robins-1998",
    SCALES,
    "Gregory and Robins (1998)",
    "Gregory and Robins (1998), New Zealand Journal of Agricultural Research 41:555–559",
    "Body condition 0 to 3, felt at the keel.",
    Reading.MEMORY,
    ("gregory and robins", "gregory & robins"),
    "The wording is a rough guide: feel the keel.",
)
BSAVA = Source(
    "bsava-2008",
    SCALES,
    "BSAVA manual (2008)",
    "BSAVA Manual of Raptors, Pigeons and Passerine Birds (2008), chapter 16, figure 16.4, doi "
    "10.22233/9781910443101.chap16",
    "Clinical grades I to V; hot, swollen, painful or oozing is grade III.",
    Reading.READ,
    ("bsava", "raptor grades"),
    "Made for raptors; no grade has been tested in hens. Only the captions of the grades were "
    "read. That the outlook is guarded from grade III on is said by others.",
)
DAVIS = Source(
    "uc-davis",
    SCALES,
    "UC Davis",
    "University of California, Davis, page on assessing laying hens",
    "The worse foot counts; a change counts from 5 mm (the size of a pea), or when swelling is "
    "seen from above.",
    Reading.READ,
    ("uc davis", "university of california"),
)
WEITZENBUERGER = Source(
    "weitzenbuerger-2006",
    SCALES,
    "Weitzenbürger et al. (2006)",
    "Weitzenbürger et al. (2006), British Poultry Science 47:533–543",
    "Of 864 foot pads 86% showed some change, most of it thick skin.",
    Reading.ABSTRACT,
    ("weitzenb",),
)
VOLKMANN = Source(
    "volkmann",
    SCALES,
    "Volkmann et al.",
    "Volkmann, Riedel, Kemper and Spindler, Factors associated with footpad dermatitis in German "
    "laying hens",
    "Of 15,448 hens one in five had a changed pad, half of those on both feet.",
    Reading.ABSTRACT,
    ("volkmann",),
)

FALCONS = Source(
    "falcon-vet",
    SCALES,
    "A falcon vet’s page",
    "A page of a vet of falcons on their feet",
    "Grades I and II heal well; from grade III on the outlook is guarded.",
    Reading.QUOTED,
    ("falcon vet",),
    "Falcons.",
)
EMERGENCIES = Source(
    "bird-emergencies",
    SCALES,
    "A bird hospital’s list",
    "A bird hospital’s list of emergencies (coloradoexoticanimalhospital.com)",
    "Bleeding that does not stop, a wound that exposes bone, a broken bone: a vet at once.",
    Reading.READ,
    ("bird hospital",),
    "An excerpt was read. Pet birds.",
)
FROSTBITE = Source(
    "frostbite",
    SCALES,
    "vetbook.org, frostbite",
    "vetbook.org, frostbite in birds",
    "Leg bands and tight bandages cut off the blood; toes die and dry up.",
    Reading.READ,
    ("vetbook",),
    "An excerpt was read. Pet birds.",
)
SYNOVIAE = Source(
    "infectious-synovitis",
    SCALES,
    "Infectious synovitis",
    "poultryworld.net, infectious synovitis (Mycoplasma synoviae)",
    "Hot, swollen hocks and foot pads, lameness, in several birds.",
    Reading.READ,
    ("infectious synovitis",),
    "An excerpt was read. From how many birds on, is our choice.",
)
MAREK = Source(
    "marek",
    SCALES,
    "Marek’s disease",
    "poultryworld.net, Marek’s disease",
    "A disease of mostly young birds that lames a leg.",
    Reading.READ,
    ("marek",),
    "An excerpt was read.",
)
CLARKE = Source(
    "clarke",
    SCALES,
    "Clarke",
    "Clarke, Odd reasons your chicken might be lame (thisnzlife.co.nz)",
    "A hen without a sore may limp from leg, hip, egg or nerve.",
    Reading.READ,
    ("clarke",),
    "An excerpt was read.",
)
CRISP = Source(
    "crisp",
    SCALES,
    "Crisp",
    "Crisp, a vet of hens, Reproductive disorders (chickenvet.co.uk)",
    "A swollen belly is a sign of a disorder of the egg organs.",
    Reading.READ,
    ("crisp",),
    "An excerpt was read.",
)
WEIGHT_LOSS = Source(
    "weight-loss",
    SCALES,
    "Weight loss of cage birds",
    "birdchannel.com, weight loss",
    "A bird that has lost a tenth of her weight needs a vet.",
    Reading.READ,
    ("birdchannel",),
    "An excerpt was read. Cage birds.",
)
SCALY_LEG = Source(
    "scaly-leg",
    SCALES,
    "Scaly-leg mites",
    "Extension service, scaly-leg mites",
    "Raised scales are a sign of mites under them.",
    Reading.QUOTED,
    ("scaly-leg",),
)

# --- Sizes of sores

SHEEHAN = Source(
    "sheehan-2003",
    SIZES,
    "Sheehan et al. (2003)",
    "Sheehan et al. (2003), Diabetes Care 26:1879–1882",
    "Foot ulcers of people that had lost about half their area in four weeks healed far more often "
    "by week twelve than the others (58% against 9%).",
    Reading.ABSTRACT,
    ("sheehan",),
    "203 people with diabetes; never tested in birds. Two weeks, the time that the app waits, is "
    "our choice.",
)
COERPER = Source(
    "coerper-2009",
    SIZES,
    "Coerper et al. (2009)",
    "Coerper et al. (2009), Journal of Diabetes and its Complications 23:49–53",
    "The same of 704 people: half gone in four weeks, more of them healed by week twelve.",
    Reading.ABSTRACT,
    ("coerper",),
    "Never tested in birds.",
)
GILMAN = Source(
    "gilman-1990",
    SIZES,
    "Gilman (1990)",
    "Gilman (1990), Wounds 2:95–101",
    "How far an edge moved: the area lost divided by the mean of both perimeters.",
    Reading.MEMORY,
    ("gilman",),
)
JESSUP = Source(
    "jessup-2006",
    SIZES,
    "Jessup (2006)",
    "Jessup (2006), Advances in Skin and Wound Care 19:138–147",
    "That measure does not depend on the size and shape of the sore.",
    Reading.ABSTRACT,
    ("jessup",),
    "Author and pages from memory.",
)

# --- Weights

APA = Source(
    "apa",
    WEIGHTS,
    "Standard of Perfection",
    "American Poultry Association, Standard of Perfection",
    "Weights of grown hens by breed.",
    Reading.QUOTED,
    ("american poultry association", "standard of perfection"),
    "Read as others quote it for Rhode Island Red, New Hampshire, Orpington and Jersey Giant; the "
    "rest from memory. Published tables differ from each other.",
)
BRITISH_STANDARDS = Source(
    "british-standards",
    WEIGHTS,
    "British Poultry Standards",
    "Poultry Club of Great Britain, British Poultry Standards",
    "Weights of grown hens by breed, where they differ from the American ones.",
    Reading.MEMORY,
    ("british poultry standards",),
)
MITCHELL = Source(
    "mitchell-2012",
    WEIGHTS,
    "Mitchell (2012)",
    "Mitchell (2012), table of a magazine",
    "Weight classes from bantam to very heavy.",
    Reading.QUOTED,
    ("mitchell",),
    "The gaps between its classes are split in the middle.",
)

# --- Houses

SCHOLZ = Source(
    "scholz-2014",
    HOUSES,
    "Scholz et al. (2014)",
    "Scholz, Kjaer and Schrader (2014), British Poultry Science 55:175–184",
    "Over 75 cm of level distance safe landings became fewer from 50 cm of drop on (34°). Hens "
    "landed worst on steel bars, best on soft ones.",
    Reading.ABSTRACT,
    ("scholz",),
    "Volume and pages from memory.",
)
LAMBE = Source(
    "lambe-1997",
    HOUSES,
    "Lambe et al. (1997)",
    "Lambe, Scott and Hitchcock (1997), Animal Welfare 6:29–41",
    "At 45° and 60° more hens failed to come down within ten minutes.",
    Reading.ABSTRACT,
    ("lambe",),
    "Authors and pages from memory.",
)
SCOTT = Source(
    "scott-1997",
    HOUSES,
    "Scott et al. (1997)",
    "Scott, Lambe and Hitchcock (1997), British Poultry Science 38:48–54",
    "Coming down, the time hens took and their failures rose with the angle.",
    Reading.ABSTRACT,
    ("scott, lambe",),
)
PARKER = Source(
    "scott-parker-1994",
    HOUSES,
    "Scott and Parker (1994)",
    "Scott and Parker (1994), Applied Animal Behaviour Science 42:121–127",
    "Hens had difficulty with level distances above about 1 m between perches.",
    Reading.MEMORY,
    ("scott & parker", "scott and parker"),
)
DAMEROW = Source(
    "damerow",
    HOUSES,
    "Damerow, interview",
    "Damerow, author of a chicken health handbook, in an interview",
    "Her advice: lowest roost no higher than 46 cm (18 in), corners rounded, splinters sanded off; "
    "for a foot about 20 minutes of warm water, gloves, a saline rinse, gauze and a wrap changed "
    "daily, no roost until it is healed.",
    Reading.QUOTED,
    ("damerow",),
    "One author’s advice; no trial.",
)
PICKEL = Source(
    "pickel-2011",
    HOUSES,
    "Pickel et al. (2011)",
    "Pickel, Schrader and Scholz (2011), Poultry Science 90:715–724, doi 10.3382/ps.2010-01025",
    "A square bar pressed harder on the foot pad than an oval one, steel harder than a soft bar.",
    Reading.ABSTRACT,
    ("pickel",),
    "36 hens. Pages from memory.",
)
DIRECTIVE = Source(
    "1999-74-ec",
    HOUSES,
    "Directive 1999/74/EC",
    "Council Directive 1999/74/EC on the protection of laying hens, articles 1 and 4",
    "Perches without sharp edges, 15 cm for each hen, 30 cm apart, 20 cm from the wall; litter of "
    "250 cm² for each hen and on a third of the floor.",
    Reading.MEMORY,
    ("1999/74/ec",),
    "A rule for 350 hens and more: that article was read, the figures were not. For a small flock "
    "they are orientation.",
)
TAUSON = Source(
    "tauson-1996",
    HOUSES,
    "Tauson and Abrahamsson (1996)",
    "Tauson and Abrahamsson (1996), Acta Agriculturae Scandinavica A 46:239–246",
    "More bumblefoot on plastic perches than on beech; a rubber cover of 4 mm did not help.",
    Reading.ABSTRACT,
    ("tauson",),
)
WANG = Source(
    "wang-1998",
    HOUSES,
    "Wang et al. (1998)",
    "Wang, Ekstrand and Svedberg (1998), British Poultry Science 39:191–197",
    "Foot lesions on 13–17% of hens on dry litter, on 48–49% on wet litter; over the whole trial "
    "on 38% and 92%.",
    Reading.ABSTRACT,
    ("wang",),
)
HOCKING = Source(
    "wu-hocking-2011",
    HOUSES,
    "Wu and Hocking (2011)",
    "Wu and Hocking (2011), Poultry Science 90:1170–1178",
    "Foot scores of turkeys were lowest below 30% of water in the litter.",
    Reading.MEMORY,
    ("hocking",),
    "Turkeys.",
)
DUNLOP = Source(
    "dunlop-2016",
    HOUSES,
    "Dunlop et al. (2016)",
    "Dunlop et al. (2016), review of wet litter",
    "Some call litter wet from 25% of water on; there is no agreed bound.",
    Reading.QUOTED,
    ("dunlop",),
)
EXTENSION = Source(
    "extension-roosts",
    HOUSES,
    "Extension services",
    "Usual advice of extension services in the United States",
    "15–25 cm (6–10 in) of roost for each bird, bantams less, heavy breeds 25–30 cm (10–12 in).",
    Reading.MEMORY,
    ("extension services",),
    "No page of theirs was read.",
)
GRAVITY = Source(
    "cgpm-1901",
    HOUSES,
    "General Conference on Weights and Measures (1901)",
    "3rd General Conference on Weights and Measures (1901)",
    "The standard acceleration of free fall is 9.80665 m/s².",
    Reading.MEMORY,
    ("weights and measures",),
)

# --- Care and hygiene

KONICEK = Source(
    "konicek-2024",
    CARE,
    "Konicek et al. (2024)",
    "Konicek, Gumpenberger and Schramel (2024), Animals 14(17):2581, doi 10.3390/ani14172581",
    "Bandages of pet chickens out of doors got wet and dirty and had to be changed daily.",
    Reading.ABSTRACT,
    ("konicek",),
    "16 birds.",
)
BANDAGES = Source(
    "bandage-leaflets",
    CARE,
    "Leaflets of veterinary practices",
    "Leaflets of several veterinary practices on bandages of cats and dogs",
    "Look at least twice a day: toes that are swollen or cold, a bandage that is wet, slipped or "
    "smells. Left on, it can do great harm.",
    Reading.READ,
    ("bandage leaflets",),
    "Cats and dogs. The look after one or two hours is common practice.",
)
FIRST_AID = Source(
    "first-aid",
    CARE,
    "First aid for pets",
    "First-aid pages for pets and for people, one of a university",
    "Press a clean pad on it for several minutes, up to ten, and do not lift it to look.",
    Reading.READ,
    ("first aid",),
)
SALINE = Source(
    "saline",
    CARE,
    "Saline",
    "Physiological saline, textbooks",
    "Water with 0.9% of salt, 9 g in a litre, does not sting and does not harm a sore.",
    Reading.MEMORY,
    ("saline",),
)
MRSA = Source(
    "mrsa",
    CARE,
    "Iowa State University (2011)",
    "Center for Food Security and Public Health, Iowa State University (2011), Methicillin-"
    "resistant Staphylococcus aureus, and a leaflet of Texas A&M University",
    "Resistant staphylococci occur in poultry too; gloves for wounds, own cuts covered, hands "
    "washed.",
    Reading.READ,
    ("iowa state",),
    "How often people catch it from a hen’s foot is not known.",
)
CDC = Source(
    "cdc",
    CARE,
    "CDC",
    "Centers for Disease Control and Prevention, advice on backyard poultry",
    "Wash hands with soap for 20 seconds, keep birds out of the kitchen; children under 5, people "
    "over 65 and people with a weakened immune system do not touch poultry.",
    Reading.READ,
    ("cdc",),
    "It is about Salmonella.",
)

# --- Diseases that must be reported

APHIS = Source(
    "aphis",
    DISEASE,
    "USDA APHIS",
    "United States Department of Agriculture, Animal and Plant Health Inspection Service, Know the "
    "signs of disease (2017)",
    "Sudden death, swollen head and hocks, purple wattles, combs and legs, hard breathing, fewer "
    "eggs: report it.",
    Reading.READ,
    ("aphis",),
)
APHA = Source(
    "apha-2022",
    DISEASE,
    "UK government (2022)",
    "Animal and Plant Health Agency (2022), Bird flu: how to spot it and report it",
    "Swollen head, blue comb and wattles, redness and bleeding under the skin of the shanks, hard "
    "breathing, a drop in eggs: report it at once, even if the signs are mild.",
    Reading.READ,
    ("uk government", "animal and plant health agency"),
    "Read in a copy.",
)

# --- Medicines and the law

CFR_530 = Source(
    "21-cfr-530",
    LAW,
    "21 CFR 530.41",
    "United States, Code of Federal Regulations, title 21, section 530.41, as of 2024",
    "Medicines that are not allowed outside their label in animals that give food.",
    Reading.READ,
    ("21 cfr 530.41",),
    "Look for changes.",
)
CFR_500 = Source(
    "21-cfr-500",
    LAW,
    "21 CFR 500.30",
    "United States, Code of Federal Regulations, title 21, section 500.30",
    "Gentian violet is not recognised as safe and effective for any use as a medicine in animals "
    "that give food.",
    Reading.READ,
    ("21 cfr 500.30",),
)
FARAD = Source(
    "farad",
    LAW,
    "FARAD",
    "Food Animal Residue Avoidance Databank, restrictions of use outside the label, and answers to "
    "keepers",
    "No colloidal silver, no dipyrone, no DMSO that was not made as a medicine. Days that a label "
    "gives for meat say nothing about eggs.",
    Reading.READ,
    ("farad", "residue avoidance"),
    "An older edition names the three for dairy farms.",
)
MARMULAK = Source(
    "marmulak-2015",
    LAW,
    "Marmulak et al. (2015)",
    "Marmulak, Tell, Gehring, Baynes, Vickroy and Riviere (2015), Journal of the American "
    "Veterinary Medical Association 247:1388–1395",
    "In the United States a backyard hen is an animal that gives food, pet or not; little is known "
    "of how long medicines stay in eggs.",
    Reading.ABSTRACT,
    ("marmulak",),
    "That any residue is illegal where no limit is set for eggs is from memory.",
)
AMDUCA = Source(
    "amduca",
    LAW,
    "AMDUCA (1994)",
    "United States, Animal Medicinal Drug Use Clarification Act (1994), and 21 CFR 530",
    "Use outside the label needs a vet who knows you and the bird.",
    Reading.QUOTED,
    ("amduca",),
)
GFI_263 = Source(
    "gfi-263",
    LAW,
    "FDA guidance 263",
    "Food and Drug Administration, Guidance for Industry 263",
    "Since 11 June 2023 antimicrobials that matter in human medicine need a vet’s prescription.",
    Reading.QUOTED,
    ("guidance for industry 263",),
)
VMR = Source(
    "vmr-2013",
    LAW,
    "Veterinary Medicines Regulations",
    "United Kingdom, Veterinary Medicines Regulations, SI 2013/2033, schedule 4, paragraph 2(3), "
    "as amended by SI 2024/567",
    "Eggs: one and a half times the longest time of the product’s papers, or 14 days.",
    Reading.READ,
    ("si 2013/2033",),
    "Great Britain; Northern Ireland differs.",
)
NOAH = Source(
    "noah",
    LAW,
    "NOAH",
    "National Office of Animal Health, Guide to using the withdrawal period tables",
    "The same for eggs; poultry meat one and a half times the longest time, or 28 days.",
    Reading.READ,
    ("noah",),
    "An excerpt was read.",
)
UK_RECORDS = Source(
    "uk-records",
    LAW,
    "Trading standards",
    "United Kingdom, trading standards, The keeping and retention of veterinary medicine records",
    "Keepers of animals that give food keep proof of purchase and a record of each medicine for "
    "five years.",
    Reading.READ,
    ("trading standards",),
    "That batch and amount belong to it was read elsewhere.",
)
EU_2019_6 = Source(
    "eu-2019-6",
    LAW,
    "Regulation (EU) 2019/6",
    "European Union, Regulation (EU) 2019/6, article 115(1)(c)",
    "Eggs: one and a half times the time of the product, or 10 days.",
    Reading.MEMORY,
    ("2019/6",),
)
EU_RECORDS = Source(
    "eu-records",
    LAW,
    "Regulation (EU) 2019/6, records",
    "European Union, Regulation (EU) 2019/6, article 108",
    "Keepers of animals that give food record for five years each medicine: first day, name, "
    "amount, who supplied it with proof, the animals, the vet who prescribed it, the withdrawal "
    "even if there is none, and for how long it was given.",
    Reading.READ,
    (),
    "Read in its German version.",
)
EU_37_2010 = Source(
    "eu-37-2010",
    LAW,
    "Regulation (EU) 37/2010",
    "European Union, Commission Regulation (EU) 37/2010, annex, table 2",
    "Ten substances for which no limit can be set: any trace in food is a hazard.",
    Reading.QUOTED,
    ("37/2010",),
)
VMD_LIMITS = Source(
    "vmd-limits",
    LAW,
    "Veterinary Medicines Directorate",
    "United Kingdom, Veterinary Medicines Directorate, Maximum residues limits (gov.uk)",
    "What Regulation (EU) 37/2010 held until the end of 2020 goes on in Great Britain, which keeps "
    "a list of its own since; Northern Ireland goes by the list of the European Union.",
    Reading.READ,
    ("veterinary medicines directorate",),
    "An excerpt was read.",
)
SEVEN_DAYS = Source(
    "seven-days",
    LAW,
    "SI 2006/2407",
    "United Kingdom, SI 2006/2407, schedule 4; European Union, Directive 2001/82/EC, article 11",
    "Seven days for eggs: the rule of former years.",
    Reading.READ,
    ("si 2006/2407",),
    "The Directive from memory.",
)

SOURCES = (
    *(WELFARE_QUALITY, KESTIN, GREGORY_ROBINS, BSAVA, FALCONS, DAVIS, WEITZENBUERGER, VOLKMANN),
    *(EMERGENCIES, FROSTBITE, SYNOVIAE, MAREK, CLARKE, CRISP, WEIGHT_LOSS, SCALY_LEG),
    *(SHEEHAN, COERPER, GILMAN, JESSUP),
    *(APA, BRITISH_STANDARDS, MITCHELL),
    *(SCHOLZ, LAMBE, SCOTT, PARKER, DAMEROW, PICKEL, DIRECTIVE, TAUSON, WANG, HOCKING, DUNLOP),
    *(EXTENSION, GRAVITY),
    *(PRACTICE, OWN_CHOICE, KONICEK, BANDAGES, FIRST_AID, SALINE, MRSA, CDC),
    *(APHIS, APHA),
    *(CFR_530, CFR_500, FARAD, MARMULAK, AMDUCA, GFI_263),
    *(VMR, NOAH, UK_RECORDS, EU_2019_6, EU_RECORDS, EU_37_2010, VMD_LIMITS, SEVEN_DAYS),
)
BY_KEY = {source.key: source for source in SOURCES}


def sources_of(named: str | Source | Iterable[Source]) -> tuple[Source, ...]:
    """The sources given, or those that a text names, in the order of the page of sources."""
    if isinstance(named, Source):
        return (named,)
    if isinstance(named, str):
        text = named.lower()
        return tuple(one for one in SOURCES if any(re.search(name, text) for name in one.names))
    return tuple(named)


def cited(named: str | Source | Iterable[Source]) -> str:
    """Their short names in a line, for where no link can lead; a text that names none as it is."""
    short = "; ".join(source.short for source in sources_of(named))
    return short or (named if isinstance(named, str) else "")
