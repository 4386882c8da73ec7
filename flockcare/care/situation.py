"""How the birds of a flock stand, from the records: read once for all, worked out in ``standing``.

What was worked out is kept in the cache until a record it rests on changes, as the report on Trends
is: whether it still holds is asked in one query, and nothing has to tell it what was written.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID

from django.db.models import Case as Either
from django.db.models import F, OuterRef, Q, Subquery, When
from django.db.models.expressions import RawSQL
from django.utils import timezone

from flockcare.birds.age import least_age
from flockcare.birds.breeds import WeightClass, class_of
from flockcare.birds.models import Bird, BirdState, Weighing
from flockcare.care.due import (
    LOOK,
    PLAN,
    kinds_of_line,
    line_of,
    suggested_due,
)
from flockcare.care.holds import Hold, open_holds
from flockcare.care.models import CareStep, DecidedBy, StepKind, VetContact
from flockcare.care.plans import PlanDue, all_dues, is_planned, until_words
from flockcare.care.rules import Answer, Rule, advise
from flockcare.care.rules.signs import unanswered
from flockcare.care.standing import standing_of
from flockcare.care.standing.advice import counted
from flockcare.care.standing.answer import FootStanding, Standing
from flockcare.care.standing.records import (
    FEET,
    Asked,
    Eggs,
    FootLast,
    FootSeen,
    Look,
    Outline,
    Records,
    Rounds,
    State,
    VetPlan,
)
from flockcare.care.standing.signs import SIGNS_STAND, WORDS, seen_for
from flockcare.care.standing_words import foot_level_words, signs_words, within
from flockcare.care.tasks import NEW_BIRD_DAYS, new_bird_days
from flockcare.care.vet import PLAN_DAYS, came_to, plan_for
from flockcare.drawing.dates import short_words
from flockcare.feet.cases import Case, cases_of_birds
from flockcare.feet.models import FOOT_SIGNS, Check, FootFinding
from flockcare.feet.scales import AFFECTED_FROM
from flockcare.housing.models import Stay
from flockcare.people.fresh import kept
from flockcare.people.models import Flock
from flockcare.photos.faces import Face, faces_of
from flockcare.photos.models import Foot, Measurement, Precision

# Goes up when what is kept has other fields or is worked out otherwise.
EDITION = 14
# How far back a bird with clear feet is followed who shows a sign: long enough to tell since when.
FOLLOWED = timedelta(days=60)
PLAN_HOLDS = timedelta(days=PLAN_DAYS)
WEIGHED = timedelta(days=365)
NEW_WITHIN = timedelta(days=14)
# More findings of a foot than anybody makes in two days.
NEWEST = 8


@dataclass(frozen=True)
class FlockStanding:
    """Of each bird that is here how she stands; the holds of birds that left, the flock's vet, and
    every bird's face, which are shown with it. ``homes``: the name of the house of each bird that
    lives in one, as long as any eggs are withheld.

    ``mark``: other as soon as a record is other that this rests on.
    """

    birds: Mapping[UUID, Standing]
    gone: list[tuple[UUID, str, Eggs]] = field(default_factory=list)
    vet: VetContact | None = None
    faces: Mapping[UUID, Face] = field(default_factory=dict)
    mark: tuple = ()
    homes: Mapping[UUID, str] = field(default_factory=dict)

    def eggs_of(self, bird: UUID) -> Eggs:
        """Also of a bird that left: her eggs and meat may be eaten elsewhere."""
        if bird in self.birds:
            return self.birds[bird].eggs
        return next((eggs for key, _, eggs in self.gone if key == bird), Eggs())


def standings(flock, *, now: datetime, mark: tuple = ()) -> FlockStanding:
    """As kept if nothing has changed since; else worked out and kept. One query, and those of
    ``worked_out`` where nothing is kept.

    ``mark``: what ``mark_of`` says, where it was asked already.
    """
    mark = mark or mark_of(flock, now=now)

    def work_out() -> FlockStanding:
        return replace(worked_out(flock, timezone.localdate(now, flock.zone)), mark=mark)

    return kept(f"standing:{flock.pk}", mark, work_out)


def standing_alone(bird: Bird, *, now: datetime, mark: tuple = ()) -> FlockStanding:
    """The part of ``standings`` that is about one bird, kept apart since it is a small one.

    The bird must come with her flock.
    """
    mark = mark or mark_of(bird.flock, now=now)

    def work_out() -> FlockStanding:
        whole = standings(bird.flock, now=now, mark=mark)
        birds, faces = (
            {key: one for key, one in of_all.items() if key == bird.pk}
            for of_all in (whole.birds, whole.faces)
        )
        return replace(whole, birds=birds, faces=faces, gone=[])

    return kept(f"standing:{bird.pk}", mark, work_out)


def standing(bird: Bird, *, now: datetime) -> Standing | None:
    """How one bird stands; None for one that left. The bird must come with her flock."""
    return standing_alone(bird, now=now).birds.get(bird.pk)


# In SQL, since Django takes five times as long to write these questions as a database does to
# answer them from its indexes, and every page and every piece asks them.
_MARKS = Flock.objects.values_list(
    # Whose names stand in it, also of those who are no longer here.
    RawSQL("SELECT MAX(renamed_at) FROM people_keeper", ()),
    RawSQL("SELECT COUNT(*) FROM people_keeper", ()),
    RawSQL("SELECT COUNT(*) FROM people_membership WHERE flock_id = people_flock.id", ()),
    RawSQL("SELECT MAX(id) FROM people_revision WHERE flock_id = people_flock.id", ()),
    # Of two that come at once the earlier may be saved later, so the newest are counted as well:
    # not all of them, since there are tens of thousands. So it is with checks, below.
    RawSQL(
        "SELECT COUNT(*) FROM people_revision WHERE flock_id = people_flock.id "
        "AND id > (SELECT MAX(id) FROM people_revision) - 1000",
        (),
    ),
    RawSQL("SELECT MAX(received_at) FROM feet_check WHERE flock_id = people_flock.id", ()),
    RawSQL("SELECT MAX(changed_at) FROM care_carestep WHERE flock_id = people_flock.id", ()),
    RawSQL('SELECT MAX("at") FROM photos_measurement WHERE flock_id = people_flock.id', ()),
    # Those of birds, and the damaged ones: two counts for one look at the photos.
    RawSQL(
        "SELECT COUNT(bird_id) || ' ' || COUNT(damaged_since) FROM photos_photo "
        "WHERE flock_id = people_flock.id AND deleted_at IS NULL",
        (),
    ),
    RawSQL(
        "SELECT COUNT(*) FROM photos_measurement m JOIN photos_photo p ON p.id = m.photo_id "
        "WHERE m.flock_id = people_flock.id AND p.bird_id IS NOT NULL AND p.deleted_at IS NULL",
        (),
    ),
    # Of these none goes without a revision, so that one sum tells of a new one among them.
    # Today names the houses and has early signs from the eggs, and bedding that was renewed is a
    # task that is done; a bird's timeline has where she lived and what was changed there.
    RawSQL(
        """
        SELECT (SELECT COUNT(*) FROM birds_bird WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM birds_birdstate WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM birds_weighing WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM care_careplan WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM care_carestep WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM care_kititem WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM care_task WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM care_taskdone WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM care_vetcontact WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM housing_eggcount WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM housing_event WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM housing_feature WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM housing_featurestate WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM housing_house WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM housing_housingchange
           WHERE flock_id = people_flock.id AND NOT planned)
        + (SELECT COUNT(*) FROM housing_stay WHERE flock_id = people_flock.id)
        + (SELECT COUNT(*) FROM housing_wetness WHERE flock_id = people_flock.id)
        """,
        (),
    ),
)


def mark_of(flock, *, now: datetime) -> tuple:
    """Other whenever a record of the flock is other that a standing rests on; one query.

    Whatever is changed or removed leaves a revision, and so does each record of an import, which
    brings its own moments; what is new adds to a count or comes last.
    """
    today = timezone.localdate(now, flock.zone)
    lately = datetime.combine(today - timedelta(1), time(), UTC)
    came_lately = RawSQL(
        "SELECT COUNT(*) FROM feet_check WHERE flock_id = people_flock.id AND received_at >= %s",
        (lately,),
    )
    found = _MARKS.annotate(came_lately=came_lately).get(pk=flock.pk)
    settings = flock.time_zone, flock.units, flock.round_days, flock.recheck_days
    return (EDITION, today, *settings, *found)


def worked_out(flock, today: date) -> FlockStanding:
    """How the birds stand at the end of that day, by the records up to then; ten queries, and one
    more where eggs are withheld.
    """
    before = datetime.combine(today + timedelta(1), time(), flock.zone)
    hers, gone = _read(flock, today, before)
    began = _began_lately(hers, today)
    rounds = Rounds(flock.round_days, flock.recheck_days, new_bird_days(flock))
    birds = {
        key: standing_of(records, today=today, rounds=rounds, others_new=len(began - {key}))
        for key, records in hers.items()
    }
    vet = VetContact.objects.filter(flock=flock).usual()
    withheld = any(hers.eggs.state != "free" for hers in birds.values())
    homes = _homes(flock, today) if withheld else {}
    return FlockStanding(birds, gone, vet, faces_of(flock), homes=homes)


def _homes(flock, today: date) -> dict[UUID, str]:
    stays = Stay.objects.filter(flock=flock).on(today)
    return dict(stays.values_list("bird", "house__name"))


def _began_lately(hers: Mapping[UUID, Records], today: date) -> set[UUID]:
    """The birds with a foot that was seen clear before and became sore in the last days."""
    return {
        key
        for key, records in hers.items()
        for case in records.cases
        if case.current
        and case.episode.last_clear_before
        and today - case.episode.first_affected <= NEW_WITHIN
    }


# --- Reading


def _read(flock, today: date, before: datetime):
    zone = flock.zone
    birds = _birds(flock, today, before)
    sore = [row["pk"] for row in birds if any(_sore_lately(row, foot) for foot in FEET)]
    every = defaultdict(list)
    for case in cases_of_birds(sore, zone, before=before):
        every[case.bird_id].append(case)
    # Of a bird whose feet are clear none is asked about.
    sore = {bird for bird, hers in every.items() if any(case.current for case in hers)}
    cases = defaultdict(list, {bird: every[bird] for bird in sore})
    looks = _looks(flock, cases, _shown_on_clear_feet(birds), before)
    known = sore | looks.keys()
    outlines, weights = _outlines(known, before, zone), _weights(known, today)
    looked_at = _looked_at(known, before, zone)
    plans, calls = _plans(flock, today, before)
    states, new_since = _states(flock, today)
    asked = defaultdict(list)
    now = before - timedelta(hours=12)
    dues, planned = all_dues(flock, now=now, before=before)
    for due in dues:
        asked[due.step.bird_id].append(_asked(due, zone))
    for due in planned:
        asked[due.plan.bird_id].append(_planned(due))
    holds = {hold.bird.pk: hold for hold in open_holds(flock, now=now, at__lt=before)}
    hers = {
        row["pk"]: Records(
            looks=looks[row["pk"]],
            last=_last(row, cases[row["pk"]], zone),
            last_check=row["last_at"] and timezone.localdate(row["last_at"], zone),
            cases=cases[row["pk"]],
            outlines=outlines[row["pk"]],
            asked=asked[row["pk"]],
            looked_at=looked_at[row["pk"]],
            weights=weights[row["pk"]],
            eggs=_eggs(holds.get(row["pk"])),
            plans=plans[row["pk"]],
            calls=calls[row["pk"]],
            states=states[row["pk"]],
            age_days=least_age(row["hatched"], today),
            new_since=new_since.get(row["pk"]),
            bantam=_is_bantam(row),
        )
        for row in birds
    }
    gone = [(key, hold.bird.name, _eggs(hold)) for key, hold in holds.items() if hold.bird.left]
    return hers, gone


def _birds(flock, today: date, before: datetime) -> list[dict]:
    """The birds that are here on that day, each with the newest finding on either foot."""
    checks = Check.objects.filter(bird=OuterRef("pk"), at__lt=before)
    figures = {"last_at": Subquery(checks.order_by("-at").values("at")[:1])}
    names = {"score": "score", "at": "check_record__at"}
    names |= {"keeper": "check_record__keeper__name", "name": "check_record__keeper_name"}
    names["check"] = "check_record"
    for foot in FEET:
        of_foot = FootFinding.objects.filter(check_record__at__lt=before, foot=foot).newest_first()
        found = of_foot.filter(check_record__bird=OuterRef("pk"))
        for name, column in names.items():
            figures[f"{foot}_{name}"] = Subquery(found.values(column)[:1])
        shown = Either(When(_SHOWS_A_SIGN, then=F("check_record__at")))
        figures[f"{foot}_shown"] = Subquery(found.annotate(shown=shown).values("shown")[:1])
        newest = of_foot.filter(check_record__bird=OuterRef(OuterRef("pk"))).values("pk")[:NEWEST]
        sore = of_foot.filter(pk__in=newest, score__gte=AFFECTED_FROM)
        figures[f"{foot}_sore_at"] = Subquery(sore.values("check_record__at")[:1])
    here = Q(left="") | Q(left__gt=today.isoformat())
    birds = Bird.objects.filter(here, flock=flock).order_by()
    about = ("pk", "hatched", "own_weight_class", "breed__name", "breed__adult_grams")
    return list(birds.annotate(**figures).values(*about, *figures))


def _sore_lately(row: Mapping, foot: str) -> bool:
    """Whether it was called clear later on a day on which it was seen sore, the cases tell."""
    at, sore_at = row[f"{foot}_at"], row[f"{foot}_sore_at"]
    return sore_at is not None and at - sore_at < timedelta(2)


def _is_bantam(row: Mapping) -> bool:
    """As ``Bird.weight_class`` has it."""
    of_breed = class_of(row["breed__name"] or "", row["breed__adult_grams"])
    return (row["own_weight_class"] or of_breed) == WeightClass.BANTAM


def _last(row: Mapping, cases: Iterable[Case], zone) -> dict[str, FootLast]:
    """The newest finding on each foot that was checked. Clear on the same day as sore gives way to
    it, as in the cases."""
    found = {}
    for foot in FEET:
        if row[f"{foot}_at"]:
            on = timezone.localdate(row[f"{foot}_at"], zone)
            by = row[f"{foot}_keeper"] or row[f"{foot}_name"] or ""
            check = UUID(str(row[f"{foot}_check"]))
            found[foot] = FootLast(row[f"{foot}_score"], on, by, check)
    for case in cases:
        if case.current:
            last = case.last
            found[case.foot] = FootLast(last.score, last.on, last.by, last.check_id)
    return found


_FINDING = (
    *("foot", "score", "swelling", "scab", "scab_mm", "hot", "oozing", "cold_or_dark"),
    *("bleeding", "constricted", "plug_or_hole", "joint_swollen", "bone_or_joint"),
    *("raised_scales", "clinical_grade"),
)
_SIGNS = (*WORDS, "limps_on")
_UNWELL = (
    Q(gait__gte=1)
    | Q(comb__in=("pale", "purple"))
    | Q(manner="dull")
    | Q(eating="no")
    | Q(droppings="odd")
    | Q(belly="swollen")
    | Q(body_condition=0)
)


# Of a foot that was scored clear: what else may have been seen on it.
_SHOWS_A_SIGN = Q(score__lt=AFFECTED_FROM) & (
    Q(*((name, True) for name in FOOT_SIGNS), _connector=Q.OR)
    | ~Q(swelling__in=("", "none"))
    | ~Q(scab__in=("", "none"))
    | Q(clinical_grade__gte=1)
)


def _shown_on_clear_feet(birds: Iterable[Mapping]) -> dict[UUID, datetime]:
    """By bird, the earliest of those newest findings on a foot that have a sign but no score."""
    found = {}
    for row in birds:
        shown = [row[f"{foot}_shown"] for foot in FEET if row[f"{foot}_shown"]]
        if shown:
            found[row["pk"]] = min(shown)
    return found


def _looks(
    flock,
    cases: Mapping[UUID, list[Case]],
    shown: Mapping[UUID, datetime],
    before: datetime,
) -> dict[UUID, list[Look]]:
    """Of the sore birds since before their case began, of those with a sign on a clear foot since
    it was seen, and of those that showed a sign lately."""
    of_flock = Check.objects.filter(flock=flock, at__lt=before)
    unwell = of_flock.filter(_UNWELL, at__gte=before - SIGNS_STAND - timedelta(1))
    wanted = Q(bird__in=unwell.values("bird"), at__gte=before - FOLLOWED)
    for bird, hers in cases.items():
        begun = [case.first.at for case in hers if case.current]
        if begun:
            wanted |= Q(bird=bird, at__gte=min(begun) - SIGNS_STAND - timedelta(1))
    for bird, at in shown.items():
        wanted |= Q(bird=bird, at__gte=at)
    rows = (
        of_flock.filter(wanted)
        .newest_first()
        .values_list(
            *("bird", "pk", "at", "time_known", "keeper__name", "keeper_name"),
            *_SIGNS,
            *(f"findings__{name}" for name in _FINDING),
        )
    )
    found: dict[UUID, list[Look]] = defaultdict(list)
    for bird, key, at, time_known, keeper, name, *rest in rows:
        signs, finding = rest[: len(_SIGNS)], rest[len(_SIGNS) :]
        if not found[bird] or found[bird][-1].key != key:
            on = timezone.localdate(at, flock.zone)
            signs = dict(zip(_SIGNS, signs, strict=True))
            found[bird].append(Look(key, at, on, keeper or name, signs, {}, time_known))
        if finding[0]:
            found[bird][-1].feet[finding[0]] = _foot_seen(finding)
    return found


def _foot_seen(finding: Sequence) -> FootSeen:
    told = dict(zip(_FINDING[1:], finding[1:], strict=True))
    told["scab_mm"] = float(told["scab_mm"]) if told["scab_mm"] else None
    return FootSeen(**told)


def _outlines(birds: Iterable[UUID], before: datetime, zone) -> dict[UUID, list[Outline]]:
    """The newest outline of each photo whose day is known."""
    rows = (
        Measurement.objects.filter(
            photo__bird__in=list(birds),
            photo__taken__lt=before,
            photo__taken_precision__in=(Precision.MOMENT, Precision.DAY),
            photo__deleted_at=None,
        )
        .order_by("at")
        .values_list(
            *("photo__bird_id", "photo_id", "photo__foot", "photo__taken"),
            "photo__taken_precision",
            *("area_mm2", "relative_area_error"),
        )
    )
    newest_of = {
        photo: (
            bird,
            Outline(
                foot,
                timezone.localdate(taken, zone),
                area,
                area * relative,
                taken if precision == Precision.MOMENT else None,
            ),
        )
        for bird, photo, foot, taken, precision, area, relative in rows
    }
    found = defaultdict(list)
    for bird, outline in newest_of.values():
        found[bird].append(outline)
    return found


def _weights(birds: Iterable[UUID], today: date) -> dict[UUID, list[tuple[date, int]]]:
    found = defaultdict(list)
    rows = Weighing.objects.filter(bird__in=list(birds), on__range=(today - WEIGHED, today))
    for bird, *weighed in rows.order_by("on").values_list("bird", "on", "grams"):
        found[bird].append(tuple(weighed))
    return found


def _states(flock, today: date) -> tuple[dict[UUID, list[State]], dict[UUID, date]]:
    """What holds of each bird, and when those that came lately did so; one query."""
    found, new_since = defaultdict(list), {}
    lately = today - timedelta(max(NEW_BIRD_DAYS) + 7)
    quarantine = Q(kind=BirdState.Kind.QUARANTINE, since__range=(lately, today))
    holding = Q(until=None) | Q(until__gt=today)
    states = BirdState.objects.filter(holding | quarantine, flock=flock, since__lte=today)
    for state in states.order_by("since"):
        if state.kind == BirdState.Kind.QUARANTINE and state.since >= lately:
            new_since[state.bird_id] = state.since
        if state.holds_on(today):
            words = state.get_kind_display()
            one = State(state.pk, state.kind, words, state.since, state.until)
            found[state.bird_id].append(one)
    return found, new_since


def _looked_at(birds: Iterable[UUID], before: datetime, zone) -> dict[UUID, dict[str, date]]:
    """When each foot was last seen with a step of care: a dressing that is on hides it."""
    kinds = {*kinds_of_line(StepKind.WATCHED), *kinds_of_line(StepKind.DRESSING_CHANGED)}
    kinds.remove(StepKind.DRESSING_SEEN)
    steps = CareStep.objects.filter(
        bird__in=list(birds), kind__in=kinds, at__gte=before - FOLLOWED, at__lt=before
    )
    found = defaultdict(dict)
    for bird, foot, at in steps.order_by("at").values_list("bird", "foot", "at"):
        found[bird][foot] = timezone.localdate(at, zone)
    return found


def _plans(flock, today: date, before: datetime) -> tuple[dict[UUID, dict[str, VetPlan]], ...]:
    """What was planned for each foot with a vet, and when one was last asked about it."""
    visits = CareStep.objects.filter(
        flock=flock, kind=StepKind.VET, at__gte=before - WEIGHED, at__lt=before
    )
    of_bird = defaultdict(list)
    for visit in visits.order_by("-at"):
        visit.flock = flock
        of_bird[visit.bird_id].append(visit)
    plans, calls = defaultdict(dict), defaultdict(dict)
    for bird, hers in of_bird.items():
        for foot in FEET:
            if plan := plan_for(hers, foot, today):
                plans[bird][foot] = VetPlan(
                    plan.visit.on,
                    plan.until,
                    plan.words,
                    plan.visit.pk,
                    plan.open_ended,
                    plan.visit.at,
                    by_vet=plan.visit.decided_by != DecidedBy.KEEPER,
                    said=came_to(plan.visit),
                )
            last = next((visit for visit in hers if visit.foot in ("", foot)), None)
            if last and plan and last.pk == plan.visit.pk:
                calls[bird][foot] = plans[bird][foot]
            elif last and not last.plan.strip():
                until = last.on + PLAN_HOLDS
                calls[bird][foot] = VetPlan(
                    last.on, until, step=last.pk, at=last.at, said=came_to(last)
                )
    return plans, calls


def _asked(due, zone) -> Asked:
    step = due.step
    line = line_of(step.kind)
    return Asked(
        step.pk,
        step.foot,
        line,
        WORDS_OF_DUE.get(line, due.what),
        timezone.localdate(step.at, zone),
        due.on,
        step.claimed_by.name if step.claimed_by else "",
        step.claimed_by_id,
    )


def _planned(due: PlanDue) -> Asked:
    plan = due.plan
    return Asked(
        None,
        plan.foot,
        PLAN,
        due.what,
        due.last_done,
        due.on,
        due.who,
        due.who_key,
        plan.pk,
        due.why,
        StepKind.DRESSING_CHANGED in plan.kinds,
        (
            f"{plan.words}{', as the vet said' if plan.is_vets else ''}",
            f"from {short_words(plan.since, due.today)} {until_words(plan, due.today)}",
        ),
        None if plan.is_vets else plan.since,
    )


WORDS_OF_DUE = {LOOK: "check", StepKind.VET: "vet visit"}


def _eggs(hold: Hold | None) -> Eggs:
    if hold is None:
        return Eggs()
    states = {
        "eggs": ("not known" if hold.eggs_unknown else "withdrawn") if hold.eggs else "free",
        "meat": ("not known" if hold.meat_unknown else "withdrawn") if hold.meat else "free",
    }
    return Eggs(
        states["eggs"],
        hold.eggs_until,
        states["meat"],
        hold.meat_until,
        tuple(hold.unknown_products),
        hold.words,
        tuple(sorted(hold.to_ask)),
    )


# --- What else asks for advice


@dataclass(frozen=True)
class Advised:
    """The advice for one foot of a bird, with its rules. ``days_ago``: the newest check of it.

    ``because``: the rules that led there, each with the signs it rests on, in words; ``words``:
    the level, within a line.
    """

    bird: Bird
    standing: FootStanding
    answer: Answer
    days_ago: int
    because: list[tuple[Rule, str]]
    words: str = ""

    @property
    def foot(self) -> str:
        return self.standing.foot

    @property
    def foot_words(self) -> str:
        return self.standing.words

    @property
    def missing(self) -> list[str]:
        return unanswered(self.standing.situation)


def advise_bird(hers: Standing | None) -> list[Rule]:
    """What led to the advice that her own signs give, whatever her feet show."""
    if hers is None:
        return []
    answers = [advise(foot.situation) for foot in hers.feet.values()]
    rules = counted(answers, "bird", under_plan=bool(hers.plans))
    return [rule for rule in rules if rule.advice is hers.bird_advice]


def advise_cases(bird: Bird, hers: Standing | None) -> list[Advised]:
    """The advice for each sore foot of a bird that is here."""
    found = []
    for foot in hers.concerns if hers else ():
        answer = foot.answer
        because = [
            (rule, signs_words(seen_for(rule, foot, hers.signs), hers.today))
            for rule in answer.because
        ]
        days_ago = (hers.today - foot.checked).days
        level = within(foot_level_words(foot, hers))
        found.append(Advised(bird, foot, answer, days_ago, because, level))
    return found


def usual_due(kind: str, on: date, *, bird: Bird, foot: str, flock, now: datetime) -> date | None:
    """``suggested_due`` with what the advice for this foot asks for; ``foot`` "": for either. What
    a plan asks for is due by that.

    The bird must come with her flock.
    """
    if is_planned(kind, bird=bird, foot=foot, flock=flock, now=now):
        return None
    if kind != StepKind.WATCHED:
        return suggested_due(kind, on, flock)
    hers = standing(bird, now=now)
    feet = [hers.feet[one] for one in ([foot] if foot else Foot.values)] if hers else []
    asked = [one.look_again_days for one in feet if one.look_again_days]
    return suggested_due(kind, on, flock, min(asked, default=None))
