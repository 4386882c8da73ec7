"""From the records to the words and figures of the sheet."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby, pairwise
from operator import itemgetter

from flockcare.birds.age import growing_words
from flockcare.birds.models import Bird, BirdState, Sex
from flockcare.care.models import CareStep, MedicineGiven, StepKind
from flockcare.care.situation import FlockStanding
from flockcare.care.standing.answer import Sign, Standing
from flockcare.care.standing.records import Eggs
from flockcare.care.standing_words import eggs_words, lines
from flockcare.core.dates import PartialDate
from flockcare.core.sources import Reading, cited, sources_of
from flockcare.core.templatetags.flockcare import weight
from flockcare.drawing.dates import MONTHS, date_words, span_words
from flockcare.feet.cases import Case
from flockcare.feet.scales import BODY_CONDITION, CLINICAL_GRADE, GAIT, LESION, Scale
from flockcare.housing.changes import description
from flockcare.housing.models import FeatureKind
from flockcare.housing.states import NotRecorded
from flockcare.photos import words as photo_words
from flockcare.photos.models import Foot, Scaling
from flockcare.photos.series import LARGER, NO_CHANGE, SMALLER, Shot, change, days_between, when
from flockcare.vetsheet.dates import (
    age_in_words,
    counted,
    day_words,
    days_in_words,
    first_and_newest,
    newest,
    ordinal,
)
from flockcare.vetsheet.given import given, in_force
from flockcare.vetsheet.lanes import lanes
from flockcare.vetsheet.names import Names
from flockcare.vetsheet.photos import first_and_latest, photos
from flockcare.vetsheet.records import OTHERS_WITHIN, Lived, Records, Seen, Weighed
from flockcare.vetsheet.sheet import CaseSheet, Definition, Fact, ScaleSheet, Table, VetSheet

MOST_WEIGHTS, MOST_CASES, MOST_LOOKS, MOST_LINES = 10, 3, 7, 14
MOST_SIGNS, MOST_MEASURED, MOST_STAYS, MOST_FEATURES, MOST_CHANGES = 11, 13, 6, 8, 6
MANY_PERCENT = 200
RECORDED = (
    "From what keepers recorded and measured: no diagnosis, no treatment advised, no dose. Words "
    "in quotation marks are as a keeper typed them."
)
PLUS_MINUS = "The ± holds the true value in 95 of 100 measurements."
NOT_SEEN = (
    "Feet are checked now and then. A sore began and healed somewhere between two checks; the "
    "dates are those of the checks."
)


def sheet(
    records: Records,
    stands: FlockStanding,
    names: Names,
    *,
    made_on: dt.date,
    made_by: str,
    question: str = "",
    asked_on: dt.date | None = None,
) -> VetSheet:
    """``question``: what the vet is to answer this time, asked on ``asked_on``."""
    bird, window = records.bird, records.window
    hers = stands.birds.get(bird.pk)
    looks, weighed = list(records.of_period()), records.weighed
    shown_weights, cut = newest(weighed, MOST_WEIGHTS, "weighings")
    # The newest are told in full; of the others one line must do.
    shown_cases, other_cases = records.cases[:MOST_CASES], records.cases[MOST_CASES:]
    in_cases = {case: _looks_at(case, looks, window.zone) for case in shown_cases}
    given_groups, given_cut = given(records.steps, names, window.zone, records.told)
    housing, housing_cut = _housing(records.lived, names, bird, window.last)
    by = f" by {names.who(made_by)}" if made_by else ""
    return VetSheet(
        name=bird.name,
        title=f"Vet sheet: {bird.name}",
        made=f"Made on {date_words(made_on)}{by}, {names.text(bird.flock.name)}",
        period=_period(records),
        first=window.first,
        last=window.last,
        who=_who(bird, records, names, made_on),
        now=tuple(_now(hers, records, names)) if hers else (),
        history=tuple(_history(records, names)),
        key_photos=first_and_latest(records, names),
        asked=tuple(_asked(records, stands, names, _question(records, names, question, asked_on))),
        identity=tuple(_identity(bird, names)),
        weight=_weight(weighed, bird, names),
        weights="; ".join(_weighings(shown_weights, bird, names)),
        weights_left_out=cut,
        timeline=lanes(records, names),
        looked=_looked(looks, bird, window.zone),
        cases=tuple(_case_sheets(in_cases, names, window.zone)),
        other_cases=_case_lines(other_cases),
        signs=_signs(looks, in_cases.values(), names, window.zone),
        measured=_measured(records),
        plans=tuple(in_force(hers, names)) if hers else (),
        given=tuple(given_groups),
        given_left_out=given_cut,
        holds=(_eggs(stands.eggs_of(bird.pk), names, made_on),),
        housing=tuple(housing),
        housing_left_out=housing_cut,
        photos=photos(records.shots, names),
        scales=tuple(_scales(looks)),
        cautions=(RECORDED, NOT_SEEN),
    )


def _period(records: Records) -> str:
    window = records.window
    words = span_words(window.first, window.last)
    return f"All records, {words}" if records.ever else words


# --- Why she comes

# Where nobody recorded an answer, there is room to write one.
ROOM = "_" * 24


def _now(hers: Standing, records: Records, names: Names) -> Iterator[str]:
    """How she stands on the day of making, as on every page, whatever the period; and what the
    last check saw of a sore foot, before her states and a vet’s plans.
    """

    def told(signs: Iterable[Sign]) -> tuple[Sign, ...]:
        return tuple(replace(sign, by=sign.by and names.who(sign.by)) for sign in signs)

    feet = {name: replace(foot, older=told(foot.older)) for name, foot in hers.feet.items()}
    plans, broken = (
        tuple(replace(plan, words=names.cut(plan.words)) for plan in some)
        for some in (hers.plans, hers.broken)
    )
    asked = tuple(replace(call, said=names.text(call.said)) for call in hers.asked)
    after = len((*hers.states, *hers.plans, *hers.broken, *hers.asked))
    hers = replace(hers, signs=told(hers.signs), feet=feet)
    said = list(lines(replace(hers, plans=plans, broken=broken, asked=asked)))
    said[len(said) - after : len(said) - after] = _last_seen_of(records, names)
    for line in said:
        yield f"{line[:1].upper()}{line[1:]}"


def _last_seen_of(records: Records, names: Names) -> Iterator[str]:
    """What the last check saw of each foot that is sore now: that decides what a vet does first."""
    zone, looks = records.window.zone, list(records.of_period())
    told = set()
    for case in records.cases:
        hers = [seen for seen in looks if seen.foot == case.foot and seen.score]
        if not case.current or not hers:
            continue
        last = hers[-1]
        note = names.quoted(last.note) if last.check not in told else ""
        told.add(last.check)
        if said := "; ".join(filter(None, (", ".join(last.on_foot), note))):
            foot = Foot(case.foot).label.capitalize()
            yield f"{foot} on {day_words(last.at, zone)}: {said}"


def _question(records: Records, names: Names, typed: str, on: dt.date | None) -> Fact:
    """What is asked this time, else what was asked at a visit and nobody has answered since."""
    if typed.strip():
        return Fact(f"Question to the vet, {date_words(on)}", names.quoted(typed))
    visit = records.visits[-1] if records.visits else None
    if visit and visit.question and not (visit.note or visit.found or visit.plan):
        asked = day_words(visit.at, records.window.zone)
        return Fact(f"Question to the vet, {asked}", names.quoted(visit.question))
    return Fact("Question to the vet", ROOM)


# Silence must not be read as “normal”.
NOT_RECORDED = "not recorded"
IN_LAY = BirdState.Kind.IN_LAY


def _asked(records: Records, stands: FlockStanding, names: Names, question: Fact) -> Iterator[Fact]:
    """What a vet wants to know before anything else."""
    yield question
    yield Fact("Others affected", _others(records, stands, names))
    yield Fact("Eggs eaten or sold", ROOM)
    for label, sign, words in (
        ("Eating", "eating", {"yes": "yes", "no": "no"}),
        ("Droppings", "droppings", {"normal": "normal", "odd": "abnormal"}),
    ):
        yield Fact(label, _last_seen(records, sign, words))
    if records.bird.sex != Sex.COCK:
        hers = stands.birds.get(records.bird.pk)
        laying = [state for state in hers.states if state.kind == IN_LAY] if hers else []
        yield Fact("In lay", f"since {date_words(laying[-1].since)}" if laying else NOT_RECORDED)
    yield Fact("Vaccination", _vaccinated(records, names))
    yield Fact("Mites or worms treated", _treated(records, names))


def _vaccinated(records: Records, names: Names) -> str:
    """Each vaccine with the day it was last given, whatever the period."""
    last = {names.text(step.product) or "not named": step for step in records.vaccines}
    zone = records.window.zone
    told = [f"“{vaccine}”, {day_words(step.at, zone)}" for vaccine, step in last.items()]
    return "; ".join(told) or NOT_RECORDED


def _treated(records: Records, names: Names) -> str:
    known = [stay for stay in records.lived if stay.treated_on]
    if not known:
        return NOT_RECORDED
    last = max(known, key=lambda stay: stay.treated_on)
    return f"{date_words(last.treated_on)} {names.quoted(last.treated_with)}".rstrip()


def _last_seen(records: Records, sign: str, words: dict[str, str]) -> str:
    for seen in reversed(list(records.of_period())):
        if value := getattr(seen, sign):
            return f"{words[value]}, {day_words(seen.at, records.window.zone)}"
    return NOT_RECORDED


def _others(records: Records, stands: FlockStanding, names: Names) -> str:
    """Those who shared her house of late; where nobody told which that is, those of the flock."""
    home = records.home
    if home and home.others:
        others = counted(home.others, "other bird")
        days = f"the {OTHERS_WITHIN.days} days to {date_words(records.window.last)}"
        house = names.text(home.house.name)
        ends = ((home.died, "died"), (home.put_down, "put down"))
        dead = "".join(f"; {count} {how}" for count, how in ends if count)
        return f"{home.sore} of {others} in {house}: sore foot in {days}{dead}"
    others = [other for key, other in stands.birds.items() if key != records.bird.pk]
    if not others:
        return f"{records.bird.pronouns.subject} is the only bird"
    sore = sum(bool(other.cases) for other in others)
    alone = f"{records.bird.pronouns.subject} is alone in"
    where = f"{alone} {names.text(home.house.name)}; " if home else ""
    flock = counted(len(others), "other bird")
    return f"{where}{sore} of {flock} in the flock had a sore foot at the last check"


# --- Who she is, and what came before

FOWL = {Sex.HEN: "Domestic hen, female", Sex.COCK: "Domestic cock, male"}
# Givings of one medicine with less between them are one course: our choice, no published source.
COURSE_GAP = dt.timedelta(14)


def _who(bird: Bird, records: Records, names: Names, today: dt.date) -> str:
    """What a vet asks on the telephone: the bird, breed, age and last weight."""
    said = [
        FOWL.get(bird.sex, "Domestic fowl, sex not known"),
        names.text(bird.breed.name) if bird.breed else "breed not known",
        f"age {_age(bird, today)}",
    ]
    if records.weighed:
        last = records.weighed[-1]
        said.append(f"{weight(last.grams, bird.flock)} on {date_words(last.on)}")
    else:
        said.append("not weighed in this period")
    if band := names.text(bird.band):
        said.append(f"band {band}")
    return f"{'; '.join(said)}."


def _history(records: Records, names: Names) -> Iterator[str]:
    """Which case this is of how many, and what was given."""
    cases = records.all_cases
    courses = _courses(records.medicines)
    if cases:
        feet = ", ".join(
            f"{sum(case.foot == foot.value for case in cases)} {foot.value}" for foot in Foot
        )
        first = min(case.episode.first_affected for case in cases)
        current = [case.episode.first_affected for case in cases if case.current]
        count = f"{ordinal(len(cases))} case" if current else counted(len(cases), "case")
        since = f"{MONTHS[first.month - 1]} {first.year}"
        before = sum(course < min(current) for course in courses) if current else len(courses)
        yield f"{count} ({feet}) since {since}; medicines before: {before or 'none recorded'}."
    last = next((step for step in reversed(records.steps) if step.kind in CARE), None)
    if last:
        on = day_words(last.at, records.window.zone)
        yield f"Last care at home, medicines aside: {names.text(last.words)}, {on}."
    once = (step for step in records.steps if step.pk not in records.told)
    given = [step for step in once if step.may_be_medicine and step.kind != StepKind.VACCINE]
    named = {_medicine(step, names): step for step in given}
    told = [
        f"{what} ({day_words(step.at, records.window.zone)})"
        for what, step in list(named.items())[-MOST_MEDICINES:]
    ]
    if told:
        yield f"Medicines: {'; '.join(told)}."
    else:
        yield "Medicines, antibiotics too: none recorded in this period."


def _medicine(step: CareStep, names: Names) -> str:
    """``“Drops”``; of a visit too, at which one was given or nobody recorded whether one was."""
    product = f"“{names.text(step.product)}”" if step.product else ""
    if step.kind == StepKind.VET and not product:
        known = step.medicine_given == MedicineGiven.YES
        return "at the vet’s visit, not named" if known else "at the vet’s visit: not recorded"
    of = " from the vet" if step.kind == StepKind.VET else ""
    of = ", ointment, spray or powder" if step.kind == StepKind.OINTMENT else of
    return f"{product or 'not named'}{of}"


MOST_MEDICINES = 3
CARE = set(StepKind) - {StepKind.VET, StepKind.MEDICINE, StepKind.VACCINE, StepKind.WATCHED}


def _courses(medicines: list[CareStep]) -> list[dt.date]:
    """The first day of each course, in time order."""
    days: dict[str, list[dt.date]] = {}
    for step in medicines:
        days.setdefault(step.product.strip().casefold(), []).append(step.on)
    begun = []
    for of_one in days.values():
        begun.append(of_one[0])
        begun += [day for before, day in pairwise(of_one) if day - before > COURSE_GAP]
    return sorted(begun)


def _identity(bird: Bird, names: Names) -> Iterator[Fact]:
    yield Fact("Weight class", bird.weight_class or "not known")
    if bird.joined:
        yield Fact("In this flock since", PartialDate.parse(bird.joined).words())
    yield Fact("Previous injuries", names.quoted(bird.traits) or "none recorded")
    if bird.left:
        left = f"{PartialDate.parse(bird.left).words()}: {bird.get_left_reason_display()}"
        yield Fact("Left the flock", f"{left} {names.quoted(bird.left_note)}".rstrip())


def _age(bird: Bird, today: dt.date) -> str:
    if not bird.hatched:
        return "not known"
    hatched = PartialDate.parse(bird.hatched)
    until = min(today, PartialDate.parse(bird.left).last()) if bird.left else today
    return f"{age_in_words(bird.hatched, until)} (hatched {hatched.words()})"


def _weighings(weighed: Sequence[Weighed], bird: Bird, names: Names) -> Iterator[str]:
    for one in weighed:
        by = f" by {names.who(one.by)}" if one.by else ""
        yield f"{date_words(one.on)}: {weight(one.grams, bird.flock)}{by}"


def _weight(weighed: list[Weighed], bird: Bird, names: Names) -> str:
    if not weighed:
        return "Not weighed in this period."
    last = weighed[-1]
    words = f"{weight(last.grams, bird.flock)} on {date_words(last.on)}"
    adult = bird.adult_grams_on(last.on)
    if growing := growing_words(bird.hatched, last.on):
        words += f" ({growing})"
    elif adult:
        share = round(100 * last.grams / adult)
        source = cited(names.text(bird.breed.source)) or "no source"
        words += f", {share}% of the breed’s adult weight ({weight(adult, bird.flock)}; {source})"
    return words + "."


# --- Feet


_HOW_OFTEN = {0: "never clear", 1: "clear once", 2: "clear twice"}


def _looked(looks: list[Seen], bird: Bird, zone: dt.tzinfo) -> str:
    feet = f"{bird.pronouns.possessive.capitalize()} feet were"
    checks = {seen.check: seen.at for seen in looks if seen.foot}
    if not checks:
        return f"{feet} not checked in this period."
    first, last = (day_words(end(checks.values()), zone) for end in (min, max))
    clear = f"both feet were {_HOW_OFTEN.get(_clear(looks), f'clear {_clear(looks)} times')}"
    if len(checks) == 1:
        return f"{feet} checked once in this period, on {first}; {clear}."
    return (
        f"{feet} checked {len(checks)} times in this period, first on {first}, last on "
        f"{last}; {clear}."
    )


def _clear(looks: list[Seen]) -> int:
    """Checks in which both feet were looked at and clear."""
    scores: dict[object, list[int]] = {}
    for seen in looks:
        if seen.foot:
            scores.setdefault(seen.check, []).append(seen.score)
    return sum(len(feet) == len(Foot) and not any(feet) for feet in scores.values())


def _looks_at(case: Case, looks: list[Seen], zone: dt.tzinfo) -> tuple[list[Seen], str]:
    """The looks at a sore that are shown, and what is said of the others."""
    hers = [seen for seen in looks if seen.foot == case.foot and _in_case(seen, case, zone)]
    return first_and_newest(hers, MOST_LOOKS, "checks of this sore")


def _case_sheets(
    in_cases: dict[Case, tuple[list[Seen], str]], names: Names, zone: dt.tzinfo
) -> Iterator[CaseSheet]:
    """How the bird was is said with the first of two sore feet that one check saw."""
    heads = ("Date", "Score", "Clinical grade", "What was seen", "By")
    said = set()
    for case, (shown, cut) in in_cases.items():
        rows = []
        for seen in shown:
            general = "" if seen.check in said else _general_words(seen, names)
            said.add(seen.check)
            rows.append(
                (
                    day_words(seen.at, zone),
                    str(seen.score),
                    _grade(seen.clinical_grade),
                    "; ".join(filter(None, (_foot_words(seen), general))),
                    names.who(seen.by),
                )
            )
        title = f"{Foot(case.foot).label.capitalize()}: {_case_when(case)}"
        yield CaseSheet(title, _case_facts(case), Table.of(heads, rows, cut))


def _in_case(seen: Seen, case: Case, zone: dt.tzinfo) -> bool:
    """From the first look that saw it to the clear one that ended it."""
    if seen.at > case.last.at:
        on = seen.at.astimezone(zone).date()
        return not seen.score and on == case.episode.first_clear_after
    return seen.at >= case.first.at


def _case_when(case: Case) -> str:
    episode = case.episode
    if case.current:
        return f"sore since {date_words(episode.first_affected)}, not seen clear since"
    return f"sore {span_words(episode.first_affected, episode.last_affected)}"


def _case_facts(case: Case) -> str:
    episode = case.episode
    before, after = episode.last_clear_before, episode.first_clear_after
    facts = [f"Worst score {case.worst}"]
    facts.append(f"last clear on {date_words(before)}" if before else "sore when first checked")
    if after:
        facts.append(f"clear again on {date_words(after)}")
        least, most = case.least_days, case.most_days
        if most is not None:
            facts.append(f"lasted {least} to {counted(most, 'day')}")
        elif least:
            facts.append(f"lasted at least {counted(least, 'day')}")
    return "; ".join(facts) + "."


def _case_lines(cases: list[Case]) -> Table:
    shown, cut = cases[:MOST_LINES], cases[MOST_LINES:]
    rows = tuple(
        (
            Foot(case.foot).label.capitalize(),
            _case_when(case),
            _case_facts(case),
        )
        for case in shown
    )
    left_out = f"{counted(len(cut), 'earlier case')} left out here." if cut else ""
    return Table.of(("Foot", "When", "How"), rows, left_out)


def _grade(grade: int | None) -> str:
    return CLINICAL_GRADE.step(grade).short if grade else ""


def _foot_words(seen: Seen) -> str:
    said = seen.on_foot if seen.score else ["clear", *seen.on_foot]
    return ", ".join(said) or "no details recorded"


def _signs(looks: list[Seen], in_cases, names: Names, zone: dt.tzinfo) -> Table:
    """How she was where that stood out, and the notes; once a check, if not said with a sore.

    Checks in a row of which the same is said are one row.
    """
    known = {seen.check for shown, _ in in_cases for seen in shown}
    found = []
    for seen in looks:
        words = _general_words(seen, names)
        if words and seen.check not in known:
            found.append((words, seen))
        known.add(seen.check)
    rows = []
    for words, same in groupby(found, key=itemgetter(0)):
        checks = [seen for _, seen in same]
        days = days_in_words([seen.at.astimezone(zone).date() for seen in checks])
        who = sorted({names.who(seen.by) for seen in checks} - {""})
        rows.append((days, words, ", ".join(who)))
    shown, cut = newest(rows, MOST_SIGNS, "such records")
    return Table.of(("Dates", "What", "By"), shown, cut)


def _general_words(seen: Seen, names: Names) -> str:
    words = list(seen.odd)
    if seen.body_condition is not None:
        short = BODY_CONDITION.step(seen.body_condition).short.lower()
        words.append(f"body condition {seen.body_condition} {short}")
    words = [", ".join(words), names.quoted(seen.note)]
    return ": ".join(filter(None, words))


def _scales(looks: list[Seen]) -> Iterator[ScaleSheet]:
    """The published wording of what this sheet uses."""
    yield _scale(LESION, {step.value for step in LESION.steps})
    for scale, made_for, values in (
        (CLINICAL_GRADE, " (a scale made for raptors)", {seen.clinical_grade for seen in looks}),
        (GAIT, " (made for broilers)", {seen.gait for seen in looks} - {0}),
        (BODY_CONDITION, "", {seen.body_condition for seen in looks}),
    ):
        if used := values - {None}:
            yield _scale(scale, used, made_for)


def _scale(scale: Scale, used: set[int], made_for: str = "") -> ScaleSheet:
    steps = tuple(
        Definition(str(step.value) if scale.numbered else step.short, step.definition)
        for step in scale.steps
        if step.value in used
    )
    source = cited(scale.source)
    # The sheet is read where the page of sources is not at hand.
    if any(one.reading is Reading.MEMORY for one in sources_of(scale.source)):
        source += ", wording from memory"
    return ScaleSheet(scale.name + made_for, steps, source)


# --- Measured sores


def _measured(records: Records) -> Table:
    heads = ("Date", "Foot", "Area", "Longest", "Scaled by", "Since the one before")
    rows, before = [], {}
    for shot in records.shots:
        if shot.measurement and shot.photo.foot:
            # Of another sore, the two say nothing about each other.
            key = shot.photo.foot, _sore_in(shot, records.cases)
            rows.append(_measured_row(shot, before.get(key)))
            if shot.days:
                before[key] = shot
    shown, cut = newest(rows, MOST_MEASURED, "measurements")
    return Table.of(heads, shown, cut, note=PLUS_MINUS)


def _sore_in(shot: Shot, cases: list[Case]) -> tuple | None:
    """What is the same for photos of one sore: their case, or between two the one that healed."""
    if shot.days is None:
        return None
    day = shot.days[0]
    for case in cases:  # The newest first
        if case.foot != shot.photo.foot:
            continue
        if day > (case.episode.first_clear_after or dt.date.max):
            return "healed", case
        if day >= (case.episode.last_clear_before or case.episode.first_affected):
            return "sore", case
    return None


def _measured_row(shot: Shot, before: Shot | None) -> tuple[str, ...]:
    measured = shot.measurement
    scaled = "printed card"
    if measured.scaled_by == Scaling.LENGTH:
        scaled = f"known length, {measured.length_mm:g} mm"
    return (
        when(shot.photo),
        shot.photo.foot,
        photo_words.area(measured),
        photo_words.diameter(measured),
        scaled,
        _since(before, shot),
    )


def _since(before: Shot | None, shot: Shot) -> str:
    if shot.days is None:
        return "not compared: date not known"
    if before is None:
        return "the first of this sore"
    if before.days[1] > shot.days[0]:
        return "not compared: order not known"
    found = change(before.measurement, shot.measurement, days_between(before, shot))
    if found.verdict == NO_CHANGE:
        return "no change beyond the error"
    if found.percent >= MANY_PERCENT:
        return f"larger, {found.percent / 100 + 1:.0f} times the area"
    words = {LARGER: "larger", SMALLER: "smaller"}[found.verdict]
    return f"{words} by {abs(found.percent):.0f}%"


# --- Eggs and meat


def _eggs(eggs: Eggs, names: Names, today: dt.date) -> Fact:
    """As on the day of making, whatever the period: what holds must not be cut off with it."""
    none = f"No withdrawal period running (keepers’ record, {date_words(today)})."
    words = eggs_words(eggs) or none
    if eggs.products:
        words += f" ({'; '.join(f'“{names.text(product)}”' for product in eggs.products)})"
    return Fact("Eggs and meat", words)


# --- Housing


def _housing(lived: list[Lived], names: Names, bird: Bird, last: dt.date) -> tuple[list[Fact], str]:
    stays, stays_cut = newest(lived, MOST_STAYS, f"houses {bird.pronouns.subject} lived in")
    facts, left_out = [_stay(stay, names) for stay in stays], [stays_cut]
    if lived:
        features = _features(lived[-1], names, bird.flock.units, min(last, lived[-1].until or last))
        facts += features[:MOST_FEATURES]
        if rest := features[MOST_FEATURES:]:
            left_out.append(f"{len(rest)} more of what stands there left out.")
    changes = [
        Fact(
            f"Changed {date_words(one.on)}",
            f"{names.text(stay.house.name)}: {_change(one, names)}",
        )
        for stay in lived
        for one in stay.changes
    ]
    shown, changes_cut = newest(changes, MOST_CHANGES, "changes of the housing")
    return [*facts, *shown], " ".join(filter(None, (*left_out, changes_cut)))


def _stay(stay: Lived, names: Names) -> Fact:
    since = f"from {date_words(stay.since)}" if stay.since else "as long as is known"
    until = f" until {date_words(stay.until)}" if stay.until else ""
    return Fact("Lived in", f"{names.text(stay.house.name)}, {since}{until}")


def _features(stay: Lived, names: Names, units: str, day: dt.date) -> list[Fact]:
    try:
        present = stay.record.on(day)
    except NotRecorded:
        return [Fact("There", "what stands in the house has not been described")]
    return [
        Fact(names.text(feature.name), _described(feature, state, names, units))
        for feature, state in present
    ]


def _described(feature, state, names: Names, units: str) -> str:
    known = names.text(description(state, units)) or "no details recorded"
    kind = "" if feature.kind == FeatureKind.OTHER else f"{feature.get_kind_display()}, "
    return kind + known


def _change(one, names: Names) -> str:
    words = names.text(one.words) or one.kind_words
    note = names.quoted(one.record.note) if one.record and one.record.note else ""
    return "; ".join(filter(None, (words, note)))
